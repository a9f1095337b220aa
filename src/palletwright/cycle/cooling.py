"""Annealing of a path by random exchanges of neighbouring segments: cheap steps in great number."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from palletwright.cycle.exchange import crosses, path_cost

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


@njit(cache=True, inline="always")  # type: ignore[untyped-decorator]
def _taken(change: float, heat: float, rng: np.random.Generator) -> bool:
    """Metropolis: what costs less always, what costs more the less often the more it costs."""
    return change <= 0.0 or (change <= 20.0 * heat and rng.random() < np.exp(-change / heat))


@njit(cache=True, inline="always")  # type: ignore[untyped-decorator]
def _turn(
    here: Ints,
    cost: Floats,
    heads: Ints,
    tails: Ints,
    place: Ints,
    h: int,
    heat: float,
    rng: np.random.Generator,
) -> float:
    """Turn a segment after position h round where that is taken and allowed; the change in cost, 0 where it isn't."""
    n = len(here)
    j = min(n - 2, h + 1 + _length(n - 3 - h, rng))
    a, b, w, z = here[h], here[h + 1], here[j], here[j + 1]
    change: float = cost[a, w] + cost[b, z] - cost[a, b] - cost[w, z]
    if change > 20.0 * heat:
        return 0.0
    for k in range(h + 1, j):
        change += cost[here[k + 1], here[k]] - cost[here[k], here[k + 1]]
    if not (_taken(change, heat, rng) and _free(here, heads, tails, place, h, j)):
        return 0.0
    here[h + 1 : j + 1] = here[h + 1 : j + 1][::-1].copy()
    for k in range(h + 1, j + 1):
        place[here[k]] = k
    return change


@njit(cache=True, inline="always")  # type: ignore[untyped-decorator]
def _swap(
    here: Ints,
    spare: Ints,
    cost: Floats,
    heads: Ints,
    tails: Ints,
    place: Ints,
    h: int,
    heat: float,
    rng: np.random.Generator,
) -> float:
    """Exchange two segments after position h where that is taken and allowed; the change in cost, 0 where it isn't."""
    n = len(here)
    i = h + _length(n - 3 - h, rng)
    j = i + _length(n - 2 - i, rng)
    a, b, u, v, w, z = here[h], here[h + 1], here[i], here[i + 1], here[j], here[j + 1]
    change: float = cost[a, v] + cost[w, b] + cost[u, z] - cost[a, b] - cost[u, v] - cost[w, z]
    if not _taken(change, heat, rng) or crosses(here, heads, tails, place, h, i, j):
        return 0.0
    left, right = i - h, j - i
    for k in range(left):
        spare[k] = here[h + 1 + k]
    for k in range(right):
        here[h + 1 + k] = here[i + 1 + k]
    for k in range(left):
        here[h + 1 + right + k] = spare[k]
    for k in range(h + 1, j + 1):
        place[here[k]] = k
    return change


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
            value += _turn(here, cost, heads, tails, place, h, heat, rng)
        else:
            value += _swap(here, spare, cost, heads, tails, place, h, heat, rng)
        if value < least - 1e-9:
            least = value
            best[:] = here
    return best
