"""The fewest clampings that cut every feature, exactly, and the alternatives close to that."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, permutations

from ortools.sat.python import cp_model

from palletwright.access.directions import dot, negated, same, square
from palletwright.access.model import Clamping, Feature, Route, on_end
from palletwright.access.model import Sequence as Order
from palletwright.verdict import Reason, Vec

Forbid = tuple[Vec | None, Vec, Collection[str] | None]
"""(axis, up, features): no clamping with that axis and up may cut all of these features; None: none at all."""

ALTERNATIVES = 8
PER_CLAMPING = 60
"""s that one clamping more must save to be worth it among alternatives (common practice, no source)."""
PER_TOOL = 2.0
"""s for each tool of each clamping, so that what one tool cuts stays together (common practice, no source)."""
NO_SEAT = 600
"""s added for a clamping whose base is no flat patch of the part: it needs a seat made for it."""
BY_ITS_END = 120
"""s added for a clamping by the part's end: the rotary then carries one part only (common practice, no source)."""
UNTIDY = 3600
"""s that a sequence costs in which some tool has to go through material that another feature's cut takes later."""
SLENDER = 2.0
"""factor on the seconds of a mill that sticks out more than 6 diameters."""
WORK_UNITS = 20.0
"""deterministic time of one solve, CP-SAT's own units."""


@dataclass(frozen=True)
class Setting:
    """One kind of clamping: what it sees. `axis` None: fixed spindle, the one direction is `up`.

    With a rotary axis the part stands on a side of the carrier (`up` square to the axis: it sees what doesn't point
    into that side) or by its end on the faceplate (`up` along the axis: it sees all round).

    `seat`: 'flat' (the finished part rests on -up), 'raw' (only the blank does), 'none'.
    """

    axis: Vec | None
    up: Vec
    seat: str = "flat"

    def sees(self, d: Vec) -> bool:
        if self.axis is None:
            return same(d, self.up)
        return square(d, self.axis) and dot(d, self.up) >= -1e-6

    @property
    def on_end(self) -> bool:
        return on_end(self.axis, self.up)


@dataclass(frozen=True, eq=False)
class Task:
    """One feature with the cheapest route per direction, and what lies in front of it along each.

    `on_base` are the directions -up whose base face the feature would cut away. `after`: features better cut before or
    with this one, kept where that takes no clamping more.
    """

    id: str
    routes: tuple[Route, ...]
    front: dict[Vec, frozenset[str]]
    on_base: tuple[Vec, ...]
    outward: Vec | None
    after: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Problem:
    tasks: tuple[Task, ...]
    settings: tuple[Setting, ...]
    together: tuple[tuple[str, ...], ...] = ()
    forbid: tuple[Forbid, ...] = ()
    need_rotary: bool = False
    exactly: bool = False
    """every setting is used, in the order given"""
    pinned: dict[str, int] = field(default_factory=dict)
    most: int | None = None
    """clampings that the least may count"""


def partner(routes: Iterable[Route], r: Route) -> Route | None:
    """The route from the other end that goes with `r`."""
    if r.pair is None:
        return None
    return next((q for q in routes if q.pair == r.direction and q.direction == r.pair), None)


def cheapest(feature: Feature, stick_out: dict[int, float]) -> tuple[Route, ...]:
    """One route per direction, the one with the least seconds, slender tools counted double; one per pair of ends."""
    best: dict[tuple[Vec, Vec | None], Route] = {}
    for r in feature.routes:
        key = (r.direction, r.pair)
        if r.pair is not None and (r.pair, r.direction) in best:
            continue
        if key not in best or priced(r, stick_out) < priced(best[key], stick_out):
            best[key] = r
    return tuple(best.values())


def priced(r: Route, stick_out: dict[int, float]) -> float:
    return sum(c.seconds * (SLENDER if stick_out.get(c.tool, 0.0) > 6.0 else 1.0) for c in r.cuts)


def solve(problem: Problem, stick_out: dict[int, float]) -> list[Order]:
    """Sequences with the fewest clampings first, then up to one more, cheapest first; empty where impossible."""
    found: list[Order] = []
    refused: list[frozenset[int]] = []
    least, bound = None, 0
    while len(found) < ALTERNATIVES:
        made = Model(problem, stick_out, refused, problem.most if least is None else least + 1)
        answer = made.run(first=least is None)
        if answer is None:
            break
        used, order, count_bound, proven = answer
        if least is None:
            least, bound = len(used), count_bound
        found.append(Order(order, bound, proven and bound == least, made.seconds, made.slender))
        refused.append(used)
        if problem.exactly:
            break
    if found and found[0].reasons and not problem.exactly:
        found += stouter(problem, stick_out, found)
    return found


