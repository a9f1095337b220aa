"""As many modules on a side as is safe, with the proof of how far that is from the most possible."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from palletwright.layout.blocked import table
from palletwright.layout.board import NONE, Board, Placed, clear, greedy
from palletwright.layout.bounds import upper_bound
from palletwright.layout.choose import candidates, largest_clear
from palletwright.layout.lattice import Cell, double_cells, fitted, lattices, single_cells
from palletwright.layout.limits import what_stops_one_more
from palletwright.layout.model import Module, Packing, Side, Station
from palletwright.layout.polygons import room, turned
from palletwright.layout.swept import Rows

GREEDY_WEIGHTS = ((0.001, 1.0), (1.0, 0.001), (-0.001, 1.0), (1.0, -0.001), (0.4, 1.0), (1.0, 0.4))


def pack(
    module: Module,
    side: Side,
    *,
    clearance: float,
    solid_gap: float,
    nose: Rows | None = None,
    pitch: float = 0.25,
    turns: Sequence[int] | None = None,
    most: int | None = None,
    overhang: float = 0.0,
    seed: int = 1,
    effort: int = 1,
) -> Packing:
    """Place as many copies of `module` on `side` as stand clear of one another.

    Parameters
    ----------
    clearance : mm demanded between a tool's sweep and another module's bodies
    solid_gap : mm demanded between the outlines of two modules
    nose : rows (radius, from, to) mm of the spindle above the gauge line, or None where it can't matter
    pitch : mm, tool levels nearer than this count as one, on the safe side
    turns : quarter turns allowed; default the module's own
    most : place no more than this
    overhang : mm by which outlines may stand out past the side's area
    effort : 0 patterns only, 1 usual, more searches longer; work is counted, so the answer repeats
    """
    allowed = tuple(sorted({t % 4 for t in (module.turns if turns is None else turns)}))
    area = side.area.buffer(overhang, join_style="mitre") if overhang else side.area
    relative = {(b - a) % 4 for a in allowed for b in allowed}
    board = Board(
        {t: room(area, turned(module.outline, t)) for t in allowed},
        table(module, module, relative, clearance, solid_gap, nose, pitch),
    )
    bound, bound_name = upper_bound(board, module.outline, area, solid_gap)
    board = Board({t: r for t, r in board.rooms.items() if not r.is_empty}, board.table)
    goal = bound if most is None else min(bound, most)
    best = search(board, goal, effort, seed) if board.rooms and goal > 0 else NONE
    if not clear(board, best):
        raise AssertionError("a packing failed its exact check")
    best = _first(best.sorted(), goal)
    reasons = what_stops_one_more(board, best, bound, bound_name, goal, module, area)
    stations = tuple(
        Station(side.id, float(x), float(y), int(t), 0, k)
        for k, ((x, y), t) in enumerate(zip(best.at, best.turn, strict=True))
    )
    status = "ok" if stations else "empty"
    return Packing(stations, len(best), bound, len(best) == bound, best.pattern or "none", reasons, (), status)


def search(board: Board, goal: int, effort: int, seed: int) -> Placed:
    """Lattices, then module by module, then the exact choice among contact places, until the goal is met."""
    seeds: list[Placed] = []
    best = NONE
    for found in _patterns(board, goal, effort):
        seeds.append(found)
        if len(found) > len(best):
            best = found
        if len(best) >= goal:
            return best
    if effort < 1:
        return best
    seeds.sort(key=lambda p: -len(p))
    pool = candidates(board, seeds[:6], 160 + 240 * effort)
    improved, _ = largest_clear(board, pool, best, goal, 0.25 * effort, seed)
    if len(improved) > len(best):
        best = improved
    filled_up = greedy(board, best, (0.001, 1.0, 0.0), board.turns, goal, best.pattern + ", filled up")
    return filled_up if len(filled_up) > len(best) else best


def _patterns(board: Board, goal: int, effort: int) -> Iterator[Placed]:
    best = NONE
    for cell in _cells(board, effort):
        found = _best_lattice(board, cell, goal, max(1, effort))
        if len(found) > len(best):
            best = found
            yield found
        if len(best) >= goal:
            return
    for turns in _turn_orders(board):
        for x, y in GREEDY_WEIGHTS[: 2 + 4 * effort]:
            found = greedy(board, NONE, (x, y, 0.0), turns, goal, "placed one by one")
            yield found
            if len(found) >= goal:
                return
    full = greedy(board, best, (0.001, 1.0, 0.0), board.turns, goal, best.pattern + ", filled up")
    if len(full) > len(best):
        yield full


def _cells(board: Board, effort: int) -> Iterator[Cell]:
    yield from single_cells(board)
    if effort >= 1:
        yield from double_cells(board, 6 * effort)


def _turn_orders(board: Board) -> list[tuple[int, ...]]:
    turns = board.turns
    orders = [(t,) for t in turns]
    if len(turns) > 1:
        orders = [turns, turns[::-1], *orders]
    return orders


def _best_lattice(board: Board, cell: Cell, goal: int, effort: int) -> Placed:
    best = NONE
    density = 0.0
    for u, v in lattices(cell, board.span, effort):
        size = abs(u[0] * v[1] - u[1] * v[0])
        if size <= 0 or (density and size > 1.6 * density):
            continue
        density = min(density or math.inf, size)
        found = fitted(board, cell, u, v, 4)
        if len(found) > len(best):
            best = found
        if len(best) >= goal:
            break
    return best


def _first(placed: Placed, most: int) -> Placed:
    return Placed(placed.at[:most], placed.turn[:most], placed.pattern)


def pair_shift(a: Any, b: Any) -> Any:
    """Displacement of station b from station a, mm."""
    return np.array([b.x - a.x, b.y - a.y])
