"""Modules as the boxes that they need: the pallet loading solver as one more pattern for rectangular rooms."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from palletwright.layout.blocked import recentred
from palletwright.layout.board import Board, Placed, clear
from palletwright.layout.loading import pallet_loading

NODES = 200_000  # work of the exhaustive search, so that answers repeat
Points = NDArray[np.float64]


def box_patterns(board: Board, centre: Points) -> Iterator[Placed]:
    """Packings of the box that a module needs, turned by quarters; `centre` is the outline's, at turn 0."""
    even, odd = ([t for t in board.turns if t % 2 == k] for k in (0, 1))
    for first in even:
        for second in odd:
            size = _needed(board, first, second, centre)
            if size is not None:
                yield from _loaded(board, first, second, centre, size)


def _needed(board: Board, first: int, second: int, centre: Points) -> tuple[float, float] | None:
    """(along x, along y) at turn `first` of a box that keeps any two modules clear; None past the room's size."""
    own = _reach(board, first, first, centre)
    other = _reach(board, second, second, centre)
    a, b = max(own[0], other[1]), max(own[1], other[0])
    mixed = max(*_reach(board, first, second, centre), *_reach(board, second, first, centre))
    short = max(0.0, 2 * mixed - a - b)
    a, b = a + short / 2, b + short / 2
    limit = 2 * max(board.span) + 1e3
    return (a, b) if max(a, b) < limit else None


def _reach(board: Board, a: int, b: int, centre: Points) -> tuple[float, float]:
    x0, y0, x1, y1 = recentred(board.table.world(a, b), a, b, centre).bounds
    return max(-x0, x1), max(-y0, y1)


def _loaded(board: Board, first: int, second: int, centre: Points, size: tuple[float, float]) -> Iterator[Placed]:
    a, b = size
    boxes = []
    for turn, wide, tall in ((first, a, b), (second, b, a)):
        x0, y0, x1, y1 = board.rooms[turn].bounds
        cx, cy = _turned(centre, turn)
        boxes.append((x0 + cx - wide / 2, y0 + cy - tall / 2, x1 + cx + wide / 2, y1 + cy + tall / 2))
    low = np.max([box[:2] for box in boxes], axis=0)
    high = np.min([box[2:] for box in boxes], axis=0)
    if (high - low).min() < min(a, b):
        return
    _, _, _, placed = pallet_loading(high[0] - low[0], high[1] - low[1], a, b, nodes=NODES)
    at, turns = [], []
    for x, y, flipped in placed:
        turn, half = (second, (b / 2, a / 2)) if flipped else (first, (a / 2, b / 2))
        at.append(low + np.array([x + half[0], y + half[1]]) - _turned(centre, turn))
        turns.append(turn)
    found = Placed(np.array(at).reshape(-1, 2), np.array(turns, dtype=np.int64), "boxes")
    if clear(board, found):  # rooms that are no rectangles may cut some off
        yield found


def _turned(point: Points, turn: int) -> Any:
    x, y = point
    return np.array(((x, y), (-y, x), (-x, -y), (y, -x))[turn % 4])