def stouter(problem: Problem, stick_out: dict[int, float], found: Sequence[Order]) -> list[Order]:
    """The best sequence with one clamping more than the least, where it needs fewer tools that stick out far."""
    first = found[0]
    made = Model(problem, stick_out, (), len(first.clampings) + 1)
    made.m.add(sum(made.used) == len(first.clampings) + 1)
    answer = made.run(first=False)
    if answer is None or len(made.slender) >= min(len(o.reasons) for o in found):
        return []
    return [Order(answer[1], first.bound, False, made.seconds, made.slender)]


class Model:
    """One CP-SAT model: which settings are used, in which order, and which feature is cut in which."""

    def __init__(
        self, problem: Problem, stick_out: dict[int, float], refused: Sequence[frozenset[int]], most: int | None
    ) -> None:
        self.p, self.m = problem, cp_model.CpModel()
        self.stick_out = stick_out
        self.most = most
        self.seconds, self.optimal = 0.0, False
        self.slender: tuple[Reason, ...] = ()
        n = len(problem.settings)
        self.used = [self.m.new_bool_var(f"use {k}") for k in range(n)]
        self.at = [self.m.new_int_var(0, n - 1, f"at {k}") for k in range(n)]
        self.m.add_all_different(self.at)
        self.tidy = self.m.new_bool_var("what is better cut first is cut first")
        self.x: dict[tuple[int, int, Vec, int], cp_model.IntVar] = {}
        self.where: dict[tuple[int, int], cp_model.IntVar] = {}
        for f, task in enumerate(problem.tasks):
            self._feature(f, task)
        self._precedence()
        self._seats()
        self._wishes()
        for k in range(n):
            mine = [v for key, v in self.x.items() if key[3] == k]
            if mine:
                self.m.add_bool_or(mine).only_enforce_if(self.used[k])
            else:
                self.m.add(self.used[k] == 0)
        for group in refused:
            self.m.add(sum(self.used[k] for k in group) <= len(group) - 1)
        if most is not None:
            self.m.add(sum(self.used) <= most)
        if problem.need_rotary:
            self.m.add_bool_or([self.used[k] for k, s in enumerate(problem.settings) if s.axis is not None])
        if problem.exactly:
            for k in range(n):
                self.m.add(self.at[k] == k)

    def _feature(self, f: int, task: Task) -> None:
        chosen = []
        for r, route in enumerate(task.routes):
            pick = self.m.new_bool_var(f"{task.id} by {r}")
            chosen.append(pick)
            for d in (route.direction, *([route.pair] if route.pair else [])):
                options = []
                for k, s in enumerate(self.p.settings):
                    if not s.sees(d) or any(same(negated(s.up), b) for b in task.on_base):
                        continue
                    if self.p.pinned.get(task.id, k) != k:
                        continue
                    v = self.m.new_bool_var(f"{task.id} {r} {k}")
                    self.x[f, r, d, k] = v
                    self.m.add_implication(v, self.used[k])
                    options.append(v)
                self.m.add(sum(options) == pick)
        self.m.add_exactly_one(chosen)

    def _rows(self, f: int) -> list[tuple[int, int, Vec, int]]:
        return [key for key in self.x if key[0] == f]

    def _precedence(self) -> None:
        """What lies in front of a feature is cut before it or in the same clamping."""
        rows: dict[str, list[tuple[int, int, Vec, int]]] = {t.id: [] for t in self.p.tasks}
        for key in self.x:
            rows[self.p.tasks[key[0]].id].append(key)
        last: dict[str, cp_model.IntVar] = {}
        for task in self.p.tasks:
            for key in rows[task.id]:
                hard = task.front.get(key[2], frozenset())
                for g in sorted({*hard, *task.after} & rows.keys()):
                    if g not in last:
                        last[g] = self._last(g, rows[g])
                    kept = [self.x[key]] if g in hard else [self.x[key], self.tidy]
                    self.m.add(self.at[key[3]] >= last[g]).only_enforce_if(kept)

    def _last(self, name: str, rows: Sequence[tuple[int, int, Vec, int]]) -> cp_model.IntVar:
        """The place in the order of the last clamping in which a feature is cut."""
        v = self.m.new_int_var(0, len(self.p.settings) - 1, f"last {name}")
        for key in rows:
            self.m.add(v >= self.at[key[3]]).only_enforce_if(self.x[key])
        return v

    def _seats(self) -> None:
        """A setting that only the blank's own face carries comes before that face is cut."""
        for k, s in enumerate(self.p.settings):
            if s.seat != "raw":
                continue
            for key, v in self.x.items():
                task = self.p.tasks[key[0]]
                if task.outward is not None and same(task.outward, negated(s.up)) and key[3] != k:
                    self.m.add(self.at[k] < self.at[key[3]]).only_enforce_if([self.used[k], v])

    def _wishes(self) -> None:
        index = {t.id: f for f, t in enumerate(self.p.tasks)}
        for group in self.p.together:
            members = [index[i] for i in group if i in index]
            for a, b in pairwise(members):
                for k in range(len(self.p.settings)):
                    in_a = [self.x[key] for key in self._rows(a) if key[3] == k]
                    in_b = [self.x[key] for key in self._rows(b) if key[3] == k]
                    self.m.add(sum(in_a) == sum(in_b))
        for axis, up, features in self.p.forbid:
            for k, s in enumerate(self.p.settings):
                if not same(s.up, up) or (s.axis is None) != (axis is None):
                    continue
                if s.axis is not None and axis is not None and not (same(s.axis, axis) or same(s.axis, negated(axis))):
                    continue
                if features is None:
                    self.m.add(self.used[k] == 0)
                    continue
                members = [index[i] for i in features if i in index]
                cut_here = [self._cut_in(f, k) for f in members]
                if cut_here:
                    self.m.add(sum(cut_here) <= len(cut_here) - 1)

    def _cut_in(self, f: int, k: int) -> cp_model.IntVar:
        """1 where feature f is cut in setting k."""
        if (f, k) not in self.where:
            v = self.m.new_bool_var(f"in {f} {k}")
            rows = [self.x[key] for key in self._rows(f) if key[3] == k]
            self.m.add_max_equality(v, [*rows, self.m.new_constant(0)])
            self.where[f, k] = v
        return self.where[f, k]

    def cost(self) -> cp_model.LinearExprT:
        terms: list[cp_model.LinearExprT] = [(1 - self.tidy) * 10 * UNTIDY]
        tools: dict[tuple[int, int], cp_model.IntVar] = {}
        for (f, r, _, k), v in self.x.items():
            route = self.p.tasks[f].routes[r]
            terms.append(v * round(10 * priced(route, self.stick_out)))
            for tool in {c.tool for c in route.cuts}:
                if (tool, k) not in tools:
                    tools[tool, k] = self.m.new_bool_var(f"tool {tool} in {k}")
                    terms.append(tools[tool, k] * round(10 * PER_TOOL))
                self.m.add_implication(v, tools[tool, k])
        for k, s in enumerate(self.p.settings):
            extra = (NO_SEAT if s.seat == "none" else 0) + (BY_ITS_END if s.on_end else 0)
            terms.append(self.used[k] * 10 * (PER_CLAMPING + extra))
        return sum(terms)

    def run(self, first: bool) -> tuple[frozenset[int], tuple[Clamping, ...], int, bool] | None:
        """(settings used, clampings in order, bound on the count, proven); None where nothing is possible."""
        bound, proven = 0, True
        if first:
            self.m.minimize(sum(self.used))
            solver = self._solved()
            if solver is None:
                return None
            bound, proven = round(solver.best_objective_bound), self.optimal
            self.m.add(sum(self.used) <= round(solver.objective_value))
        weight = 10 * (PER_CLAMPING + 100_000)
        self.m.minimize(self.cost() + weight * sum(self.used))
        solver = self._solved()
        if solver is None:
            return None
        return (*self._read(solver), bound, proven)

    def _solved(self) -> cp_model.CpSolver | None:
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.max_deterministic_time = WORK_UNITS
        status = solver.solve(self.m)
        self.optimal = status == cp_model.OPTIMAL
        return solver if status in (cp_model.OPTIMAL, cp_model.FEASIBLE) else None

    def _read(self, solver: cp_model.CpSolver) -> tuple[frozenset[int], tuple[Clamping, ...]]:
        chosen = [key for key, v in self.x.items() if solver.value(v)]
        used = self._order([k for k in range(len(self.used)) if solver.value(self.used[k])], chosen, solver)
        clampings, total = [], 0.0
        for k in used:
            rows = [(f, r, d) for f, r, d, j in chosen if j == k]
            features = tuple((self.p.tasks[f].id, d) for f, _, d in rows)
            for f, r, _ in rows:
                total += self.p.tasks[f].routes[r].seconds
            ways = tuple(dict.fromkeys(d for _, d in features))
            s = self.p.settings[k]
            clampings.append(Clamping(ways, features, s.axis, self._ups(s, features)))
        self.seconds = total
        self.slender = slender_reasons(
            ((self.p.tasks[f], self.p.tasks[f].routes[r]) for f, r, _, _ in chosen), self.stick_out
        )
        return frozenset(used), tuple(clampings)

    def _order(
        self, used: list[int], chosen: Sequence[tuple[int, int, Vec, int]], solver: cp_model.CpSolver
    ) -> list[int]:
        """The settings in an order that keeps what must come first, the one with most to cut as early as it may."""
        used = sorted(used, key=lambda k: solver.value(self.at[k]))
        if self.p.exactly or len(used) > 6:
            return used
        work = {
            k: sum(priced(self.p.tasks[f].routes[r], self.stick_out) for f, r, _, j in chosen if j == k) for k in used
        }
        place = {self.p.tasks[f].id: {j for g, _, _, j in chosen if g == f} for f, _, _, _ in chosen}
        first: set[tuple[int, int]] = set()
        for f, _, d, k in chosen:
            task = self.p.tasks[f]
            first |= {(j, k) for g in task.front.get(d, ()) for j in place.get(g, ()) if j != k}
            if task.outward is not None:
                raw = [j for j in used if self.p.settings[j].seat == "raw"]
                first |= {(j, k) for j in raw if j != k and same(task.outward, negated(self.p.settings[j].up))}
        allowed = [order for order in permutations(used) if all(order.index(a) < order.index(b) for a, b in first)] or [
            tuple(used)
        ]
        return list(min(allowed, key=lambda order: [-round(work[k], 1) for k in order]))

    def _ups(self, s: Setting, features: Iterable[tuple[str, Vec]]) -> tuple[Vec, ...]:
        """The chosen up first, then the others of the same axis that see the same and spare their own base."""
        rows = tuple(features)
        tasks = {t.id: t for t in self.p.tasks}
        others = []
        for o in self.p.settings:
            if s.axis is None or o is s or o.axis is None or not same(o.axis, s.axis) or o.seat != s.seat:
                continue
            if s.on_end or o.on_end:
                continue
            fits = all(o.sees(d) for _, d in rows)
            spared = not any(same(negated(o.up), b) for i, _ in rows for b in tasks[i].on_base)
            if fits and spared:
                others.append(o.up)
        return (s.up, *others)


