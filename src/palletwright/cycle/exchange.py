"""Local search for the sequential ordering problem: exchange of two neighbouring segments, path order kept.

The moves are those of SOP-3-exchange (Gambardella & Dorigo 2000, INFORMS J. Computing 12(3), 237-255): the path
positions h < i < j are cut after each, and the two middle segments change places. Neither is reversed, so the cost
changes by three arcs, and the exchange is allowed when nothing in the left segment must stand before anything in
the right one. Immediate successors are enough to see that: a chain from left to right crosses somewhere.

Arrays: `path` (n,) int64, first and last node fixed; `cost` (n, n) float64; `heads` (n+1,), `tails` int64: the
immediate successors of node a are `tails[heads[a]:heads[a+1]]`.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@njit(cache=True)  # type: ignore[untyped-decorator]
def path_cost(path: Ints, cost: Floats) -> float:
    """Sum of the arcs along `path`."""
    total = 0.0
    for k in range(len(path) - 1):
        total += cost[path[k], path[k + 1]]
    return total


@njit(cache=True)  # type: ignore[untyped-decorator]
def _swap(path: Ints, spare: Ints, h: int, i: int, j: int) -> None:
    """Segments h+1..i and i+1..j change places, in place."""
    left = i - h
    for k in range(left):
        spare[k] = path[h + 1 + k]
    for k in range(j - i):
        path[h + 1 + k] = path[i + 1 + k]
    for k in range(left):
        path[h + 1 + (j - i) + k] = spare[k]


@njit(cache=True)  # type: ignore[untyped-decorator]
def descend(path: Ints, cost: Floats, heads: Ints, tails: Ints, width: int) -> float:
    """Improve `path` in place until no exchange within `width` positions lowers it; the gain is returned."""
    n = len(path)
    stamp = np.full(n, -1, np.int64)
    spare = np.empty(n, np.int64)
    gained, tick, idle, h = 0.0, 0, 0, 0
    while idle < n:
        if h > n - 4:
            h = 0
        best, bi, bj = 1e-9, 0, 0
        tick += 1
        a, first = path[h], path[h + 1]
        last = min(n - 2, h + width)
        for i in range(h + 1, last):
            u, v = path[i], path[i + 1]
            for k in range(heads[u], heads[u + 1]):
                stamp[tails[k]] = tick
            out = cost[a, first] + cost[u, v] - cost[a, v]
            for j in range(i + 1, last + 1):
                w = path[j]
                if stamp[w] == tick:
                    break
                z = path[j + 1]
                gain = out + cost[w, z] - cost[w, first] - cost[u, z]
                if gain > best:
                    best, bi, bj = gain, i, j
        if bj:
            _swap(path, spare, h, bi, bj)
            gained += best
            idle = 0
        else:
            idle += 1
            h += 1
    return gained


@njit(cache=True)  # type: ignore[untyped-decorator]
def shake(path: Ints, heads: Ints, tails: Ints, width: int, rng: np.random.Generator) -> bool:
    """One random allowed exchange within `width` positions, in place; False where the draw allowed none."""
    n = len(path)
    h = rng.integers(0, n - 3)
    last = min(n - 2, h + width)
    if last < h + 2:
        return False
    i = rng.integers(h + 1, last)
    stop = last
    for k in range(h + 1, i + 1):
        u = path[k]
        for s in range(heads[u], heads[u + 1]):
            for j in range(i + 1, stop + 1):
                if path[j] == tails[s]:
                    stop = j - 1
                    break
    if stop < i + 1:
        return False
    j = rng.integers(i + 1, stop + 1)
    _swap(path, np.empty(n, np.int64), h, i, j)
    return True


@njit(cache=True)  # type: ignore[untyped-decorator]
def iterate(
    path: Ints,
    cost: Floats,
    heads: Ints,
    tails: Ints,
    rounds: int,
    heat: float,
    rng: np.random.Generator,
    floor: float,
    width: int,
) -> Ints:
    """Iterated descent: shake, descend, accept by annealing from `heat` to nothing; the best path seen.

    `heat` is a cost; `floor` a valid lower bound at which the search stops; `width` limits the shake.
    """
    n = len(path)
    here = path.copy()
    value = path_cost(here, cost)
    best, best_value = here.copy(), value
    if n < 4:
        return best
    for r in range(rounds):
        if best_value <= floor + 1e-9:
            break
        trial = here.copy()
        kicks = 1 + rng.integers(0, 3)
        for _ in range(kicks):
            shake(trial, heads, tails, width, rng)
        descend(trial, cost, heads, tails, n)
        found = path_cost(trial, cost)
        limit = value - heat * (1.0 - r / rounds) * np.log(1.0 - rng.random())
        if found <= limit:
            here, value = trial, found
            if found < best_value - 1e-9:
                best, best_value = trial.copy(), found
    return best
