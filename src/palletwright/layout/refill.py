"""Take a few neighbouring modules off a good packing and place again: often one more finds room.

Large neighbourhood search after Shaw (1998); a packing as good as the last replaces it, so that the search drifts.
"""

from __future__ import annotations

import numpy as np

from palletwright.layout.board import Board, Placed, greedy

MARK = ", placed again in part"


def refilled(board: Board, start: Placed, goal: int, rounds: int, seed: int) -> Placed:
    """`start` or, where found within `rounds`, a packing with more modules; the same seed gives the same."""
    rng = np.random.default_rng(seed)
    now = start
    for _ in range(rounds if len(start) else 0):
        if len(now) >= goal:
            break
        about = now.at[rng.integers(len(now))]
        off = int(rng.integers(1, max(2, len(now) // 2 + 1)))
        left = np.sort(np.argsort(np.hypot(*(now.at - about).T), kind="stable")[off:])
        turns = tuple(int(t) for t in rng.permutation(board.turns))
        weights = (*rng.normal(size=2).tolist(), float(rng.choice((0.0, 5.0))))
        again = greedy(board, Placed(now.at[left], now.turn[left]), weights, turns, goal, "")
        if len(again) >= len(now):
            now = Placed(again.at, again.turn, start.pattern + MARK)
    return now if len(now) > len(start) else start
