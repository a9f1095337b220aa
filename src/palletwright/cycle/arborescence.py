"""A valid lower bound on a path with precedence: minimum arborescence with Lagrangean ascent.

Every path from node 0 to node n-1 is an arborescence rooted at 0 in which each node has at most one successor.
Relaxing the successors with multipliers gives `w(λ) = min arborescence of (c_ij + λ_i) − Σ λ_i` over all nodes
but the last, never above the optimum (Held & Karp 1971, Math. Programming 1, 6-25, for directed graphs). Arcs that
no allowed order can use are left out first, and the result is lifted to the next integer where all costs are whole.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]
FAR = 1e15


@njit(cache=True)  # type: ignore[untyped-decorator]
def _take_cheapest(v: int, fresh: int, w: Floats, alive: Flags) -> tuple[int, float]:
    """The cheapest arc into v: where it comes from (-1 for none) and its cost, which all arcs into v are reduced by."""
    u, least = -1, FAR / 2
    for a in range(fresh):
        if alive[a] and a != v and w[a, v] < least:
            u, least = a, w[a, v]
    if u >= 0:
        for a in range(fresh):
            if alive[a] and a != v:
                w[a, v] -= least
    return u, least


@njit(cache=True)  # type: ignore[untyped-decorator]
def _contract(c: int, w: Floats, tail: Ints, parent: Ints, alive: Flags) -> None:
    """Give the new node c the cheapest arcs in and out of the nodes that it stands for (`parent` is c)."""
    for x in range(c):
        if parent[x] != c:
            continue
        for a in range(c):
            if not alive[a]:
                continue
            if w[a, x] < w[a, c]:
                w[a, c] = w[a, x]
                tail[a, c] = tail[a, x]
            if w[x, a] < w[c, a]:
                w[c, a] = w[x, a]
                tail[c, a] = tail[x, a]


@njit(cache=True)  # type: ignore[untyped-decorator]
def least_arborescence(cost: Floats, choice: Ints) -> float:
    """Cost of the minimum arborescence rooted at 0 (Edmonds; dense, O(n²) a contraction); FAR-like when none.

    `choice` (n,) receives each node's predecessor (choice[0] = -1).
    """
    n = cost.shape[0]
    total = 2 * n
    w = np.full((total, total), FAR)
    w[:n, :n] = cost
    parent = np.full(total, -1, np.int64)  # union-find link of contracted nodes
    tail = np.full((total, total), -1, np.int64)  # original arc behind w[a, b], as from * n + to
    for a in range(n):
        for b in range(n):
            tail[a, b] = a * n + b
    arc_in = np.full(total, -1, np.int64)
    alive = np.zeros(total, np.bool_)
    alive[:n] = True
    state = np.zeros(total, np.int64)  # 0 new, 1 on the walk, 2 settled
    state[0] = 2
    fresh, value = n, 0.0
    walk = np.empty(total, np.int64)
    for begin in range(1, n):
        v = begin
        while parent[v] >= 0:
            v = parent[v]
        if state[v] == 2:
            continue
        length = 0
        while state[v] != 2:
            state[v] = 1
            walk[length] = v
            length += 1
            u, least = _take_cheapest(v, fresh, w, alive)
            if u < 0:
                return FAR
            value += least
            arc_in[v] = tail[u, v]
            if state[u] == 1:  # a cycle: contract it
                c = fresh
                fresh += 1
                alive[c] = True
                state[c] = 1
                while True:
                    length -= 1
                    x = walk[length]
                    alive[x] = False
                    parent[x] = c
                    if x == u:
                        break
                _contract(c, w, tail, parent, alive)
                v = c
            else:
                v = u
        for k in range(length):
            state[walk[k]] = 2
        # nodes swallowed by settled contractions are reached through `parent`
    _expand(n, fresh, parent, arc_in, choice)
    return value


@njit(cache=True)  # type: ignore[untyped-decorator]
def _expand(n: int, fresh: int, parent: Ints, arc_in: Ints, choice: Ints) -> None:
    """Open the contractions from the outside in: the arc into a contraction replaces one arc inside it."""
    choice[:] = -1
    fixed = np.zeros(fresh, np.bool_)
    for c in range(fresh - 1, 0, -1):
        if fixed[c]:
            continue
        arc = arc_in[c]
        if arc < 0:
            continue
        node = arc % n
        choice[node] = arc // n
        while True:  # the chain from the entered node up to c is decided by this arc
            fixed[node] = True
            if node == c:
                break
            node = parent[node]


@njit(cache=True)  # type: ignore[untyped-decorator]
def ascend(cost: Floats, target: float, rounds: int) -> float:
    """Best Lagrangean bound found in `rounds` steps; `target` is the cost of a known path."""
    n = cost.shape[0]
    lam = np.zeros(n)
    momentum = np.zeros(n)
    choice = np.empty(n, np.int64)
    best, scale, idle = -FAR, 1.0, 0
    w = np.empty((n, n))
    for _ in range(rounds):
        for a in range(n):
            for b in range(n):
                w[a, b] = cost[a, b] + lam[a] if cost[a, b] < FAR / 2 else FAR
        value = least_arborescence(w, choice)
        if value >= FAR / 2:
            break
        for a in range(n - 1):
            value -= lam[a]
        if value > best + 1e-9 * max(1.0, abs(best)):
            best, idle = value, 0
        else:
            idle += 1
            if idle >= 12:
                scale *= 0.7
                idle = 0
        out = np.full(n, -1.0)
        for b in range(1, n):
            out[choice[b]] += 1.0
        out[n - 1] = 0.0
        norm = np.sum(out * out)
        if norm == 0 or scale < 1e-4 or best >= target - 1e-9:
            break
        momentum = 0.7 * out + 0.3 * momentum
        step = scale * max(target - value, 1e-6 * abs(target) + 1e-9) / norm
        lam += step * momentum
        lam[n - 1] = 0.0
    return best
