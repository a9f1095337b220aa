"""How many modules a side can hold at most: bounds never below the true optimum for a module, grip and turns.

All rest on inner blocked sets, whose every displacement is certain to collide. Reference points are the
outline's box centres, so that turns stand about one point.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from palletwright.layout.blocked import recentred
from palletwright.layout.board import Board
from palletwright.layout.loading import loading_bound, pallet_loading
from palletwright.layout.polygons import shifted, turned

NODES = 100_000  # work of the exhaustive search for the last box bound
SAFE = 1e-4  # mm by which inner sets shrink before a rectangle must lie in them, against rounding
Points = NDArray[np.float64]


def upper_bound(board: Board, module_outline: Any, area: Any, gap: float, *, exact: bool = True) -> tuple[int, str]:
    """(most modules possible, name of the bound that says so); without `exact` the quick ones only."""
    rooms = {t: r for t, r in board.rooms.items() if not r.is_empty}
    if not rooms:
        return 0, "the outline is larger than the side"
    centre = outline_centre(module_outline)
    found = [(_by_area(module_outline, area, gap), "area of outlines")]
    boxes = np.array([_moved_bounds(r, centre, t) for t, r in rooms.items()])
    inner = {
        (a, b): recentred(turned(board.table.inner[(b - a) % 4], a), a, b, centre).buffer(-SAFE)
        for a in rooms
        for b in rooms
    }
    width = float(boxes[:, 2].max() - boxes[:, 0].min())
    height = float(boxes[:, 3].max() - boxes[:, 1].min())
    found.append((_one_rectangle(list(inner.values()), width, height), "one blocked rectangle for all turns"))
    if exact:
        found.append((_turned_rectangles(inner, rooms, boxes), "blocked rectangles turned with the module"))
    return min(found, key=lambda f: f[0])


def outline_centre(outline: Any) -> Points:
    """(x, y) centre of the outline's box, mm."""
    x0, y0, x1, y1 = outline.bounds
    return np.array([(x0 + x1) / 2, (y0 + y1) / 2])


def _moved_bounds(room: Any, centre: Points, turn: int) -> tuple[float, float, float, float]:
    x, y = centre
    step = ((x, y), (-y, x), (-x, -y), (y, -x))[turn % 4]
    x0, y0, x1, y1 = shifted(room, step).bounds
    return float(x0), float(y0), float(x1), float(y1)


def _by_area(outline: Any, area: Any, gap: float) -> int:
    """Outlines grown by half the gap can't overlap and stay within the side grown by half the gap."""
    own = outline.buffer(gap / 2, quad_segs=4).area if gap > 0 else outline.area
    corner = gap / 2 / math.cos(math.pi / 16)
    space = area.buffer(corner, quad_segs=4).area if gap > 0 else area.area
    return math.floor(float(space / own) + 1e-9)


def _one_rectangle(inner: list[Any], width: float, height: float) -> int:
    """min over rectangles |x| < kx, |y| < ky blocked at every pair of turns of (⌊W/kx⌋ + 1)·(⌊H/ky⌋ + 1).

    kx is tried just above W/n, the least at which a row holds no more than n.
    """
    shared = shapely.intersection_all(inner)
    best = 10**9
    for n in range(1, 200):
        kx = width / n + 1e-6
        ky = _tallest(shared, kx)
        if ky <= 0:
            continue
        rows = math.floor(height / ky) + 1
        best = min(best, n * rows)
        if n > best:
            break
    return best


def _tallest(shape: Any, kx: float) -> float:
    """Greatest ky with the box |x| ≤ kx, |y| ≤ ky within `shape` (0: none)."""
    shapely.prepare(shape)
    low, high = 0.0, max(0.0, float(np.abs(np.array(shape.bounds)[[1, 3]]).min())) if not shape.is_empty else 0.0
    if high <= 0 or not shape.covers(shapely.box(-kx, -1e-3, kx, 1e-3)):
        return 0.0
    if shape.covers(shapely.box(-kx, -high, kx, high)):
        return high
    for _ in range(24):
        middle = (low + high) / 2
        low, high = (middle, high) if shape.covers(shapely.box(-kx, -middle, kx, middle)) else (low, middle)
    return low


def _turned_rectangles(inner: dict[tuple[int, int], Any], rooms: dict[int, Any], boxes: Points) -> int:
    """Rectangles a × b that turn with the module and may not overlap: the pallet loading bound in the side's room.

    Needs the differences of any two rectangles within the blocked set of their turns.
    """
    best, sizes = 10**9, None
    for a, b in _rectangles(inner, tuple(rooms)):
        grown = np.array([_grown(box, a, b, t) for box, t in zip(boxes, rooms, strict=True)])
        low, high = grown[:, :2].min(axis=0), grown[:, 2:].max(axis=0)
        turns_both = len({t % 2 for t in rooms}) == 2
        if not turns_both:
            flip = next(iter(rooms)) % 2
            w, h = (b, a) if flip else (a, b)
            count = math.floor((high[0] - low[0]) / w + 1e-9) * math.floor((high[1] - low[1]) / h + 1e-9)
        else:
            count = loading_bound(high[0] - low[0], high[1] - low[1], a, b)
            if count <= best:
                sizes = (float(high[0] - low[0]), float(high[1] - low[1]), a, b)
        best = min(best, count)
    return best if sizes is None else min(best, pallet_loading(*sizes, nodes=NODES)[1])


def _grown(box: Points, a: float, b: float, turn: int) -> list[float]:
    w, h = (a, b) if turn % 2 == 0 else (b, a)
    return [box[0] - w / 2, box[1] - h / 2, box[2] + w / 2, box[3] + h / 2]


def _rectangles(inner: dict[tuple[int, int], Any], turns: tuple[int, ...]) -> list[tuple[float, float]]:
    """Rectangles (a, b) at turn 0 that no two modules may overlap with; b is the greatest for each a tried."""
    for shape in inner.values():
        shapely.prepare(shape)
    own = inner[turns[0], turns[0]]
    flip = turns[0] % 2
    widest = float(np.abs(np.array(own.bounds)).reshape(2, 2)[:, flip].min())
    tallest = float(np.abs(np.array(own.bounds)).reshape(2, 2)[:, 1 - flip].min())
    corners = np.abs(shapely.get_coordinates(own))[:, flip]
    tried = sorted({round(float(x) - 2e-4, 6) for x in corners if 0.3 * widest < x <= widest}, reverse=True)[:24]
    found = []
    for a in tried or [widest]:
        if not _holds(inner, turns, a, 1e-3):
            continue
        low, high = 1e-3, tallest
        if _holds(inner, turns, a, high):
            low = high
        for _ in range(22):
            middle = (low + high) / 2
            low, high = (middle, high) if _holds(inner, turns, a, middle) else (low, middle)
        found.append((a, low))
    return found


def _holds(inner: dict[tuple[int, int], Any], turns: tuple[int, ...], a: float, b: float) -> bool:
    for (first, second), shape in inner.items():
        w = sum(b if t % 2 else a for t in (first, second)) / 2
        h = sum(a if t % 2 else b for t in (first, second)) / 2
        if not shape.covers(shapely.box(-w, -h, w, h)):
            return False
    return True
