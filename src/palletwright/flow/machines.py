"""One part over several machines alike: which kinds of its starts run on which, and what then paces them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Step:
    """One kind of start that the part passes through: parts that leave it, s from start to start, s of hands in it, s
    to set it up once a batch."""

    parts: float
    start_seconds: float
    attended_seconds: float
    setup_seconds: float = 0.0

    def __post_init__(self) -> None:
        if self.parts <= 0 or self.start_seconds <= 0 or min(self.attended_seconds, self.setup_seconds) < 0:
            raise ValueError(f"needs parts and a time above 0 and no time below 0: {self}")


@dataclass(frozen=True)
class Split:
    """The steps of a part shared out over machines.

    `machine_of[k]` is the machine of step k, from 0. `finished_per_shift` at the pace of what is slowest, `paced_by`;
    `busy` each machine's share of the shift at that pace; `hands_busy` that of all people together. `piles`: (step,
    parts a shift) that gather before a step whose machine is slower than what feeds it, when nobody holds the faster
    one back. `lead_seconds` of one batch: parts move on start by start from machine to machine, a machine with several
    steps makes the whole batch of one before the next, and is set up for it when it is free.
    """

    machine_of: tuple[int, ...]
    finished_per_shift: float
    paced_by: str
    busy: tuple[float, ...]
    hands_busy: float
    piles: tuple[tuple[int, float], ...]
    lead_seconds: float


def split_over(steps: Sequence[Step], machines: int, *, shift_seconds: float, people: int, batch: int) -> Split:
    """The sharing of steps over machines alike that finishes most parts a shift, of all there are.

    Equal sharings: the one whose batch ends soonest. With one machine it is the part's present way. Every step stays
    whole on one machine, because its fixture is there once. Raises ValueError for counts below 1.
    """
    if not steps or min(machines, people, batch) < 1 or shift_seconds <= 0:
        raise ValueError("needs a step, and machines, people, batch and shift of at least 1")
    each = [s.start_seconds / s.parts for s in steps]
    hands = sum(s.attended_seconds / s.parts for s in steps) / people
    best: Split | None = None
    for machine_of in _sharings(len(steps), machines):
        loads = [sum(t for t, m in zip(each, machine_of, strict=True) if m == k) for k in range(machines)]
        pace = max([*loads, hands])
        found = Split(
            machine_of,
            shift_seconds / pace,
            "hands" if hands > max(loads) else f"machine {loads.index(max(loads)) + 1}",
            tuple(load / pace for load in loads),
            hands / pace,
            _piles(machine_of, loads, shift_seconds),
            _lead(steps, machine_of, machines, batch),
        )
        if best is None or _worth(found) > _worth(best):
            best = found
    assert best is not None
    return best


def _worth(split: Split) -> tuple[float, float]:
    return round(split.finished_per_shift, 9), -round(split.lead_seconds, 6)


def _sharings(steps: int, machines: int) -> list[tuple[int, ...]]:
    """Every sharing once: machines are alike, so that each new one that is used is the next."""
    rows = itertools.product(range(machines), repeat=steps)
    return [row for row in rows if all(m <= max(row[:k], default=-1) + 1 for k, m in enumerate(row))]


def _piles(machine_of: Sequence[int], loads: Sequence[float], shift_seconds: float) -> tuple[tuple[int, float], ...]:
    """Where a machine feeds a slower one."""
    rows, arriving = [], math.inf
    for k, m in enumerate(machine_of):
        rate = 1.0 / loads[m]
        if arriving > rate * (1 + 1e-9) and k and math.isfinite(arriving):
            rows.append((k, (arriving - rate) * shift_seconds))
        arriving = min(arriving, rate)
    return tuple(rows)


def _lead(steps: Sequence[Step], machine_of: Sequence[int], machines: int, batch: int) -> float:
    """s from the first set-up to the batch's last finished part."""
    arrivals, free = [0.0] * batch, [0.0] * machines
    for step, m in zip(steps, machine_of, strict=True):
        count = max(1, round(step.parts))
        clock, leave = free[m] + step.setup_seconds, list[float]()
        for k in range(0, batch, count):
            load = arrivals[k : k + count]
            clock = max(clock, load[-1]) + step.start_seconds
            leave += [clock] * len(load)
        arrivals, free[m] = leave, clock
    return arrivals[-1]
