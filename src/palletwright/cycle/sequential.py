"""The sequential ordering problem: the cheapest order of things of which some must stand before others."""

from __future__ import annotations

import time
from collections.abc import Iterable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from palletwright.cycle.arborescence import FAR, ascend
from palletwright.cycle.cooling import cool
from palletwright.cycle.exchange import descend, iterate, path_cost
from palletwright.cycle.subsets import EXACT_NODES, best_path

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


class Ordered(NamedTuple):
    """An order of nodes from 0, its cost, and a bound that is never above the least possible cost."""

    order: tuple[int, ...]
    cost: float
    bound: float


class Order(NamedTuple):
    """An ordering problem in the form that the search works on: node 0 is first, node n-1 last.

    `cost` (n, n) with FAR on arcs that no allowed order uses; `before` (n, n) its transitive closure, `heads` and
    `tails` the immediate successors; `names` (n,) the caller's node numbers, -1 for an added start or end;
    `turns` whether most costs are the same both ways, so that turning a segment round can pay;
    `near` (n, 8) the cheapest next nodes of every node, -1 where there are fewer.
    """

    cost: Floats
    before: Flags
    heads: Ints
    tails: Ints
    names: Ints
    turns: bool
    near: Ints


def sequential_order(
    cost: ArrayLike,
    precedence: Flags | Iterable[tuple[int, int]] = (),
    *,
    seconds: float = 60.0,
    seed: int = 1,
    effort: float = 1.0,
    start: Iterable[int] | None = None,
) -> Ordered:
    """Find the cheapest path over all nodes in which `precedence` holds.

    Parameters
    ----------
    cost : (n, n) cost of going from row to column, at least finite on the arcs that an order may use
    precedence : (n, n) bool, `[a, b]` true when a must stand before b; or pairs (a, b)
    seconds : clock limit; it only stops a search earlier
    seed : of the search's draws: the same seed and effort give the same order
    effort : multiplies the work of the search
    start : an allowed order to begin from

    Raises
    ------
    ValueError : where the matrix isn't square and finite, or the precedence runs in a circle

    Notes
    -----
    Up to 18 nodes between the first and the last: exact, bound = cost. Else iterated SOP-3-exchange, with the
    bound of `arborescence.ascend`.
    """
    until = time.monotonic() + seconds
    matrix = np.asarray(cost, dtype=float)
    if matrix.ndim != 2 or matrix.shape[0] != matrix.shape[1]:
        raise ValueError(f"the cost matrix needs as many rows as columns, has shape {matrix.shape}")
    n = len(matrix)
    if n == 0:
        return Ordered((), 0.0, 0.0)
    problem = pose(matrix, precedence_matrix(n, precedence))
    whole = bool(np.all(np.mod(problem.cost[problem.cost < FAR / 2], 1.0) == 0.0))
    if len(problem.cost) - 2 <= EXACT_NODES:
        path = best_path(problem.cost, _needs(problem.before))
        value = path_cost(path, problem.cost)
        return _answer(problem, path, value, value)
    path = greedy(problem, 0.0, np.random.default_rng(seed)) if start is None else _given(problem, start)
    descend(
        path,
        problem.cost,
        problem.heads,
        problem.tails,
        len(path),
        np.ones(len(path), dtype=bool),
        problem.turns,
        problem.near,
    )
    path, bound = _search(problem, path, whole, until, seed, effort)
    return _answer(problem, path, path_cost(path, problem.cost), bound)


def precedence_matrix(n: int, precedence: Any) -> Flags:
    """Transitive closure (n, n) of a bool matrix or of pairs; raises ValueError where it runs in a circle."""
    if isinstance(precedence, np.ndarray) and precedence.shape == (n, n) and precedence.dtype == bool:
        before = precedence.copy()
    else:
        before = np.zeros((n, n), dtype=bool)
        for a, b in precedence:
            before[a, b] = True
    for k in range(n):
        rows = np.flatnonzero(before[:, k])
        if len(rows):
            before[rows] |= before[k]
    round_trip = np.flatnonzero(np.diag(before))
    if len(round_trip):
        raise ValueError(f"the precedence runs in a circle through nodes {round_trip.tolist()}")
    return before


def pose(cost: Floats, before: Flags) -> Order:
    """Add a free start and end where the precedence names none, order ends first and last, drop useless arcs."""
    n = len(cost)
    others = ~np.eye(n, dtype=bool)
    first = np.flatnonzero((before | ~others).all(axis=1))
    last = np.flatnonzero((before | ~others).all(axis=0)) if n > 1 else first[:0]
    head = first[:1].tolist() or [-1]
    foot = last[:1].tolist() or [-1]
    inner = [a for a in range(n) if a not in (*head, *foot)]
    names = np.array(head + inner + foot, dtype=np.int64)
    m = len(names)
    known = names >= 0
    w, b = np.zeros((m, m)), np.zeros((m, m), dtype=bool)
    at = np.ix_(known, known)
    w[at] = cost[np.ix_(names[known], names[known])]
    b[at] = before[np.ix_(names[known], names[known])]
    b[0, 1:] = True
    b[:-1, -1] = True
    far = _useless(b)
    if not np.isfinite(w[~far]).all():
        raise ValueError("the cost matrix has values that are no numbers on arcs that an order may use")
    w[far] = FAR
    heads, tails = successors(b)
    return Order(w, b, heads, tails, names, both_ways(w), nearest(w))


def both_ways(cost: Floats) -> bool:
    """Whether more than half of the arcs that can be used both ways cost the same both ways."""
    usable = (cost < FAR / 2) & (cost.T < FAR / 2)
    return bool(usable.any() and np.mean(np.isclose(cost, cost.T)[usable]) > 0.5)


