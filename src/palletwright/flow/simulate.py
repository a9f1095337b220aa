"""The floor simulated event by event: sets between bench and machines, people, washer, breakdowns, late operators."""

from __future__ import annotations

from collections import Counter
from collections.abc import Generator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import simpy

from palletwright.flow.spread import Spread

SWAP_FIRST, REPAIR_FIRST, LOAD_NEXT, BREAK_FIRST = 0, 1, 2, -1
"""Who is served first where several wait for a person: less is sooner."""

NOTHING = Spread(0.0)
"""No time at all."""

Events = Generator[simpy.Event, Any, Any]


@dataclass(frozen=True, slots=True)
class ToolBreaks:
    """Tool breaks: mean s of cutting between two (exponential), s to put right, parts of the load that are lost."""

    mean_cutting_seconds: float
    repair: Spread
    parts_lost: int = 1

    def __post_init__(self) -> None:
        if self.mean_cutting_seconds <= 0 or self.parts_lost < 0:
            raise ValueError("the mean between breaks must be above 0 s and parts_lost not below 0")


@dataclass(frozen=True, slots=True)
class Floor:
    """What is simulated. Times in s.

    Parameters
    ----------
    machine, load, swap : times of one start
    stations : stations of each operation in one set, in order; parts move on to the next operation at the bench
    machines, sets : machines, and carrier sets of each
    people : how many load, swap, wash, put right
    benches : places at which sets are loaded at the same time (with one set: in the machine)
    wash : s a load of finished parts, None without a wash; `washers` run at once and need nobody
    scrap : chance of each part to be lost in each operation
    breaks : tool breaks, None without any
    stops : other stops of a running machine that somebody must put right, None without any
    swap_attended : False where the machine changes its own pallets
    late : s until somebody comes when called, None when they are there at once
    shift_seconds, pauses : a shift and its (from, length) in which nobody comes; the spindle cuts on
    """

    machine: Spread
    load: Spread
    swap: Spread = NOTHING
    stations: tuple[int, ...] = (1,)
    machines: int = 1
    sets: int = 1
    people: int = 1
    benches: int | None = None
    wash: Spread | None = None
    washers: int = 1
    scrap: float = 0.0
    breaks: ToolBreaks | None = None
    late: Spread | None = None
    shift_seconds: float = 8 * 3600.0
    pauses: tuple[tuple[float, float], ...] = ()
    stops: ToolBreaks | None = None
    swap_attended: bool = True

    def __post_init__(self) -> None:
        if min(self.machines, self.sets, self.people, self.washers, *self.stations) < 1 or not self.stations:
            raise ValueError("machines, sets, people, washers and the stations of every operation must be at least 1")
        if self.benches is not None and self.benches < 1:
            raise ValueError(f"benches must be at least 1, not {self.benches}")
        if not 0 <= self.scrap < 1 or self.shift_seconds <= 0 or self.machine.mean <= 0:
            raise ValueError("needs 0 <= scrap < 1, and a shift and a machine time above 0 s")


@dataclass(frozen=True)
class Ran:
    """What happened. `parts_per_shift` are the finished ones; (P10, P50, P90) in `percentiles`.

    `machine_seconds` and `people_seconds` add up to the time run × machines and × people. `parts_in` = `finished` +
    `scrapped` + `in_process`; these and `starts` count from the first second on, warm-up included.
    """

    parts_per_shift: tuple[int, ...]
    percentiles: tuple[float, float, float]
    utilisation: float
    utilisation_error: float
    machine_seconds: dict[str, float]
    people_seconds: dict[str, float]
    seconds: float
    starts: int
    parts_in: int
    finished: int
    scrapped: int
    in_process: int
    piles: tuple[int, ...]


class _Tally:
    """Seconds that a number of like things spend in each state; every one is in exactly one state at any time."""

    def __init__(self, env: simpy.Environment, state: str, count: int) -> None:
        self.env, self.now, self.counts = env, 0.0, Counter({state: count})
        self.seconds: Counter[str] = Counter()

    def settle(self) -> None:
        for state, n in self.counts.items():
            self.seconds[state] += n * (self.env.now - self.now)
        self.now = self.env.now

    def move(self, old: str, new: str) -> None:
        self.settle()
        self.counts[old] -= 1
        self.counts[new] += 1
        assert self.counts[old] >= 0, f"nothing is in state {old!r}"

    def clear(self) -> None:
        self.settle()
        self.seconds.clear()


