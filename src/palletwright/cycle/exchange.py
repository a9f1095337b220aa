"""Local search for the sequential ordering problem: exchange of two neighbouring segments, path order kept.

The moves are those of SOP-3-exchange (Gambardella & Dorigo 2000, INFORMS J. Computing 12(3), 237-255): the path
positions h < i < j are cut after each, and the two middle segments change places. Neither is reversed, so the cost
changes by three arcs, and the exchange is allowed when nothing in the left segment must stand before anything in
the right one. Immediate successors are enough to see that: a chain from left to right crosses somewhere. Where
costs are nearly the same both ways, segments that hold no precedence are tried turned round as well.

Arrays: `path` (n,) int64, first and last node fixed; `cost` (n, n) float64; `heads` (n+1,), `tails` int64: the
immediate successors of node a are `tails[heads[a]:heads[a+1]]`.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


CLOSED = 1e14
"""Cost above which an arc is closed."""

SHUT = 1e7
"""What a closed arc counts in sums over turned stretches: more than any gain, little enough to keep 1e-6 apart."""

GAIN = 1e-6
"""Least gain that counts; less is rounding."""


@njit(cache=True)  # type: ignore[untyped-decorator]
def path_cost(path: Ints, cost: Floats) -> float:
    """Sum of the arcs along `path`."""
    total = 0.0
    for k in range(len(path) - 1):
        total += cost[path[k], path[k + 1]]
    return total


@njit(cache=True)  # type: ignore[untyped-decorator]
def apply(path: Ints, spare: Ints, h: int, i: int, j: int, kind: int) -> None:
    """Carry out an exchange in place: kind 0 swaps segments h+1..i and i+1..j, 1 turns the left one round as well,
    2 the right one, 3 only turns h+1..j round."""
    if kind == 3:
        path[h + 1 : j + 1] = path[h + 1 : j + 1][::-1].copy()
        return
    left, right = i - h, j - i
    for k in range(left):
        spare[k] = path[i - k] if kind == 1 else path[h + 1 + k]
    for k in range(right):
        spare[left + k] = path[j - k] if kind == 2 else path[i + 1 + k]
    for k in range(right):
        path[h + 1 + k] = spare[left + k]
    for k in range(left):
        path[h + 1 + right + k] = spare[k]


@njit(cache=True)  # type: ignore[untyped-decorator]
def _survey(
    path: Ints,
    cost: Floats,
    heads: Ints,
    tails: Ints,
    dirty: Flags,
    place: Ints,
    tied: Ints,
    back: Floats,
    places: Ints,
    peak: Floats,
) -> int:
    """Refresh what `_best_at` reads: `place` of every node; `tied[k]` the first position that something at k or
    later must precede; `back[k]` what turning round path[0..k] adds; `places` with dirty arcs (their number);
    `peak` the dearest arc of the path and the dearest dirty one."""
    n, count = len(path), 0
    for k in range(n):
        place[path[k]] = k
    back[0] = 0.0
    peak[:] = 0.0
    for k in range(1, n):
        turned = cost[path[k], path[k - 1]]
        if turned > CLOSED:
            turned = SHUT  # sums of greater ones would lose the cents, and a descent that counts noise doesn't end
        back[k] = back[k - 1] + turned - cost[path[k - 1], path[k]]
        arc = cost[path[k - 1], path[k]]
        peak[0] = max(peak[0], arc)
        if dirty[path[k - 1]] or dirty[path[k]]:
            peak[1] = max(peak[1], arc)
            places[count] = k - 1
            count += 1
    nearest = n
    for k in range(n - 1, -1, -1):
        for s in range(heads[path[k]], heads[path[k] + 1]):
            nearest = min(nearest, place[tails[s]])
        tied[k] = nearest
    return count


@njit(cache=True)  # type: ignore[untyped-decorator]
def descend(
    path: Ints, cost: Floats, heads: Ints, tails: Ints, width: int, dirty: Flags, turns: bool, near: Ints
) -> float:
    """Improve `path` in place until no exchange within `width` positions that cuts an arc at a `dirty` node lowers
    its cost; the gain is returned. `dirty` (n,) by node is used up; `turns` tries turned segments too, and then
    leads a clean node only to one of its `near` (n, k) ones."""
    n = len(path)
    place, blocked, tied = np.empty(n, np.int64), np.full(n, -1, np.int64), np.empty(n, np.int64)
    spare, places = np.empty(n, np.int64), np.empty(n, np.int64)
    back, peak = np.empty(n), np.zeros(2)
    gained, tick, more = 0.0, 0, True
    while more:
        more = False
        fresh = np.zeros(n, np.bool_)
        count = _survey(path, cost, heads, tails, dirty, place, tied, back, places, peak)
        h = 0
        while h < n - 3:
            tick += 1
            gain, i, j, kind = _best_at(
                h,
                path,
                cost,
                heads,
                tails,
                width,
                dirty,
                place,
                blocked,
                tick,
                tied,
                back,
                places,
                count,
                turns,
                peak,
                near,
            )
            if j == 0:
                h += 1
                continue
            for k in (h, h + 1, i, i + 1, j, j + 1):
                fresh[path[k]] = True
                dirty[path[k]] = True
            apply(path, spare, h, i, j, kind)
            count = _survey(path, cost, heads, tails, dirty, place, tied, back, places, peak)
            gained += gain
            more = True
        dirty[:] = fresh
    return gained


@njit(cache=True, inline="always")  # type: ignore[untyped-decorator]
def _stop_after(
    i: int, stop: int, last: int, path: Ints, heads: Ints, tails: Ints, place: Ints, blocked: Ints, tick: int
) -> int:
    """The first position that may not join the right segment now that position i has joined the left one."""
    u = path[i]
    for k in range(heads[u], heads[u + 1]):
        p = place[tails[k]]
        blocked[p] = tick
        stop = min(stop, p)
    if stop <= i:  # the node that blocked has joined the left segment
        stop = i + 1
        while stop <= last and blocked[stop] != tick:
            stop += 1
    return stop


@njit(cache=True, inline="always")  # type: ignore[untyped-decorator]
def _turned_at(
    h: int, i: int, j: int, out: float, path: Ints, cost: Floats, tied: Ints, back: Floats, best: float
) -> tuple[float, int]:
    """The exchange of h+1..i and i+1..j with one turned round that gains more than `best`: gain, kind; 0 for none."""
    a, b, u, v, w, z = path[h], path[h + 1], path[i], path[i + 1], path[j], path[j + 1]
    kind = 0
    if tied[h + 1] > i:
        gain = out + cost[w, z] - cost[a, v] - cost[w, u] - cost[b, z] - back[i] + back[h + 1]
        if gain > best:
            best, kind = gain, 1
    if tied[i + 1] > j:
        gain = out + cost[w, z] - cost[a, w] - cost[v, b] - cost[u, z] - back[j] + back[i + 1]
        if gain > best:
            best, kind = gain, 2
    return best, kind


@njit(cache=True, inline="always")  # type: ignore[untyped-decorator]
def _one_turned(h: int, stop: int, path: Ints, cost: Floats, back: Floats, best: float) -> tuple[float, int, int, int]:
    """The best turn of a single segment h+1..j with j below `stop`: gain, i, j, kind as in `_best_at`."""
    a, b, end, kind = path[h], path[h + 1], 0, 0
    for j in range(h + 2, stop):
        w, z = path[j], path[j + 1]
        gain = cost[a, b] + cost[w, z] - cost[a, w] - cost[b, z] - back[j] + back[h + 1]
        if gain > best:
            best, end, kind = gain, j, 3
    return best, h + 1 if end else 0, end, kind


@njit(cache=True)  # type: ignore[untyped-decorator]
def _best_at(
    h: int,
    path: Ints,
    cost: Floats,
    heads: Ints,
    tails: Ints,
    width: int,
    dirty: Flags,
    place: Ints,
    blocked: Ints,
    tick: int,
    tied: Ints,
    back: Floats,
    places: Ints,
    count: int,
    turns: bool,
    peak: Floats,
    near: Ints,
) -> tuple[float, int, int, int]:
    """The best allowed exchange that cuts after position h: gain, i, j, kind; j = 0 where none gains."""
    a, b, last = path[h], path[h + 1], min(len(path) - 2, h + width)
    all_of_h = dirty[a] or dirty[b]
    best, bi, bj, bk, stop, begin = GAIN, 0, 0, 0, last + 1, 0
    if turns:
        best, bi, bj, bk = _one_turned(h, min(last + 1, tied[h + 1]), path, cost, back, best)
        if not all_of_h:
            found: tuple[float, int, int, int] = _near_at(
                h, last, path, cost, heads, tails, dirty, place, tied, back, places, count, near, best, bi, bj, bk
            )
            return found
    for i in range(h + 1, last):
        u, v = path[i], path[i + 1]
        stop = _stop_after(i, stop, last, path, heads, tails, place, blocked, tick)
        out = cost[a, b] + cost[u, v]
        dense = all_of_h or dirty[u] or dirty[v]
        while begin < count and places[begin] <= i:
            begin += 1
        least = min(cost[a, v], cost[v, b]) if turns else cost[a, v]
        if least >= out + (peak[0] if dense else peak[1]):  # no third arc can pay for the new one (costs >= 0)
            continue
        k, j = begin, i
        while True:
            if dense:
                j += 1
            elif k < count:
                j = places[k]
                k += 1
            else:
                break
            if j >= stop:
                break
            w, z = path[j], path[j + 1]
            gain = out + cost[w, z] - cost[a, v] - cost[w, b] - cost[u, z]
            if gain > best:
                best, bi, bj, bk = gain, i, j, 0
            if turns:
                gain, kind = _turned_at(h, i, j, out, path, cost, tied, back, best)
                if kind > 0:
                    best, bi, bj, bk = gain, i, j, kind
    return best, bi, bj, bk


@njit(cache=True)  # type: ignore[untyped-decorator]
def crosses(path: Ints, heads: Ints, tails: Ints, place: Ints, h: int, i: int, j: int) -> bool:
    """Whether something in h+1..i must stand before something in i+1..j."""
    for k in range(h + 1, i + 1):
        for s in range(heads[path[k]], heads[path[k] + 1]):
            if i < place[tails[s]] <= j:
                return True
    return False


@njit(cache=True)  # type: ignore[untyped-decorator]
def _near_at(
    h: int,
    last: int,
    path: Ints,
    cost: Floats,
    heads: Ints,
    tails: Ints,
    dirty: Flags,
    place: Ints,
    tied: Ints,
    back: Floats,
    places: Ints,
    count: int,
    near: Ints,
    best: float,
    bi: int,
    bj: int,
    bk: int,
) -> tuple[float, int, int, int]:
    """As `_best_at` for a clean h: only new arcs from path[h] or path[h+1] to near nodes, and j at a dirty arc."""
    a, b = path[h], path[h + 1]
    for c in range(2 * near.shape[1]):
        from_a = c < near.shape[1]
        v = near[a, c] if from_a else near[b, c - near.shape[1]]
        if v < 0:
            continue
        i = place[v] - 1
        if i <= h or i >= last:
            continue
        u = path[i]
        out = cost[a, b] + cost[u, v]
        for k in range(count):
            j = places[k]
            if j <= i or j > last:
                continue
            w, z = path[j], path[j + 1]
            if from_a:
                gain = out + cost[w, z] - cost[a, v] - cost[w, b] - cost[u, z]
                kind = 0
                if tied[h + 1] > i:
                    other = out + cost[w, z] - cost[a, v] - cost[w, u] - cost[b, z] - back[i] + back[h + 1]
                    if other > gain:
                        gain, kind = other, 1
            elif tied[i + 1] > j:
                gain = out + cost[w, z] - cost[a, w] - cost[v, b] - cost[u, z] - back[j] + back[i + 1]
                kind = 2
            else:
                continue
            if gain > best and not crosses(path, heads, tails, place, h, i, j):
                best, bi, bj, bk = gain, i, j, kind
    return best, bi, bj, bk


@njit(cache=True)  # type: ignore[untyped-decorator]
def shake(path: Ints, heads: Ints, tails: Ints, width: int, rng: np.random.Generator, dirty: Flags) -> bool:
    """One random allowed exchange within `width` positions, in place; False where the draw allowed none."""
    n = len(path)
    h = int(rng.integers(0, n - 3))
    last = min(n - 2, h + width)
    if last < h + 2:
        return False
    i = int(rng.integers(h + 1, last))
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
    j = int(rng.integers(i + 1, stop + 1))
    for k in (h, h + 1, i, i + 1, j, j + 1):
        dirty[path[k]] = True
    apply(path, np.empty(n, np.int64), h, i, j, 0)
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
    turns: bool,
    near: Ints,
) -> Ints:
    """Iterated descent: shake, descend, accept by annealing from `heat` to nothing; the best path seen.

    `heat` is a cost; `floor` a valid lower bound at which the search stops; `width` limits the shake;
    `turns` tries turned segments.
    """
    n = len(path)
    here = path.copy()
    value = path_cost(here, cost)
    best, best_value = here.copy(), value
    if n < 4:
        return best
    dirty = np.zeros(n, np.bool_)
    for r in range(rounds):
        if best_value <= floor + 1e-9:
            break
        trial = here.copy()
        for _ in range(1 if turns else 1 + int(rng.integers(0, 3))):
            shake(trial, heads, tails, width, rng, dirty)
        descend(trial, cost, heads, tails, n, dirty, turns, near)
        found = path_cost(trial, cost)
        limit = value - heat * (1.0 - r / rounds) * np.log(1.0 - rng.random())
        if found <= limit:
            here, value = trial, found
            if found < best_value - 1e-9:
                best, best_value = trial.copy(), found
    return best