def reasons_of_more(orders: Sequence[Order]) -> list[Reason]:
    """Why a longer sequence can be better: faster by a minute, or none or fewer tools that stick out far."""
    if len(orders) < 2:
        return []
    out = []
    first = orders[0]
    longer = [o for o in orders if len(o.clampings) > len(first.clampings)]
    best = min(orders, key=lambda o: o.seconds)
    gain = first.seconds - best.seconds
    if len(best.clampings) > len(first.clampings) and gain > PER_CLAMPING:
        text = f"one clamping more ({len(best.clampings)}) cuts {gain:.0f} s faster with stouter tools"
        out.append(Reason("clampings", text, gain, "s"))
    stout = min(longer, key=lambda o: (len(o.reasons), o.seconds), default=None)
    if stout is not None and len(stout.reasons) < len(first.reasons):
        spared = [r.about for r in first.reasons if r.about not in {q.about for q in stout.reasons}]
        text = f"one clamping more ({len(stout.clampings)}) spares tools that stick out over 6 D: {', '.join(spared)}"
        out.append(Reason("clampings", text, float(len(spared)), "features"))
    return out


def slender_reasons(tasks: Iterable[tuple[Task, Route]], stick_out: dict[int, float]) -> tuple[Reason, ...]:
    """Each feature that a tool cuts which sticks out over 6 diameters, with how many."""
    rows: dict[str, Reason] = {}
    for task, route in tasks:
        most = max((stick_out.get(c.tool, 0.0) for c in route.cuts), default=0.0)
        if most > 6.0:
            rows[task.id] = Reason(task.id, f"cut by a tool that sticks out {most:.1f} D, over 6", most, "D")
    return tuple(rows.values())
