"""Two or more modules on one side in a given proportion: operations of one part, or different parts."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from palletwright.layout.blocked import Table, table
from palletwright.layout.board import NONE, Board, Placed, clear, conflicts, greedy
from palletwright.layout.bounds import upper_bound
from palletwright.layout.choose import candidates, cliques
from palletwright.layout.model import Module, Packing, Side, Station
from palletwright.layout.polygons import mirrored, room, turned
from palletwright.layout.swept import Rows
from palletwright.verdict import Reason

KINDS = 4  # a module's turns are numbered KINDS·module + turn


@dataclass(frozen=True, eq=False)
class MixedTable:
    """Blocked displacements between kinds (module and turn): the same questions as a `Table` of one module."""

    tables: dict[tuple[int, int], Table]

    def blocked(self, a: int, b: int, shift: NDArray[np.float64]) -> NDArray[np.bool_]:
        if a // KINDS <= b // KINDS:
            return self.tables[a // KINDS, b // KINDS].blocked(a % KINDS, b % KINDS, shift)
        return self.tables[b // KINDS, a // KINDS].blocked(b % KINDS, a % KINDS, -shift)

    def world(self, a: int, b: int) -> Any:
        if a // KINDS <= b // KINDS:
            return self.tables[a // KINDS, b // KINDS].world(a % KINDS, b % KINDS)
        return mirrored(self.tables[b // KINDS, a // KINDS].world(b % KINDS, a % KINDS))


def pack_mixed(
    modules: Sequence[Module],
    proportions: Sequence[int],
    side: Side,
    *,
    clearance: float,
    solid_gap: float,
    nose: Rows | None = None,
    pitch: float = 0.25,
    overhang: float = 0.0,
    seed: int = 1,
    effort: int = 1,
) -> Packing:
    """Place k·proportions[i] copies of every module i on one side, with k as great as found.

    `count` and `bound` are in modules, all kinds together. Other parameters as in `pack`.
    """
    if len(modules) != len(proportions) or not modules or min(proportions) < 1:
        raise ValueError(f"needs one proportion of at least 1 for each module, not {tuple(proportions)}")
    area = side.area.buffer(overhang, join_style="mitre") if overhang else side.area
    board = _board(modules, area, clearance, solid_gap, nose, pitch)
    limit, name = _most_rounds(board, modules, proportions, area, solid_gap)
    best = _search(board, proportions, limit, effort, seed)
    if not clear(board, best):
        raise AssertionError("a mixed packing failed its exact check")
    best = best.sorted()
    whole = sum(proportions)
    stations = tuple(
        Station(side.id, float(x), float(y), int(t) % KINDS, int(t) // KINDS, k)
        for k, ((x, y), t) in enumerate(zip(best.at, best.turn, strict=True))
    )
    text = f"{len(best)} placed in proportion {':'.join(map(str, proportions))}, at most {limit * whole} by {name}"
    reasons = (Reason("bound", text, float(limit * whole), "modules"),)

    bound = limit * whole
    pattern = best.pattern or "none"
    if not stations:
        return Packing((), 0, bound, bound == 0, pattern, reasons, (), "empty")
    return Packing(stations, len(best), bound, len(best) == bound, pattern, reasons)


def _board(
    modules: Sequence[Module], area: Any, clearance: float, gap: float, nose: Rows | None, pitch: float
) -> Board:
    tables = {}
    for i, a in enumerate(modules):
        for j in range(i, len(modules)):
            b = modules[j]
            relative = {(q - p) % 4 for p in a.turns for q in b.turns}
            tables[i, j] = table(a, b, relative, clearance, gap, nose, pitch)
    rooms = {KINDS * i + t: room(area, turned(m.outline, t)) for i, m in enumerate(modules) for t in m.turns}
    mixed: Any = MixedTable(tables)
    return Board({k: r for k, r in rooms.items() if not r.is_empty}, mixed)


def _most_rounds(
    board: Board, modules: Sequence[Module], proportions: Sequence[int], area: Any, gap: float
) -> tuple[int, str]:
    """Never below the greatest k: by the area of all outlines together, and by every module alone."""
    mixed: Any = board.table
    own = sum(p * m.outline.buffer(gap / 2, quad_segs=4).area for m, p in zip(modules, proportions, strict=True))
    space = area.buffer(gap / 2 / math.cos(math.pi / 16), quad_segs=4).area
    found = [(math.floor(float(space / own) + 1e-9), "area of outlines")]
    for i, (module, share) in enumerate(zip(modules, proportions, strict=True)):
        rooms = {t: room(area, turned(module.outline, t)) for t in module.turns}
        alone, name = upper_bound(Board(rooms, mixed.tables[i, i]), module.outline, area, gap)
        found.append((alone // share, f"module {i} alone: {name}"))
    return min(found)


def _search(board: Board, proportions: Sequence[int], limit: int, effort: int, seed: int) -> Placed:
    best = NONE
    tried: list[Placed] = []
    for found in _sequences(board, proportions, limit):
        tried.append(found)
        whole = _whole_rounds(found, proportions)
        best = whole if len(whole) > len(best) else best
        if len(best) >= limit * sum(proportions):
            return best
    if effort < 1 or not tried:
        return best
    pool = candidates(board, sorted(tried, key=len, reverse=True)[:6], 160 + 160 * effort)
    chosen = _chosen(board, pool, best, proportions, limit, 0.25 * effort, seed)
    return chosen if len(chosen) > len(best) else best


def _sequences(board: Board, proportions: Sequence[int], limit: int) -> Iterator[Placed]:
    """Module by module: turn about, and each kind from its own end of the side, in every order of kinds."""
    kinds = range(len(proportions))
    towards = ((0.001, 1.0), (1.0, 0.001))
    for order in (kinds, kinds[::-1]):
        round_about = [i for i in order for _ in range(proportions[i])]
        for weights in towards:
            yield _placed(board, round_about * limit, dict.fromkeys(kinds, weights), "turn about")
            ends = {i: (weights[0] * s, weights[1] * s) for i, s in zip(order, (1, -1, 1, -1, 1, -1), strict=False)}
            yield _placed(board, round_about * limit, {i: ends.get(i, weights) for i in kinds}, "from both ends")


def _placed(board: Board, sequence: list[int], weights: dict[int, tuple[float, float]], pattern: str) -> Placed:
    placed = NONE
    for i in sequence:
        turns = tuple(k for k in board.rooms if k // KINDS == i)
        more = greedy(board, placed, (*weights[i], 0.0), turns, len(placed) + 1, pattern)
        if len(more) == len(placed):
            break
        placed = more
    return placed


def _whole_rounds(placed: Placed, proportions: Sequence[int]) -> Placed:
    module = placed.turn // KINDS
    rounds = min(int((module == i).sum()) // p for i, p in enumerate(proportions))
    keep = np.concatenate([np.flatnonzero(module == i)[: rounds * p] for i, p in enumerate(proportions)])
    keep = np.sort(keep).astype(np.int64)
    return Placed(placed.at[keep], placed.turn[keep], placed.pattern)


def _chosen(
    board: Board, pool: Placed, best: Placed, proportions: Sequence[int], limit: int, work: float, seed: int
) -> Placed:
    """The most whole rounds among candidate places (CP-SAT, work counted)."""
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    take = [model.new_bool_var(f"p{k}") for k in range(len(pool))]
    for clique in cliques(conflicts(board, pool)):
        model.add_at_most_one([take[k] for k in clique])
    rounds = model.new_int_var(0, limit, "rounds")
    for i, share in enumerate(proportions):
        model.add(sum(v for v, t in zip(take, pool.turn, strict=True) if t // KINDS == i) == share * rounds)
    known = {(round(float(x), 3), round(float(y), 3), int(t)) for (x, y), t in zip(best.at, best.turn, strict=True)}
    for v, (x, y), t in zip(take, pool.at, pool.turn, strict=True):
        model.add_hint(v, (round(float(x), 3), round(float(y), 3), int(t)) in known)
    model.maximize(rounds)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = seed
    solver.parameters.max_deterministic_time = work
    if solver.solve(model) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return best
    picked = np.array([solver.boolean_value(v) for v in take], dtype=bool)
    return Placed(pool.at[picked], pool.turn[picked], "chosen place by place")
