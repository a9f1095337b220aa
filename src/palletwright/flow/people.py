"""People: charts of one person and several machines, the longest time alone, shifts with their breaks."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from palletwright.flow.tending import machine_tending_cost


@dataclass(frozen=True, slots=True)
class Stretch:
    """One bar of a man-machine chart: who ("operator", "machine 1", ...) does what, from `start` for `minutes`."""

    who: str
    what: str
    start: float
    minutes: float


@dataclass(frozen=True, slots=True)
class Chart:
    """One repeating round of one operator and several machines alike. Minutes."""

    cycle: float
    pieces: int
    rows: tuple[Stretch, ...]

    def minutes(self, who: str, what: str) -> float:
        """Minutes of the round in which `who` does `what`."""
        return math.fsum(r.minutes for r in self.rows if r.who == who and r.what == what)


def man_machine_chart(*, machines: int, load: float, attend: float, run: float) -> Chart:
    """The repeating round of one operator who goes from machine to machine.

    Parameters
    ----------
    machines : how many alike
    load, attend, run : minutes a piece in which operator and machine are busy together, the operator alone (walking,
        gauging), the machine alone

    Every machine's bars and the operator's bars each fill the round. A machine is loaded, runs, and waits for its
    turn; the operator loads, does the work alone, and idles when the machines are slower.
    """
    if machines < 1 or min(load, attend, run) < 0 or load + run <= 0:
        raise ValueError(f"needs a machine and times not below 0: {machines}, {load}, {attend}, {run}")
    visit = load + attend
    cycle = max(load + run, machines * visit)
    rows = []
    for m in range(machines):
        at, who = m * visit, f"machine {m + 1}"
        waits = cycle - load - run
        rows += [Stretch("operator", f"load {who}", at, load), Stretch("operator", "alone", at + load, attend)]
        rows += [Stretch(who, "load", at, load), Stretch(who, "run", at + load, run)]
        rows.append(Stretch(who, "wait", at + load + run, waits))
    rows.append(Stretch("operator", "idle", machines * visit, cycle - machines * visit))
    return Chart(cycle, machines, tuple(r for r in rows if r.minutes > 1e-12))


def most_without_waiting(*, load: float, attend: float, run: float) -> float:
    """n' = (load + run) / (load + attend): machines that one operator keeps busy; whole ones below never wait."""
    if load + attend <= 0:
        raise ValueError("an operator who spends no time tends any number of machines")
    return (load + run) / (load + attend)


def best_machines(
    *, load: float, attend: float, run: float, operator_rate: float, machine_rate: float, most: int = 20
) -> tuple[int, float]:
    """The number of machines for one operator with the least cost a piece, and that cost; the fewer at a tie."""
    costs = [
        machine_tending_cost(
            load=load, attend=attend, run=run, operator_rate=operator_rate, machine_rate=machine_rate, machines=n
        )
        for n in range(1, most + 1)
    ]
    at = min(range(most), key=lambda i: (round(costs[i], 12), i))
    return at + 1, costs[at]


@dataclass(frozen=True, slots=True)
class Alone:
    """The longest stretch in which nobody need be there, minutes, and what ends it."""

    minutes: float
    limited_by: str


def longest_alone(cycle_minutes: float, limits: Mapping[str, float] | None = None, *, pallets: int = 1) -> Alone:
    """The longest stretch from a start in which nobody need be there.

    Parameters
    ----------
    cycle_minutes : machine time of one start
    limits : minutes of running that other things allow, by name ("tool life of T4", "chips", "coolant")
    pallets : loaded sets that the machine changes by itself, the one inside included

    The least of all: loaded sets × cycle, tool life, chips. A limit within one cycle ends the stretch in it.
    """
    if cycle_minutes <= 0 or pallets < 1 or any(v < 0 for v in (limits or {}).values()):
        raise ValueError(
            f"needs a cycle above 0, a pallet, and limits not below 0: {cycle_minutes}, {pallets}, {limits}"
        )
    loaded = "the cycle" if pallets == 1 else f"{pallets} loaded pallets"
    every = {loaded: cycle_minutes * pallets, **(limits or {})}
    least = min(every, key=lambda k: every[k])
    return Alone(every[least], least)