@dataclass(eq=False)
class _Set:
    """One carrier set: parts good and lost at each operation's stations, raw until it ran."""

    good: list[int]
    lost: list[int]


@dataclass(eq=False)
class _Run:
    """Everything that the processes share."""

    floor: Floor
    rng: np.random.Generator
    env: simpy.Environment = field(default_factory=simpy.Environment)

    def __post_init__(self) -> None:
        f, env = self.floor, self.env
        self.people = simpy.PriorityResource(env, f.people)
        places = f.benches if f.benches is not None else max(f.people, f.machines * f.sets)
        self.bench = simpy.Resource(env, places)
        self.washer = simpy.Resource(env, f.washers)
        self.machines = _Tally(env, "waits for a set", f.machines)
        self.hands = _Tally(env, "free", f.people)
        self.before = [0] * len(f.stations)
        self.washing = self.parts_in = self.finished = self.scrapped = self.starts = 0
        self.sets: list[_Set] = []

    def person(self, priority: int, doing: str, seconds: float) -> Events:
        """Wait for a person, who then does this for so long."""
        with self.people.request(priority=priority) as asked:
            yield asked
            self.hands.move("free", doing)
            yield self.env.timeout(seconds)
            self.hands.move(doing, "free")

    def called(self) -> Events:
        """The time until somebody comes who was called."""
        if self.floor.late is not None:
            yield self.env.timeout(self.floor.late.draw(self.rng))

    def machine(self, ready: simpy.Store) -> Events:
        """One machine: wait for a loaded set, have it swapped in, run it, and so on."""
        inside: _Set | None = None
        while True:
            if inside is not None and self.floor.sets == 1:
                self.env.process(self.load(inside, ready))
                inside = None
            loaded = yield ready.get()
            self.machines.move("waits for a set", "waits for a person")
            if self.floor.swap.mean > 0 and self.floor.swap_attended:
                yield from self.called()
                with self.people.request(priority=SWAP_FIRST) as asked:
                    yield asked
                    self.hands.move("free", "swap")
                    self.machines.move("waits for a person", "swap")
                    yield self.env.timeout(self.floor.swap.draw(self.rng))
                    self.hands.move("swap", "free")
            else:
                self.machines.move("waits for a person", "swap")
                yield self.env.timeout(self.floor.swap.draw(self.rng))
            if inside is not None:
                self.env.process(self.load(inside, ready))
            inside = loaded
            self.starts += 1
            self.machines.move("swap", "cut")
            yield from self.cut(loaded)
            self.machines.move("cut", "waits for a set")

    def cut(self, loaded: _Set) -> Events:
        """Run one set to its end, through tool breaks; then each part is good or lost."""
        left = self.floor.machine.draw(self.rng)
        kinds = [kind for kind in (self.floor.breaks, self.floor.stops) if kind is not None]
        while kinds:
            until, first = min(
                ((float(self.rng.exponential(kind.mean_cutting_seconds)), i) for i, kind in enumerate(kinds)),
                key=lambda row: row[0],
            )
            if until >= left:
                break
            yield self.env.timeout(until)
            left -= until
            self.lose(loaded, kinds[first].parts_lost)
            self.machines.move("cut", "stopped")
            yield from self.called()
            yield from self.person(REPAIR_FIRST, "put right", kinds[first].repair.draw(self.rng))
            self.machines.move("stopped", "cut")
        yield self.env.timeout(left)
        for k, n in enumerate(loaded.good):
            lost = int(self.rng.binomial(n, self.floor.scrap)) if n else 0
            loaded.good[k] -= lost
            loaded.lost[k] += lost

    def lose(self, loaded: _Set, count: int) -> None:
        """Parts of a load lost to a broken tool, from the last operation's stations first."""
        for k in reversed(range(len(loaded.good))):
            lost = min(count, loaded.good[k])
            loaded.good[k] -= lost
            loaded.lost[k] += lost
            count -= lost

    def load(self, emptied: _Set, ready: simpy.Store) -> Events:
        """Unload a set and load it anew at the bench (or, with one set, in the machine)."""
        with self.bench.request() as place:
            yield place
            yield from self.called()
            with self.people.request(priority=LOAD_NEXT) as asked:
                yield asked
                self.hands.move("free", "load")
                yield self.env.timeout(self.floor.load.draw(self.rng))
                self.exchange(emptied)
                self.hands.move("load", "free")
        yield ready.put(emptied)

    def exchange(self, emptied: _Set) -> None:
        """What loading does to the parts: each moves on one operation, blanks go in, finished ones come out."""
        last = len(emptied.good) - 1
        for k in range(last + 1):
            self.scrapped += emptied.lost[k]
            if k < last:
                self.before[k + 1] += emptied.good[k]
            elif self.floor.wash is not None and emptied.good[k]:
                self.env.process(self.wash(emptied.good[k]))
            else:
                self.finished += emptied.good[k]
            emptied.good[k] = emptied.lost[k] = 0
        for k, room in enumerate(self.floor.stations):
            taken = room if k == 0 else min(room, self.before[k])
            self.parts_in += taken if k == 0 else 0
            self.before[k] -= taken if k else 0
            emptied.good[k] = taken

    def wash(self, parts: int) -> Events:
        assert self.floor.wash is not None
        self.washing += parts
        with self.washer.request() as asked:
            yield asked
            yield self.env.timeout(self.floor.wash.draw(self.rng))
        self.washing -= parts
        self.finished += parts

    def pause(self) -> Events:
        """One person's pauses, shift after shift: what was begun is finished first."""
        shift = 0
        while True:
            for start, length in self.floor.pauses:
                at = shift * self.floor.shift_seconds + start
                if at > self.env.now:
                    yield self.env.timeout(at - self.env.now)
                yield from self.person(BREAK_FIRST, "pause", length)
            shift += 1
            yield self.env.timeout(max(0.0, shift * self.floor.shift_seconds - self.env.now))

    def begin(self) -> None:
        """All sets stand empty, and each machine waits for the first."""
        for _ in range(self.floor.machines):
            ready = simpy.Store(self.env)
            for _ in range(self.floor.sets):
                empty = _Set([0] * len(self.floor.stations), [0] * len(self.floor.stations))
                self.sets.append(empty)
                self.env.process(self.load(empty, ready))
            self.env.process(self.machine(ready))
        if self.floor.pauses:
            for _ in range(self.floor.people):
                self.env.process(self.pause())

    @property
    def in_process(self) -> int:
        return sum(sum(s.good) + sum(s.lost) for s in self.sets) + sum(self.before) + self.washing