def nearest(cost: Floats, count: int = 8) -> Ints:
    """The `count` cheapest next nodes of every node (n, count), -1 where fewer can follow."""
    order = np.argsort(cost, axis=1, kind="stable")[:, :count].astype(np.int64)
    return np.where(np.take_along_axis(cost, order, axis=1) < FAR / 2, order, -1)


def _useless(before: Flags) -> Flags:
    """Arcs a→b that no allowed order uses: b must stand before a, or something must stand between."""
    f = before.astype(np.float32)
    return before.T | (before & (f @ f > 0)) | np.eye(len(before), dtype=bool)


def successors(before: Flags) -> tuple[Ints, Ints]:
    """Immediate successors of every node from the closure (n, n): `tails[heads[a]:heads[a+1]]`."""
    f = before.astype(np.float32)
    rows, columns = np.nonzero(before & ~(f @ f > 0))
    heads = np.zeros(len(before) + 1, dtype=np.int64)
    np.cumsum(np.bincount(rows, minlength=len(before)), out=heads[1:])
    return heads, columns.astype(np.int64)


def _needs(before: Flags) -> Ints:
    inner = before[1:-1, 1:-1].astype(np.int64)
    bits: Ints = 1 << np.arange(len(inner), dtype=np.int64)
    needs: Ints = (inner * bits[:, None]).sum(axis=0)
    return needs


def greedy(problem: Order, noise: float, rng: np.random.Generator) -> Ints:
    """Always the nearest allowed next node; `noise` spreads the choice (a fraction of the cost)."""
    n = len(problem.cost)
    open_before = problem.before.sum(axis=0)
    path, left = [0], np.ones(n, dtype=bool)
    left[0] = False
    open_before = open_before - problem.before[0]
    while len(path) < n:
        ready = np.flatnonzero(left & (open_before == 0))
        step = problem.cost[path[-1], ready]
        if noise:
            step = step * (1.0 + noise * rng.random(len(ready)))
        pick = int(ready[int(np.argmin(step))])
        path.append(pick)
        left[pick] = False
        open_before = open_before - problem.before[pick]
    return np.array(path, dtype=np.int64)


def _given(problem: Order, start: Iterable[int]) -> Ints:
    at = {int(name): k for k, name in enumerate(problem.names) if name >= 0}
    inner = [at[int(a)] for a in start if 0 < at[int(a)] < len(problem.names) - 1]
    return np.array([0, *inner, len(problem.names) - 1], dtype=np.int64)


def _search(problem: Order, path: Ints, whole: bool, until: float, seed: int, effort: float) -> tuple[Ints, float]:
    """Batches of search until the bound is met, the effort is spent or the clock stops; then a better bound."""
    n = len(path)
    cost = problem.cost
    rng = np.random.default_rng(seed)
    best, value = path.copy(), path_cost(path, cost)
    bound = _lifted(ascend(cost, value, int(60 + 240 * min(1.0, effort))), whole)
    longest = 0.0
    for batch in range(max(1, round(24 * effort))):
        begin = time.monotonic()
        if value <= bound + 1e-9 or begin + longest > until:
            break
        found = _batch(problem, best, value / n, batch, bound, rng, effort)
        longest = max(longest, time.monotonic() - begin)
        if path_cost(found, cost) < value - 1e-9:
            best, value = found, path_cost(found, cost)
    if value > bound + 1e-9 and time.monotonic() < until:
        bound = max(bound, _lifted(ascend(cost, value, int(2000 * effort)), whole))
    return best, min(bound, value)


def _batch(
    problem: Order, best: Ints, arc: float, batch: int, bound: float, rng: np.random.Generator, effort: float
) -> Ints:
    """One stretch of work: in turn a cool iterated descent, an annealing, a warm iterated descent, and one of
    these from a fresh start. `arc` is the mean cost of an arc; later batches are longer."""
    n, cost, heads, tails, turns = len(best), problem.cost, problem.heads, problem.tails, problem.turns
    long = 20 if turns and effort >= 1.0 else min(6, 1 + batch // 8)
    rounds = min(40_000, max(20, int(long * 1.5e9 / (n * n * n + 4e4))))
    kind = batch % 4
    begin = best if kind < 3 else greedy(problem, 1.0, rng)
    width = 12 if turns else (50, 12)[batch % 2]
    if turns or kind in (0, 2):
        heat = ((2.0, 3.0, 2.0, 4.0) if turns else (0.02, 0.1, 0.2, 0.3))[kind] * arc
        descend(begin, cost, heads, tails, n, np.ones(n, dtype=bool), turns, problem.near)
        warm: Ints = iterate(begin, cost, heads, tails, rounds, heat, rng, bound, width, turns, problem.near)
        return warm
    hot = (1.0, 3.0)[batch // 4 % 2] * arc
    path: Ints = cool(begin, cost, heads, tails, long * 2_000_000, hot, 0.05 * arc, rng, turns)
    descend(path, cost, heads, tails, n, np.ones(n, dtype=bool), turns, problem.near)
    return path


def _lifted(bound: float, whole: bool) -> float:
    """The next integer where every cost is whole; 1e-6 of room for rounding."""
    return float(np.ceil(bound - 1e-6 * max(1.0, abs(bound)) - 1e-6)) if whole else bound - 1e-9 * abs(bound)


def _answer(problem: Order, path: Ints, value: float, bound: float) -> Ordered:
    order = tuple(int(problem.names[k]) for k in path if problem.names[k] >= 0)
    return Ordered(order, float(value), float(bound))
