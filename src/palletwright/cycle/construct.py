"""Orders of a kind: tool first, side first, part first; and their improvement block by block."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from palletwright.cycle.exchange import descend, iterate, path_cost
from palletwright.cycle.sequential import Order, nearest, successors

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

WINDOW = 40
"""Visits that one polishing step looks at together."""


def by_levels(keys: Sequence[Ints], before: Flags, total: Floats, plan: Sequence[int] = ()) -> Ints:
    """An order that stays with the first key as long as anything with it can be done, then the second, and so on.

    `keys` (n,) each, the outermost first; `plan` names the values of the first key to take one after the other.
    Where a key must change, a value whose whole remaining work can be done in one go comes first, then the nearest.
    """
    n = len(total)
    waiting = before.sum(axis=0)
    left = np.ones(n, dtype=bool)
    order: list[int] = []
    follow = list(plan)
    while left.any():
        ready = np.flatnonzero(left & (waiting == 0))
        scope = left.copy()
        for level, key in enumerate(keys):
            value = key[order[-1]] if order else None
            if value is None or not (key[ready] == value).any():
                value = _next_value(key, ready, scope, before, total, order, follow if level == 0 else [])
            ready = ready[key[ready] == value]
            scope &= key == value
        pick = int(ready[int(np.argmin(total[order[-1], ready]))]) if order else int(ready[0])
        order.append(pick)
        left[pick] = False
        waiting = waiting - before[pick]
    return np.array(order, dtype=np.int64)


def _next_value(
    key: Ints, ready: Ints, scope: Flags, before: Flags, total: Floats, order: list[int], follow: list[int]
) -> int:
    while follow:
        value = follow.pop(0)
        if (key[ready] == value).any():
            return value
    ranked = []
    for value in np.unique(key[ready]):
        members = np.flatnonzero(scope & (key == value))
        outside = scope & (key != value)
        stuck = bool(before[np.ix_(np.flatnonzero(outside), members)].any())
        near = float(total[order[-1], ready[key[ready] == value]].min()) if order else 0.0
        ranked.append((stuck, near, int(value)))
    return min(ranked)[2]


def regroup(order: Ints, group: Sequence[Ints], before: Flags, total: Floats, rounds: int, seed: int) -> Ints:
    """Exchange whole blocks (neighbours in `order` that agree in every key of `group`), their inside untouched."""
    marks = np.zeros(len(order), dtype=bool)
    for key in group:
        marks[1:] |= key[order[1:]] != key[order[:-1]]
    blocks = np.split(order, np.flatnonzero(marks))
    m = len(blocks)
    if m < 3:
        return order
    first, last = np.array([b[0] for b in blocks]), np.array([b[-1] for b in blocks])
    cost, need = np.zeros((m + 2, m + 2)), np.zeros((m + 2, m + 2), dtype=bool)
    cost[1:-1, 1:-1] = total[np.ix_(last, first)]
    member = np.zeros((m, len(order)), dtype=np.float32)
    for k, block in enumerate(blocks):
        member[k, block] = 1.0
    need[1:-1, 1:-1] = (member @ before.astype(np.float32) @ member.T > 0) & ~np.eye(m, dtype=bool)
    need[0, 1:], need[:-1, -1] = True, True
    heads, tails = successors(_closure(need))
    path = np.arange(m + 2, dtype=np.int64)
    descend(path, cost, heads, tails, m + 2, np.ones(m + 2, dtype=bool), False, path[:0].reshape(0, 0))
    rounds = min(rounds, int(5e7 / m**3))
    if rounds:
        path = iterate(
            path,
            cost,
            heads,
            tails,
            rounds,
            0.05 * path_cost(path, cost) / m,
            np.random.default_rng(seed),
            0.0,
            12,
            False,
            path[:0].reshape(0, 0),
        )
    return np.concatenate([blocks[k - 1] for k in path[1:-1]])


def _closure(need: Flags) -> Flags:
    """Transitive closure of a relation that agrees with the numbering (a before b only if a < b)."""
    reach = need.copy()
    for a in range(len(reach) - 1, -1, -1):
        reach[a] |= reach[reach[a]].any(axis=0)
    return reach


def polish(order: Ints, problem: Order, rounds: int, seed: int, width: int) -> Ints:
    """Descend over the whole path within `width`, then search in overlapping windows of WINDOW visits."""
    shift = int(problem.names[0] < 0)
    path = np.empty(len(problem.names), dtype=np.int64)
    path[0], path[-1] = 0, len(path) - 1
    place = np.empty(len(order), dtype=np.int64)
    place[problem.names[problem.names >= 0]] = np.flatnonzero(problem.names >= 0)
    at = place[order]
    path[shift : shift + len(at)] = at
    descend(
        path,
        problem.cost,
        problem.heads,
        problem.tails,
        width,
        np.ones(len(path), dtype=bool),
        problem.turns,
        problem.near,
    )
    if rounds:
        for begin in range(0, len(path) - 3, WINDOW // 2):
            _window(path, problem, begin, min(len(path), begin + WINDOW + 2), rounds, seed)
        descend(
            path,
            problem.cost,
            problem.heads,
            problem.tails,
            width,
            np.ones(len(path), dtype=bool),
            problem.turns,
            problem.near,
        )
    names = problem.names[path]
    return names[names >= 0]


def _window(path: Ints, problem: Order, begin: int, end: int, rounds: int, seed: int) -> None:
    """Search the inside of path[begin:end] with its two end nodes held."""
    part = path[begin:end]
    if len(part) < 5:
        return
    at = np.ix_(part, part)
    need = problem.before[at].copy()
    need[0, 1:], need[:-1, -1] = True, True
    heads, tails = successors(need)
    cost = problem.cost[at]
    local = np.arange(len(part), dtype=np.int64)
    near = nearest(cost)
    heat = 0.1 * path_cost(local, cost) / len(part)
    path[begin:end] = part[
        iterate(local, cost, heads, tails, rounds, heat, np.random.default_rng(seed), 0.0, 12, problem.turns, near)
    ]