def simulate(floor: Floor, *, shifts: int = 60, warm_up_shifts: int = 1, seed: int = 1) -> Ran:
    """Run a floor for `shifts` shifts, one straight after the other, after `warm_up_shifts` that don't count.

    The standard error of the utilisation comes from the shifts as batches: take shifts long against a start. The
    same seed gives the same run. Raises ValueError for fewer than 2 shifts.
    """
    if shifts < 2 or warm_up_shifts < 0:
        raise ValueError(f"needs at least 2 shifts and no warm-up below 0, not {shifts} and {warm_up_shifts}")
    run = _Run(floor, np.random.default_rng(seed))
    run.begin()
    if warm_up_shifts:
        run.env.run(until=warm_up_shifts * floor.shift_seconds)
    run.machines.clear()
    run.hands.clear()
    parts, cutting = [], []
    for shift in range(warm_up_shifts, warm_up_shifts + shifts):
        finished, cut = run.finished, run.machines.seconds["cut"]
        run.env.run(until=(shift + 1) * floor.shift_seconds)
        run.machines.settle()
        parts.append(run.finished - finished)
        cutting.append((run.machines.seconds["cut"] - cut) / floor.shift_seconds / floor.machines)
    run.hands.settle()
    low, middle, high = (float(q) for q in np.percentile(parts, [10, 50, 90]))
    return Ran(
        parts_per_shift=tuple(parts),
        percentiles=(low, middle, high),
        utilisation=float(np.mean(cutting)),
        utilisation_error=float(np.std(cutting, ddof=1) / np.sqrt(shifts)),
        machine_seconds={k: v for k, v in run.machines.seconds.items() if v > 0},
        people_seconds={k: v for k, v in run.hands.seconds.items() if v > 0},
        seconds=shifts * floor.shift_seconds,
        starts=run.starts,
        parts_in=run.parts_in,
        finished=run.finished,
        scrapped=run.scrapped,
        in_process=run.in_process,
        piles=tuple(run.before[1:]),
    )
