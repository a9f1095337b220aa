"""Annealing of a path by random exchanges of neighbouring segments: cheap steps in great number."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from palletwright.cycle.exchange import path_cost

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@njit(cache=True)  # type: ignore[untyped-decorator]
def _length(most: int, rng: np.random.Generator) -> int:
    """1 .. most, short ones far more often: the logarithm is uniform."""
    return min(most, int(np.exp(rng.random() * np.log(most + 1.0))))


@njit(cache=True)  # type: ignore[untyped-decorator]
def _free(path: Ints, heads: Ints, tails: Ints, place: Ints, h: int, j: int) -> bool:
    """Whether nothing in h+1..j must stand before anything else there."""
    for k in range(h + 1, j):
        for s in range(heads[path[k]], heads[path[k] + 1]):
            if place[tails[s]] <= j:
                return False
    return True


@njit(cache=True)  # type: ignore[untyped-decorator]
def cool(
    path: Ints,
    cost: Floats,
    heads: Ints,
    tails: Ints,
    steps: int,
    hot: float,
    cold: float,
    rng: np.random.Generator,
    turns: bool,
) -> Ints:
    """Best path seen while the temperature falls geometrically from `hot` to `cold` (costs) in `steps` steps.

    Each step draws positions h < i < j; the change in cost is judged first (Metropolis) and the precedence only
    where it would be taken.
    """
    n = len(path)
    here, best = path.copy(), path.copy()
    value = path_cost(here, cost)
    least = value
    if n < 4:
        return best
    place, spare = np.empty(n, np.int64), np.empty(n, np.int64)
    for k in range(n):
        place[here[k]] = k
    fall = (cold / hot) ** (1000.0 / max(steps, 1000))
    heat = hot
    for step in range(steps):
        if step % 1000 == 999:
            heat *= fall
        h = int(rng.random() * (n - 3))
        if turns and rng.random() < 0.4:
            j = min(n - 2, h + 1 + _length(n - 3 - h, rng))
            a, b, w, z = here[h], here[h + 1], here[j], here[j + 1]
            change = cost[a, w] + cost[b, z] - cost[a, b] - cost[w, z]
            if change > 20.0 * heat:
                continue
            for k in range(h + 1, j):
                change += cost[here[k + 1], here[k]] - cost[here[k], here[k + 1]]
            if (change <= 0.0 or rng.random() < np.exp(-change / heat)) and _free(here, heads, tails, place, h, j):
                here[h + 1 : j + 1] = here[h + 1 : j + 1][::-1].copy()
                for k in range(h + 1, j + 1):
                    place[here[k]] = k
                value += change
                if value < least - 1e-9:
                    least = value
                    best[:] = here
            continue
        i = h + _length(n - 3 - h, rng)
        j = i + _length(n - 2 - i, rng)
        a, b, u, v, w, z = here[h], here[h + 1], here[i], here[i + 1], here[j], here[j + 1]
        change = cost[a, v] + cost[w, b] + cost[u, z] - cost[a, b] - cost[u, v] - cost[w, z]
        if change > 0.0 and (change > 20.0 * heat or rng.random() >= np.exp(-change / heat)):
            continue
        allowed = True
        for k in range(h + 1, i + 1):
            for s in range(heads[here[k]], heads[here[k] + 1]):
                p = place[tails[s]]
                if i < p <= j:
                    allowed = False
                    break
            if not allowed:
                break
        if not allowed:
            continue
        left = i - h
        for k in range(left):
            spare[k] = here[h + 1 + k]
        for k in range(j - i):
            here[h + 1 + k] = here[i + 1 + k]
        for k in range(left):
            here[h + 1 + (j - i) + k] = spare[k]
        for k in range(h + 1, j + 1):
            place[here[k]] = k
        value += change
        if value < least - 1e-9:
            least = value
            best[:] = here
    return best
