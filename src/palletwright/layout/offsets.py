"""Where a lattice of cells stands best on a side whose rooms are rectangles: counted row by row."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

EDGE = 1e-6  # mm by which an outline may pass the side's edge through rounding
Points = NDArray[np.float64]


def best_offset(boxes: Points, cell: Points, u: Points, v: Points, offsets: Points) -> tuple[int, int]:
    """(position in `offsets` (k, 2) with most modules, how many).

    boxes : (m, 4) x0, y0, x1, y1 of the room of each of a cell's modules, cell : (m, 2) their offsets, mm.
    """
    at, count = _best(boxes, cell, u, v, offsets)
    return int(at), int(count)


def stands(box: Points, at: Points, u: Points, v: Points) -> Points:
    """(n, 2) points at + i·u + j·v within a box, mm."""
    return np.asarray(_stands(np.asarray(box, dtype=np.float64), np.asarray(at, dtype=np.float64), u, v))


@numba.njit(cache=True)
def _rows(box, x, y, u, v):  # type: ignore[no-untyped-def]
    """Range of j for which the row at + j·v + i·u may meet the box."""
    size = u[0] * v[1] - u[1] * v[0]
    low, high = np.inf, -np.inf
    for cx in (box[0] - EDGE - x, box[2] + EDGE - x):
        for cy in (box[1] - EDGE - y, box[3] + EDGE - y):
            j = (u[0] * cy - u[1] * cx) / size
            low, high = min(low, j), max(high, j)
    return int(np.ceil(low - 1e-9)), int(np.floor(high + 1e-9))


@numba.njit(cache=True)
def _span(box, x, y, u):  # type: ignore[no-untyped-def]
    """First and last i for which (x, y) + i·u lies within the box; last < first where none does."""
    low, high = -np.inf, np.inf
    for k in range(2):
        a = box[k] - EDGE - (x if k == 0 else y)
        b = box[k + 2] + EDGE - (x if k == 0 else y)
        if abs(u[k]) < 1e-12:
            if a > 0 or b < 0:
                return 0, -1
        elif u[k] > 0:
            low, high = max(low, a / u[k]), min(high, b / u[k])
        else:
            low, high = max(low, b / u[k]), min(high, a / u[k])
    if high < low:
        return 0, -1
    return int(np.ceil(low)), int(np.floor(high))


@numba.njit(cache=True)
def _best(boxes, cell, u, v, offsets):  # type: ignore[no-untyped-def]
    best, at = -1, 0
    for k in range(len(offsets)):
        count = 0
        for m in range(len(cell)):
            x, y = offsets[k, 0] + cell[m, 0], offsets[k, 1] + cell[m, 1]
            first, last = _rows(boxes[m], x, y, u, v)
            for j in range(first, last + 1):
                a, b = _span(boxes[m], x + j * v[0], y + j * v[1], u)
                count += max(0, b - a + 1)
        if count > best:
            best, at = count, k
    return at, best


@numba.njit(cache=True)
def _stands(box, at, u, v):  # type: ignore[no-untyped-def]
    first, last = _rows(box, at[0], at[1], u, v)
    total = 0
    for j in range(first, last + 1):
        a, b = _span(box, at[0] + j * v[0], at[1] + j * v[1], u)
        total += max(0, b - a + 1)
    out = np.empty((total, 2))
    n = 0
    for j in range(first, last + 1):
        a, b = _span(box, at[0] + j * v[0], at[1] + j * v[1], u)
        for i in range(a, b + 1):
            out[n, 0], out[n, 1] = at[0] + i * u[0] + j * v[0], at[1] + i * u[1] + j * v[1]
            n += 1
    return out
