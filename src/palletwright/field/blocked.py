"""Which displacements of one shape beside another put a body into the other's tools.

A mask of cells is a set of runs per row, and the Minkowski sum of two runs is a run: so the displacements at which
two masks meet come from row pairs alone, exactly, with a difference array. Heights come in by levels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numba as nb
import numpy as np
from numpy.typing import NDArray

from palletwright.field.view import HeightField

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@nb.njit(cache=True)
def _runs(mask):  # type: ignore[no-untyped-def]
    """(m, 3) runs (row, first, last) of the mask, and how many; rows ascend."""
    ny, nx = mask.shape
    out = np.empty((ny * ((nx + 1) // 2), 3), np.int32)
    n = 0
    for j in range(ny):
        i = 0
        while i < nx:
            if mask[j, i]:
                first = i
                while i < nx and mask[j, i]:
                    i += 1
                out[n, 0], out[n, 1], out[n, 2] = j, first, i - 1
                n += 1
            else:
                i += 1
    return out[:n].copy()


@nb.njit(cache=True)
def _add_meetings(a, b, diff, j0, i0):  # type: ignore[no-untyped-def]
    """Adds to the difference array every shift of b that puts one of its runs on one of a's."""
    for p in range(a.shape[0]):
        for q in range(b.shape[0]):
            row = a[p, 0] - b[q, 0] - j0
            diff[row, a[p, 1] - b[q, 2] - i0] += 1
            diff[row, a[p, 2] - b[q, 1] - i0 + 1] -= 1


def _levels(floor: Floats, heights: Floats, most: int) -> Floats:
    """Ascending floors to test, each standing for all above it up to the next: rounding down is the safe side.

    Two floors between which no height lies see the same cells, so only one of them is kept.
    """
    values: Floats = np.unique(floor[np.isfinite(floor)])
    if values.size == 0:
        return values
    tops = np.unique(heights[np.isfinite(heights)])
    same = np.searchsorted(tops, values, side="right")
    values = values[np.concatenate([[True], same[1:] != same[:-1]])]
    if values.size > most:
        values = values[np.unique(np.linspace(0, values.size - 1, most).astype(int))]
    return np.asarray(values)


def _collect(
    floor: Floats, heights: Floats, gap: float, most: int, diff: NDArray[np.int32], j0: int, i0: int, turned: bool
) -> None:
    levels = _levels(floor, heights + gap, most)
    for k, level in enumerate(levels):
        upper = levels[k + 1] if k + 1 < len(levels) else np.inf
        tools = _runs(floor < upper if np.isfinite(upper) else np.isfinite(floor))
        bodies = _runs(heights + gap > level)
        if turned:
            _add_meetings(bodies, tools, diff, j0, i0)
        else:
            _add_meetings(tools, bodies, diff, j0, i0)
        if bodies.shape[0] == 0:
            break


def _same_grid(*fields: HeightField) -> None:
    pitch, frame = fields[0].pitch, fields[0].frame
    if any(abs(f.pitch - pitch) > 1e-12 or not np.allclose(f.frame, frame, atol=1e-12) for f in fields):
        raise ValueError("blocked displacements need fields of one pitch and one frame")


def blocked(
    height_a: HeightField,
    floor_a: HeightField,
    height_b: HeightField,
    floor_b: HeightField,
    clearance: float = 0.0,
    *,
    most_levels: int = 64,
) -> tuple[Bools, tuple[int, int]]:
    """The displacements of B in the view plane at which a body comes into the other's tools.

    Parameters
    ----------
    height_a, height_b : greatest heights H (`view`), -inf where empty
    floor_a, floor_b : swept floors E (`swept_floor`, +inf where no tool comes) as fields; grown sideways beforehand
        by the lateral clearance
    clearance : mm of demanded vertical clearance
    most_levels : swept floors are rounded down to at most so many levels (the safe side)

    Returns
    -------
    mask : (my, mx) bool; mask[j, i] tells of the displacement ((i + i0)·pitch, (j + j0)·pitch) of B; outside: free
    (j0, i0)

    A displacement off the grid is free when all four around it are. Solid on solid isn't tested here.
    """
    _same_grid(height_a, floor_a, height_b, floor_b)
    pairs = ((floor_a, height_b), (height_a, floor_b))
    low = np.min([np.subtract(a.index, np.add(b.index, b.z.shape)) + 1 for a, b in pairs], axis=0)
    high = np.max([np.add(a.index, a.z.shape) - 1 - np.array(b.index) for a, b in pairs], axis=0)
    my, mx = (high - low + 1).tolist()
    diff = np.zeros((my, mx + 1), np.int32)
    for turned, (first, second) in enumerate(pairs):
        j0, i0 = (low - np.array(first.index) + np.array(second.index)).tolist()
        floor, heights = (second, first) if turned else (first, second)
        _collect(floor.z, heights.z, clearance, most_levels, diff, j0, i0, bool(turned))
    return np.cumsum(diff, axis=1)[:, :mx] > 0, (int(low[0]), int(low[1]))


@dataclass(frozen=True, eq=False)
class Thresholds:
    """For each shift (first + k)·pitch of B along the view's u: blocked when the displacement t along the view is
    above `above[k]` (B stands in A's tools) or below `below[k]` (A in B's). +inf, -inf: never."""

    first: int
    above: Floats
    below: Floats


@nb.njit(cache=True, parallel=True)
def _slide(floor, heights, low, count):  # type: ignore[no-untyped-def]
    """min over cells of floor(x) - heights(x - s) for each shift of columns; same rows."""
    ny, nx = floor.shape
    mx = heights.shape[1]
    out = np.full(count, np.inf)
    for k in nb.prange(count):
        s = low + k
        best = np.inf
        for j in range(ny):
            for i in range(max(0, s), min(nx, mx + s)):
                d = floor[j, i] - heights[j, i - s]
                if d < best:
                    best = d
        out[k] = best
    return out


def _common_rows(a: HeightField, b: HeightField) -> tuple[Floats, Floats]:
    first = max(a.index[0], b.index[0])
    last = min(a.index[0] + a.z.shape[0], b.index[0] + b.z.shape[0])
    rows = max(0, last - first)
    ja, jb = first - a.index[0], first - b.index[0]
    return np.ascontiguousarray(a.z[ja : ja + rows]), np.ascontiguousarray(b.z[jb : jb + rows])


def blocked_along(
    height_a: HeightField,
    floor_a: HeightField,
    height_b: HeightField,
    floor_b: HeightField,
    clearance: float = 0.0,
) -> Thresholds:
    """For a direction in the side's plane: which displacements t along the view are blocked, for each shift in u.

    The view's v is the side's normal, along which B doesn't move against A. With E the swept floors and H the
    heights, B shifted by s along u and t along the view is blocked if t > min(E_A - H_B(s)) - c, or if
    t < max(H_A - E_B(s)) + c. Parameters as for `blocked`.
    """
    _same_grid(height_a, floor_a, height_b, floor_b)
    pairs = ((floor_a, height_b), (height_a, floor_b))
    low = min(a.index[1] - b.index[1] - b.z.shape[1] + 1 for a, b in pairs)
    high = max(a.index[1] + a.z.shape[1] - 1 - b.index[1] for a, b in pairs)
    count = high - low + 1
    ea, hb = _common_rows(floor_a, height_b)
    ha, eb = _common_rows(height_a, floor_b)
    above = _slide(ea, hb, low - floor_a.index[1] + height_b.index[1], count)
    below = _slide(-ha, -eb, low - height_a.index[1] + floor_b.index[1], count)
    return Thresholds(low, above - clearance, -below + clearance)