@dataclass(frozen=True, slots=True)
class Shift:
    """One shift, minutes from its begin. `breaks` are (from, minutes) in which nobody is there."""

    minutes: float
    breaks: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        end = 0.0
        for start, length in self.breaks:
            if start < end or length <= 0 or start + length > self.minutes:
                raise ValueError(f"breaks must follow each other within the {self.minutes:g} minutes: {self.breaks}")
            end = start + length

    def present(self, at: float, need: float) -> float:
        """The first minute from `at` on at which somebody is there for `need` minutes in one piece."""
        for start, length in self.breaks:
            if at + need <= start:
                return at
            at = max(at, start + length)
        return at


@dataclass(frozen=True, slots=True)
class Day:
    """What one shift gives. Minutes; `spindle` + `waiting` + `handling` = the shift, `alone_after` comes on top."""

    starts: int
    finished_starts: int
    spindle: float
    handling: float
    waiting: float
    attended: float
    alone_after: float


def shift_walk(
    shift: Shift, *, machine: float, load: float, swap: float, sets: int, alone_limit: float | None = None
) -> Day:
    """Walk through one shift start by start; the last start of the day may run on with nobody there.

    Parameters
    ----------
    machine, load, swap : minutes of one start
    sets : 1 loads inside the machine; more load beside it while it runs; all sets but the unloaded one begin loaded
    alone_limit : minutes that the machine may run on after the shift (tool life, chips); None: no limit, 0: never

    Loading and swapping wait for somebody to be there and don't span a break; cutting goes on through breaks.
    """
    if min(machine, load, swap) < 0 or machine <= 0 or sets < 1:
        raise ValueError(f"needs a machine time above 0, others not below 0, a set: {machine}, {load}, {swap}, {sets}")
    walk = _Walk([0.0] * sets)
    inside = swap + (load if sets == 1 else 0.0)
    limit = math.inf if alone_limit is None else alone_limit
    while True:
        begin = shift.present(max(walk.machine_free, walk.person_free, walk.ready[0]), inside)
        run_from = begin + inside
        over = run_from + machine - shift.minutes
        if run_from > shift.minutes or over > limit + 1e-9:
            break
        walk.take(run_from, machine, inside, shift)
        if sets > 1:
            walk.load_beside(run_from, load, shift)
        if over > 1e-9:
            break
    waiting = shift.minutes - walk.spindle - walk.handling
    after = max(0.0, walk.machine_free - shift.minutes)
    return Day(walk.starts, walk.done, walk.spindle, walk.handling, waiting, walk.attended, after)


@dataclass
class _Walk:
    """Where a shift's walk is: `ready` holds the minutes at which the loaded sets outside become ready."""

    ready: list[float]
    machine_free: float = 0.0
    person_free: float = 0.0
    spindle: float = 0.0
    handling: float = 0.0
    attended: float = 0.0
    starts: int = 0
    done: int = 0

    def take(self, run_from: float, machine: float, inside: float, shift: Shift) -> None:
        """A set goes in and runs."""
        self.starts += 1
        self.handling += inside
        self.attended += inside
        self.spindle += min(machine, shift.minutes - run_from)
        self.machine_free = run_from + machine
        self.done += self.machine_free <= shift.minutes + 1e-9
        self.person_free = run_from

    def load_beside(self, run_from: float, load: float, shift: Shift) -> None:
        """The set that came out is loaded beside the running machine; the day's first start brought none out."""
        self.ready.pop(0)
        if self.starts == 1:
            return
        begin = shift.present(run_from, load)
        self.attended += max(0.0, min(load, shift.minutes - begin))
        self.person_free = begin + load
        self.ready.append(begin + load)


def chart_rows(chart: Chart) -> Sequence[tuple[str, list[Stretch]]]:
    """The chart's bars by who, operator first: what a drawing needs."""
    order = list(dict.fromkeys(["operator", *(r.who for r in chart.rows)]))
    return [(who, sorted((r for r in chart.rows if r.who == who), key=lambda r: r.start)) for who in order]
