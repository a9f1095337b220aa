"""A lower bound on the seconds between the cuts of any order."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import minimum_spanning_tree

from palletwright.cycle.arborescence import FAR
from palletwright.cycle.moves import Moves

Floats = NDArray[np.float64]


def least_between(moves: Moves, rapid: Floats, tool_runs: int) -> float:
    """Least seconds of all changes, indexes and rapids of any order with at least `tool_runs` runs.

    With x tool changes the order falls into x + 1 pieces of one tool each, and the pieces are a forest over the
    same-tool pairs, so they cost at least the cheapest forest of x + 1 trees: the spanning forest without its
    greatest edges. Indexes are counted in it, or apart (`_index_floor`), whichever gives more; the least over all
    x is the bound. `rapid` (n, n) has FAR where the precedence closes an arc.
    """
    n = len(rapid)
    if n < 2:
        return 0.0
    same = moves.tool_key[:, None] == moves.tool_key[None, :]
    both = _forest(np.where(same, rapid + moves.index, FAR))
    alone = _forest(np.where(same, rapid, FAR))
    change = float(moves.tool.max())
    best = np.inf
    for x in range(max(0, tool_runs - 1), n):
        edges = n - 1 - x
        joint = both[:edges].sum() if edges <= len(both) else FAR
        apart = alone[:edges].sum() + _index_floor(moves, x) if edges <= len(alone) else FAR
        best = min(best, x * change + float(max(joint, apart)))
        if x * change > best:
            break
    return best


def _forest(cost: Floats) -> Floats:
    """Edge costs of the least spanning forest, ascending; either direction of a pair will do."""
    w = np.minimum(cost, cost.T)
    np.fill_diagonal(w, FAR)
    rows, columns = np.nonzero(np.triu(w < FAR / 2, 1))
    edges = csr_array((w[rows, columns] + 1.0, (rows, columns)), shape=w.shape)
    return np.sort(minimum_spanning_tree(edges).data - 1.0)


def _index_floor(moves: Moves, changes: int) -> float:
    """Least seconds of indexes beside `changes` tool changes.

    Between the visits of one turning mount every step to another (tool, angle) pair needs a tool change or an
    index: with A angles and B pairs there are at least max(A − 1, B − 1 − changes) indexes.
    """
    floor, spare = 0.0, 0.0
    for mount in np.unique(moves.mount_key[moves.angle_key >= 0]):
        mine = np.flatnonzero(moves.mount_key == mount)
        angles, first = np.unique(moves.angle_key[mine], return_index=True)
        pairs = len(np.unique(np.stack([moves.tool_key[mine], moves.angle_key[mine]]), axis=1).T)
        turn = moves.index[np.ix_(mine[first], mine[first])]
        floor += float(minimum_spanning_tree(np.minimum(turn, turn.T)).sum())
        least = float(turn[turn > 0].min()) if (turn > 0).any() else 0.0
        spare = max(spare, max(0, pairs - 1 - changes - (len(angles) - 1)) * least)
    return floor + spare
