"""The swept floor: how low any point of a tool assembly comes over each cell while it works."""

from __future__ import annotations

from collections.abc import Sequence

import numba as nb
import numpy as np
from numpy.typing import NDArray

from palletwright.field.dilate import TOUCHES_ANYWHERE, Stack, decisive, erode
from palletwright.field.raster import TOUCH

Floats = NDArray[np.float64]

_BANDS = 8
_DIRECT = 2e8
"""cell visits up to which tips are stamped one by one (exact); beyond, tips are first gathered in cells."""


@nb.njit(cache=True, parallel=True)
def _stamp(floor, tips, radius, start, ox, oy, pitch, inside, bands):  # type: ignore[no-untyped-def]
    ny, nx = floor.shape
    band = (ny + bands - 1) // bands
    for part in nb.prange(bands):
        j_first, j_end = part * band, min(ny, (part + 1) * band)
        for t in range(tips.shape[0]):
            x, y, h = tips[t, 0] - ox, tips[t, 1] - oy, tips[t, 2] + start
            j0 = max(int(np.floor((y - radius) / pitch)), j_first)
            j1 = min(int(np.floor((y + radius) / pitch)), j_end - 1)
            for j in range(j0, j1 + 1):
                if inside:
                    gap = max(abs(j * pitch - y), abs((j + 1) * pitch - y))
                else:
                    gap = max(0.0, j * pitch - y, y - (j + 1) * pitch)
                rest = radius * radius - gap * gap
                if rest <= 0.0:
                    continue
                half = np.sqrt(rest)
                if inside:
                    i0 = int(np.ceil((x - half) / pitch))
                    i1 = int(np.floor((x + half) / pitch)) - 1
                else:
                    i0 = int(np.floor((x - half + TOUCH) / pitch))
                    i1 = int(np.ceil((x + half - TOUCH) / pitch)) - 1
                row = floor[j]
                for i in range(max(i0, 0), min(i1, nx - 1) + 1):
                    if h < row[i]:
                        row[i] = h


def _gathered(
    floor: Floats, tips: Floats, radius: float, start: float, origin: Floats, pitch: float
) -> None:  # many tips: least tip of every cell, then one erosion
    pad = int(np.ceil(radius / pitch)) + 2
    ny, nx = floor.shape
    cell = np.floor((tips[:, :2] - origin) / pitch).astype(np.int64) + pad
    near = ((cell >= 0) & (cell < (nx + 2 * pad, ny + 2 * pad))).all(axis=1)
    lowest = np.full((ny + 2 * pad, nx + 2 * pad), np.inf)
    np.minimum.at(lowest, (cell[near, 1], cell[near, 0]), tips[near, 2])
    low = erode(lowest, radius / pitch, TOUCHES_ANYWHERE)[pad:-pad, pad:-pad]
    np.minimum(floor, low + start, out=floor)


def swept_floor(
    tips: Floats,
    entry: float,
    stack: Stack,
    origin: Sequence[float] | Floats,
    shape: tuple[int, int],
    pitch: float,
    grow: float = 0.0,
    *,
    inside: bool = False,
) -> Floats:
    """The least height that any point of the tool assembly reaches over each cell; never above the true one.

    Parameters
    ----------
    tips : (n, 3) mm, view coordinates (u, v, w) of the tip's deepest positions
    entry : mm along w from which the tool feeds in; a tip above it counts as at it
    stack : rows (radius, from, to) in mm above the tip; what is above a step is swept on the way in
    origin, shape, pitch : the grid, as for `raster`
    grow : mm of demanded lateral clearance, added to every radius
    inside : only the cells that lie wholly under the tool (what a cutter surely sweeps), so never below the truth

    Returns
    -------
    (ny, nx) mm, +inf where no tool comes.
    """
    at = np.asarray(origin, dtype=np.float64)
    points = np.array(tips, dtype=np.float64).reshape(-1, 3)
    points[:, 2] = np.minimum(points[:, 2], entry)
    points = np.unique(points, axis=0)
    floor = np.full(shape, np.inf)
    for radius, start in decisive(stack):
        wide = radius + grow
        if inside or len(points) * np.pi * (wide / pitch + 1) ** 2 <= _DIRECT:
            _stamp(floor, points, wide, start, at[0], at[1], float(pitch), inside, _BANDS)
        else:
            _gathered(floor, points, wide, start, at, float(pitch))
    return floor
