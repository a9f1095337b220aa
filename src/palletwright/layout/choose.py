"""Exact choice among candidate places: the largest set of places of which no two block one another (CP-SAT)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from palletwright.layout.board import Board, Placed, conflicts
from palletwright.layout.lattice import _edge_points


def candidates(board: Board, seeds: Sequence[Placed], most: int) -> Placed:
    """Places made from what good patterns use and from contact steps away from the rooms' corners and seeds."""
    import shapely

    queue: list[tuple[float, float, int]] = []
    seen: set[tuple[float, float, int]] = set()

    def add(x: float, y: float, turn: int) -> None:
        key = (round(float(x), 3), round(float(y), 3), turn)
        if key not in seen:
            seen.add(key)
            queue.append((float(x), float(y), turn))

    for placed in seeds:
        for (x, y), t in zip(placed.at, placed.turn, strict=True):
            add(x, y, int(t))
    for turn, room in board.rooms.items():
        for x, y in shapely.get_coordinates(room.envelope):
            if board.holds(turn, np.array([[x, y]]))[0]:
                add(x, y, turn)
    steps = {(a, b): _edge_points(board.table.world(a, b), 0) for a in board.turns for b in board.turns}
    at = 0
    while at < len(queue) and len(queue) < most:
        x, y, turn = queue[at]
        at += 1
        for other in board.turns:
            points = steps[turn, other] + (x, y)
            for px, py in points[board.holds(other, points)]:
                add(px, py, other)
    chosen = queue[:most]
    return Placed(np.array([q[:2] for q in chosen]).reshape(-1, 2), np.array([q[2] for q in chosen], dtype=np.int64))


def largest_clear(board: Board, pool: Placed, hint: Placed, limit: int, work: float, seed: int) -> tuple[Placed, bool]:
    """The most places of `pool` clear of one another and whether that was proven for the pool; `work` in
    deterministic seconds, so that the answer does not depend on the machine."""
    from ortools.sat.python import cp_model

    hit = conflicts(board, pool)
    model = cp_model.CpModel()
    chosen = [model.new_bool_var(f"p{k}") for k in range(len(pool))]
    for clique in cliques(hit):
        model.add_at_most_one([chosen[k] for k in clique])
    total = sum(chosen)
    model.add(total <= limit)
    keys = {(round(float(x), 3), round(float(y), 3), int(t)) for (x, y), t in zip(hint.at, hint.turn, strict=True)}
    for k, ((x, y), t) in enumerate(zip(pool.at, pool.turn, strict=True)):
        model.add_hint(chosen[k], (round(float(x), 3), round(float(y), 3), int(t)) in keys)
    model.maximize(total)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = seed
    solver.parameters.max_deterministic_time = work
    solver.parameters.max_time_in_seconds = 60.0
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return hint, False
    take = np.array([solver.boolean_value(c) for c in chosen], dtype=bool)
    return Placed(pool.at[take], pool.turn[take], "chosen place by place"), status == cp_model.OPTIMAL


def cliques(hit: NDArray[np.bool_]) -> list[list[int]]:
    """Cliques that cover every conflicting pair, grown greedily."""
    left = np.triu(hit)
    cliques: list[list[int]] = []
    for i in range(len(hit)):
        while left[i].any():
            common, clique = hit[i].copy(), [i]
            order = [*np.flatnonzero(left[i]).tolist(), *np.flatnonzero(hit[i]).tolist()]
            for j in order:
                if common[j]:
                    clique.append(j)
                    common &= hit[j]
            rows = np.array(clique)
            left[np.ix_(rows, rows)] = False
            cliques.append(clique)
    return cliques
