"""One packing problem: where modules may stand, what blocks what, and a set of placements."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from palletwright.layout.blocked import Table
from palletwright.layout.offsets import EDGE
from palletwright.layout.polygons import EMPTY, joined, shifted

Points = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Board:
    """`rooms`: by turn, where a module's origin may stand (side frame); `table`: what blocks what."""

    rooms: dict[int, Any]
    table: Table

    @property
    def turns(self) -> tuple[int, ...]:
        return tuple(self.rooms)

    @cached_property
    def span(self) -> tuple[float, float]:
        """mm, the greatest displacement between two origins on the side in x and y."""
        boxes = np.array([r.bounds for r in self.rooms.values() if not r.is_empty])
        return float(boxes[:, 2].max() - boxes[:, 0].min()), float(boxes[:, 3].max() - boxes[:, 1].min())

    def proxy(self, turn: int) -> Any:
        """Half the set blocked by a module's own kind, as far as the side reaches: stands for its size."""
        width, height = self.span
        near = self.table.world(turn, turn).intersection(shapely.box(-width, -height, width, height))
        return shapely.transform(near, lambda xy: xy / 2.0)

    def rectangular(self, turn: int) -> bool:
        """Whether the room of a turn is a rectangle along the axes (an empty one is not)."""
        room = self.rooms[turn]
        x0, y0, x1, y1 = room.bounds
        return bool(room.area >= (x1 - x0) * (y1 - y0) * (1 - 1e-12))

    def holds(self, turn: int, points: Points) -> NDArray[np.bool_]:
        """Whether origins (n, 2) at a turn keep the outline on the side."""
        room = self.rooms[turn]
        if room.is_empty or len(points) == 0:
            return np.zeros(len(points), dtype=bool)
        x0, y0, x1, y1 = room.bounds
        inside = (points[:, 0] >= x0 - EDGE) & (points[:, 0] <= x1 + EDGE)
        inside &= (points[:, 1] >= y0 - EDGE) & (points[:, 1] <= y1 + EDGE)
        if self.rectangular(turn):
            return np.asarray(inside)
        where = np.flatnonzero(inside)
        inside[where] = shapely.dwithin(room, shapely.points(points[where]), EDGE)
        return np.asarray(inside)


@dataclass(frozen=True, eq=False)
class Placed:
    """Placements: `at` (n, 2) mm and `turn` (n,), in the side frame."""

    at: Points
    turn: NDArray[np.int64]
    pattern: str = ""

    def __len__(self) -> int:
        return len(self.turn)

    def sorted(self) -> Placed:
        order = np.lexsort((self.turn, self.at[:, 0].round(4), self.at[:, 1].round(4)))
        return Placed(self.at[order], self.turn[order], self.pattern)


NONE = Placed(np.zeros((0, 2)), np.zeros(0, dtype=np.int64))


def conflicts(board: Board, placed: Placed) -> NDArray[np.bool_]:
    """(n, n) True where two placements block one another."""
    n = len(placed)
    out = np.zeros((n, n), dtype=bool)
    for a in np.unique(placed.turn):
        rows = np.flatnonzero(placed.turn == a)
        for b in np.unique(placed.turn):
            columns = np.flatnonzero(placed.turn == b)
            shift = placed.at[columns][None, :, :] - placed.at[rows][:, None, :]
            hit = board.table.blocked(int(a), int(b), shift.reshape(-1, 2))
            out[np.ix_(rows, columns)] = hit.reshape(len(rows), len(columns))
    np.fill_diagonal(out, False)
    return out | out.T


def clear(board: Board, placed: Placed) -> bool:
    """The exact check: every placement on the side, every pair clear."""
    on_side = all(board.holds(int(t), placed.at[placed.turn == t]).all() for t in np.unique(placed.turn))
    return on_side and not conflicts(board, placed).any()


def left_free(board: Board, placed: Placed) -> dict[int, Any]:
    """By turn, where one more module's origin may stand beside those placed."""
    free = {}
    for turn, room in board.rooms.items():
        taken = [shifted(board.table.world(int(t), turn), p) for p, t in zip(placed.at, placed.turn, strict=True)]
        free[turn] = shapely.difference(room, joined(taken)) if taken else room
    return free


def greedy(
    board: Board, start: Placed, weights: Sequence[float], turns: Sequence[int], most: int, pattern: str
) -> Placed:
    """Add modules one by one at the corner of the free set that is least in `weights`·(x, y, turn penalty)."""
    at, turn = [*start.at], [*start.turn]
    free = {t: s for t, s in left_free(board, start).items() if t in turns}
    w = np.asarray(weights[:2])
    worlds = {(a, b): board.table.world(a, b) for a in free for b in free}
    while len(turn) < most:
        best: tuple[float, float, float, int] | None = None
        for rank, t in enumerate(turns):
            corners = shapely.get_coordinates(free[t])
            if len(corners) == 0:
                continue
            value = np.round(corners @ w + rank * weights[2], 5)
            k = int(np.lexsort((corners[:, 0], corners[:, 1], value))[0])
            found = (float(value[k]), float(corners[k, 1]), float(corners[k, 0]), t)
            best = found if best is None or found < best else best
        if best is None:
            break
        point, t = np.array([best[2], best[1]]), best[3]
        if _meets(board, at, turn, point, t):  # a leftover of rounding, narrower than any room
            free[t] = _really_free(board, at, turn, free[t], t)
            continue
        at.append(point)
        turn.append(t)
        for other in free:
            if not free[other].is_empty:
                free[other] = free[other].difference(shifted(worlds[t, other], point))
    return Placed(np.array(at).reshape(-1, 2), np.array(turn, dtype=np.int64), pattern)


def _meets(board: Board, at: Sequence[Points], turn: Sequence[int], point: Points, new: int) -> bool:
    """Whether a module at `point` and turn `new` is blocked by one of those placed."""
    places, turns = np.array(at).reshape(-1, 2), np.array(turn)
    return any(board.table.blocked(int(t), new, point - places[turns == t]).any() for t in np.unique(turns))


def _really_free(board: Board, at: Sequence[Points], turn: Sequence[int], shape: Any, new: int) -> Any:
    """The parts of a free set of which no corner is blocked."""
    parts = shapely.get_parts(shape)
    good = [not any(_meets(board, at, turn, p, new) for p in shapely.get_coordinates(part)) for part in parts]
    return joined(parts[np.array(good, dtype=bool)]) if any(good) else EMPTY
