"""Exact order by dynamic programming over subsets (Held & Karp 1962, J. SIAM 10(1), 196-210)."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

EXACT_NODES = 18
"""Greatest number of free nodes between the first and the last: 2^18 · 18 costs are 38 MB."""


@njit(cache=True)  # type: ignore[untyped-decorator]
def best_path(cost: NDArray[np.float64], need: NDArray[np.int64]) -> NDArray[np.int64]:
    """The cheapest path from node 0 over all nodes to node n-1.

    `cost` (n, n); `need` (n-2,): bit b of entry a is set when inner node b+1 must stand before inner node a+1.
    An empty array where the order is impossible.
    """
    m = len(need)
    full = (1 << m) - 1
    table = np.full((1 << m, m), np.inf)
    for a in range(m):
        if need[a] == 0:
            table[1 << a, a] = cost[0, a + 1]
    for done in range(1, full):
        for a in range(m):
            here = table[done, a]
            if here == np.inf:
                continue
            for b in range(m):
                if (done >> b) & 1 or need[b] & ~done:
                    continue
                value = here + cost[a + 1, b + 1]
                if value < table[done | (1 << b), b]:
                    table[done | (1 << b), b] = value
    path = np.empty(m + 2, np.int64)
    path[0], path[m + 1] = 0, m + 1
    follow, done = m + 1, full
    for at in range(m, 0, -1):
        pick, least = -1, np.inf
        for a in range(m):
            if (done >> a) & 1 and table[done, a] + cost[a + 1, follow] < least:
                pick, least = a, table[done, a] + cost[a + 1, follow]
        if pick < 0:
            return np.empty(0, np.int64)
        path[at] = pick + 1
        follow, done = pick + 1, done & ~(1 << pick)
    return path
