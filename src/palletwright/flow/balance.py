"""Balance: which mix of carriers gives finished parts every start, and which pile grows when it doesn't.

At each start every operation's stations are loaded from what waits before it; the part moves on at the bench while
the next set runs. So n stations for every operation give n finished parts a start, the first after (ops - 1)
starts, with n·(ops - 1) parts half done between them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Pile:
    """Half-done parts that gather before an operation: how many more a start and a shift."""

    operation: int
    per_start: float
    per_shift: float


@dataclass(frozen=True, slots=True)
class Balance:
    """How finished parts leave. `work_in_process` counts parts between operations, without the growing piles."""

    finished_per_start: float
    finished_per_shift: float
    startup_starts: int
    work_in_process: int
    piles: tuple[Pile, ...]

    @property
    def balanced(self) -> bool:
        return not self.piles


def balance(stations: Sequence[int], start_seconds: Sequence[float], shift_seconds: float) -> Balance:
    """How the operations of a part feed each other.

    Parameters
    ----------
    stations : stations of each operation, in order; one entry an operation
    start_seconds : s from start to start of the machine that runs each operation; operations in one cycle of one
        machine have the same, two machines may differ
    shift_seconds : s of a shift in which machines are started

    A pile grows before an operation that takes fewer parts an hour than arrive. `finished_per_start` counts starts
    of the machine that runs the last operation. Raises ValueError for an operation without a station.
    """
    _positive(stations, start_seconds)
    rates = [n / s for n, s in zip(stations, start_seconds, strict=True)]
    arriving = rates[0]
    piles = []
    for k, rate in enumerate(rates[1:], start=1):
        if arriving > rate * (1 + 1e-9):
            more = arriving - rate
            piles.append(Pile(k, more * start_seconds[k], more * shift_seconds))
        arriving = min(arriving, rate)
    between = [math.ceil(min(rates[: k + 2]) * start_seconds[k + 1] - 1e-9) for k in range(len(stations) - 1)]
    return Balance(
        finished_per_start=arriving * start_seconds[-1],
        finished_per_shift=arriving * shift_seconds,
        startup_starts=len(stations) - 1,
        work_in_process=sum(between),
        piles=tuple(piles),
    )


def _positive(stations: Sequence[int], start_seconds: Sequence[float]) -> None:
    if not stations or len(stations) != len(start_seconds):
        raise ValueError(f"needs one start time an operation, not {len(start_seconds)} for {len(stations)} operations")
    if min(stations) < 1 or min(start_seconds) <= 0:
        raise ValueError(f"every operation needs a station and a time above 0, not {stations} and {start_seconds}")


@dataclass(frozen=True, slots=True)
class Played:
    """What came of a number of starts: `piles[k]` wait before operation k + 1 (after operation k)."""

    put_in: int
    finished: int
    piles: tuple[int, ...]


def play(stations: Sequence[int], starts: int) -> Played:
    """Run `starts` starts of one machine from an empty floor and count: the check of `balance` by doing it."""
    waiting = [0] * len(stations)
    put_in = 0
    for _ in range(starts):
        taken = [stations[0], *(min(n, w) for n, w in zip(stations[1:], waiting, strict=False))]
        put_in += taken[0]
        for k, n in enumerate(taken):
            waiting[k] += n
            if k:
                waiting[k - 1] -= n
    return Played(put_in, waiting[-1], tuple(waiting[:-1]))


@dataclass(frozen=True, slots=True)
class Kits:
    """Complete kits a start, and the parts of each number beyond them."""

    per_start: float
    surplus: tuple[tuple[str, float], ...]


def kits(parts_per_start: Mapping[str, float], proportions: Mapping[str, int]) -> Kits:
    """Complete kits from the finished parts of each number that leave a start.

    `proportions` is how many of each part number a kit holds. Raises ValueError where a part number has no parts or
    a proportion below 1.
    """
    missing = [p for p, n in proportions.items() if n < 1 or parts_per_start.get(p, 0) <= 0]
    if missing or not proportions:
        raise ValueError(f"every part of a kit needs a proportion of at least 1 and parts a start; not so: {missing}")
    whole = min(parts_per_start[p] / n for p, n in proportions.items())
    surplus = tuple((p, parts_per_start[p] - whole * n) for p, n in proportions.items())
    return Kits(whole, tuple((p, s) for p, s in surplus if s > 1e-9))


@dataclass(frozen=True)
class CarrierKind:
    """A carrier that may be in the machine: stations that one of it gives each (part number, operation).

    `room` is its share of what the table has (1 for one of a machine that takes `room` of them); `most` is how many
    there may be at all; `where` are the rooms (by position) in which it can stand, all where it isn't said.
    """

    name: str
    stations: Mapping[tuple[str, int], int]
    room: float = 1.0
    most: int = 99
    where: tuple[int, ...] | None = None


@dataclass(frozen=True)
class Mix:
    """How many of each carrier stand in each machine, and what leaves a start. `kits_per_start` is proven the most."""

    carriers: tuple[tuple[str, ...], ...]
    kits_per_start: int
    stations: Mapping[tuple[str, int], int]


def best_mix(
    kinds: Sequence[CarrierKind], rooms: Sequence[float], proportions: Mapping[str, int] | None = None
) -> Mix | None:
    """The mix of carriers that gives most complete kits every start, with the fewest carriers that do.

    Parameters
    ----------
    kinds : carriers to choose from
    rooms : room of each machine, or of each place in one, in the carriers' own measure; all started together
    proportions : parts of each number in a kit; without it every part number counts once

    An integer program solved to proof: most kits z with Σ stations >= z · proportion for every operation, then the
    fewest carriers at that z. None where no mix gives one kit a start.
    """
    rows = sorted({key for kind in kinds for key in kind.stations})
    parts = dict(proportions or dict.fromkeys((p for p, _ in rows), 1))
    if not kinds or not rooms or {p for p, _ in rows} != set(parts):
        raise ValueError(f"kits of {sorted(parts)} don't go with carriers for {sorted({p for p, _ in rows})}")
    gives = np.array([[kind.stations.get(row, 0) for kind in kinds for _ in rooms] for row in rows], float)
    needs = np.array([parts[p] for p, _ in rows], float)
    most = _solve(kinds, rooms, gives, needs, None)
    if most is None or round(most[-1]) < 1:
        return None
    fewest = _solve(kinds, rooms, gives, needs, round(most[-1]))
    assert fewest is not None
    counts = np.round(fewest[:-1]).astype(int).reshape(len(kinds), len(rooms))
    carriers = tuple(
        tuple(kind.name for kind, n in zip(kinds, counts[:, m], strict=True) for _ in range(n))
        for m in range(len(rooms))
    )
    stations = {row: int(n) for row, n in zip(rows, gives @ counts.ravel(), strict=True)}
    return Mix(carriers, round(most[-1]), stations)


def _solve(
    kinds: Sequence[CarrierKind],
    rooms: Sequence[float],
    gives: np.ndarray,
    needs: np.ndarray,
    kits_wanted: int | None,
) -> np.ndarray | None:
    """Counts of each kind in each machine and the kits: most kits, or with `kits_wanted` the fewest carriers."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    n = gives.shape[1]
    room = np.zeros((len(rooms), n + 1))
    owned = np.zeros((len(kinds), n + 1))
    for k, kind in enumerate(kinds):
        for m in range(len(rooms)):
            room[m, k * len(rooms) + m] = kind.room
            owned[k, k * len(rooms) + m] = 1.0
    upper = np.full(n + 1, np.inf)
    for k, kind in enumerate(kinds):
        for m in range(len(rooms)):
            if kind.where is not None and m not in kind.where:
                upper[k * len(rooms) + m] = 0.0
    lower = np.zeros(n + 1)
    if kits_wanted is not None:
        lower[-1] = upper[-1] = kits_wanted
    cost = np.append(np.ones(n), 0.0) if kits_wanted is not None else np.append(np.zeros(n), -1.0)
    found = milp(
        cost,
        integrality=np.ones(n + 1),
        bounds=Bounds(lower, upper),
        constraints=[
            LinearConstraint(np.column_stack([gives, -needs]), 0.0, np.inf),
            LinearConstraint(room, -np.inf, np.asarray(rooms, float) + 1e-9),
            LinearConstraint(owned, -np.inf, np.array([kind.most for kind in kinds], float)),
        ],
        options={"mip_rel_gap": 0.0},
    )
    return None if found.x is None else np.asarray(found.x)
