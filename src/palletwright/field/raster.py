"""Conservative rasters: for every cell the exact greatest or least height of the triangles in it.

A triangle is cut into the strip of each grid row; the cut is a convex polygon of at most five corners in a plane,
so its outline seen along the row is convex as well, and the greatest height over a cell is the outline's upper
branch at the clamped place of its peak. Exact, not sampled: no point of the triangle in the cell lies higher.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

import numba as nb
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

TOUCH = 1e-9
"""mm: contact with a grid line narrower than this belongs to the other cell. A closed mesh loses nothing by it,
since the material behind each wall fills the cell on its own side up to the same height."""

SHARED = 250_000
"""Cells for each thread: starting one costs more than filling fewer."""


@nb.njit(cache=True, inline="never")
def _cut(px, py, pz, n, level, keep_above, qx, qy, qz):  # type: ignore[no-untyped-def]
    """Polygon p clipped by y >= level (or y <= level) into q; returns the corner count."""
    m = 0
    for k in range(n):
        l = k + 1 if k + 1 < n else 0  # noqa: E741
        a = py[k] - level if keep_above else level - py[k]
        b = py[l] - level if keep_above else level - py[l]
        if a >= 0.0:
            qx[m], qy[m], qz[m] = px[k], py[k], pz[k]
            m += 1
        if (a > 0.0 and b < 0.0) or (a < 0.0 and b > 0.0):
            t = a / (a - b)
            qx[m] = px[k] + t * (px[l] - px[k])
            qy[m] = level
            qz[m] = pz[k] + t * (pz[l] - pz[k])
            m += 1
    return m


@nb.njit(cache=True)
def _upper_at(qx, qz, n, x):  # type: ignore[no-untyped-def]
    """Greatest height of the polygon's outline (seen along the row) at x, which lies within its span."""
    best = -np.inf
    for k in range(n):
        l = k + 1 if k + 1 < n else 0  # noqa: E741
        x0, x1, z0, z1 = qx[k], qx[l], qz[k], qz[l]
        if x0 == x1:
            if x0 == x:
                best = max(best, z0, z1)
        elif min(x0, x1) <= x <= max(x0, x1):
            t = (x - x0) / (x1 - x0)
            best = max(best, z0 + t * (z1 - z0))
    return best


@nb.njit(cache=True, nogil=True)
def _rows(corners, ox, oy, z, j_first, j_end, pitch, grow):  # type: ignore[no-untyped-def]
    """Fills the rows j_first to j_end of z."""
    nx = z.shape[1]
    ax, ay, az = np.empty(3), np.empty(3), np.empty(3)
    bx, by, bz = np.empty(8), np.empty(8), np.empty(8)
    cx, cy, cz = np.empty(8), np.empty(8), np.empty(8)
    for t in range(corners.shape[0]):
        y_min = min(corners[t, 0, 1], corners[t, 1, 1], corners[t, 2, 1]) - oy
        y_max = max(corners[t, 0, 1], corners[t, 1, 1], corners[t, 2, 1]) - oy
        j0 = max(int(np.floor((y_min - grow + TOUCH) / pitch)), j_first)
        j1 = min(int(np.floor((y_max + grow - TOUCH) / pitch)), j_end - 1)
        if j0 > j1:
            continue
        for k in range(3):
            ax[k] = corners[t, k, 0] - ox
            ay[k] = corners[t, k, 1] - oy
            az[k] = corners[t, k, 2]
        for j in range(j0, j1 + 1):
            n = _cut(ax, ay, az, 3, j * pitch - grow, True, bx, by, bz)
            n = _cut(bx, by, bz, n, (j + 1) * pitch + grow, False, cx, cy, cz)
            if n == 0:
                continue
            x_min, x_max, x_peak, peak, least = cx[0], cx[0], cx[0], cz[0], cz[0]
            for k in range(1, n):
                x_min, x_max, least = min(x_min, cx[k]), max(x_max, cx[k]), min(least, cz[k])
                if cz[k] > peak:
                    peak, x_peak = cz[k], cx[k]
            i0 = max(int(np.floor((x_min - grow + TOUCH) / pitch)), 0)
            i1 = min(int(np.floor((x_max + grow - TOUCH) / pitch)), nx - 1)
            for i in range(i0, i1 + 1):
                if z[j, i] >= peak:
                    continue
                lo = max(i * pitch - grow, x_min)
                hi = min((i + 1) * pitch + grow, x_max)
                if lo <= x_peak <= hi or hi < lo or least == peak:
                    h = peak
                else:
                    h = min(peak, _upper_at(cx, cz, n, hi if x_peak > hi else lo))
                if h > z[j, i]:
                    z[j, i] = h


def raster(
    corners: Floats, origin: Sequence[float] | Floats, shape: tuple[int, int], pitch: float, *, grow: float = 0.0
) -> Floats:
    """The greatest height of every triangle that touches each cell: never below the true one.

    Parameters
    ----------
    corners : (m, 3, 3) float64, mm, view coordinates (u, v, w), triangles of closed meshes
    origin : (2,) mm, the outer corner of cell (0, 0)
    shape : (ny, nx) cells; cell (j, i) covers u in origin[0] + [i, i + 1]·pitch and v in origin[1] + [j, j + 1]·pitch
    pitch : mm
    grow : mm by which every cell is widened on all four sides before it is tested

    Returns
    -------
    (ny, nx) float64, mm, -inf where nothing is. With grow = 0 it is the exact greatest height in the cell.
    """
    _checked(corners, shape, pitch)
    z = np.full(shape, -np.inf)
    given = np.ascontiguousarray(corners, dtype=np.float64)

    def fill(first: int, end: int) -> None:
        _rows(given, float(origin[0]), float(origin[1]), z, first, end, float(pitch), float(grow))

    hands = min(nb.get_num_threads(), max(1, z.size // SHARED))
    edges = np.linspace(0, shape[0], hands + 1).astype(int).tolist()
    if hands == 1:
        fill(0, shape[0])
    else:
        with ThreadPoolExecutor(hands) as pool:
            list(pool.map(fill, edges[:-1], edges[1:]))
    return z


def raster_bottom(
    corners: Floats, origin: Sequence[float] | Floats, shape: tuple[int, int], pitch: float, *, grow: float = 0.0
) -> Floats:
    """The least height of every triangle that touches each cell, +inf where nothing is; never above the true one."""
    turned = np.array(corners, dtype=np.float64)
    turned[..., 2] *= -1.0
    return -raster(turned, origin, shape, pitch, grow=grow)


def _checked(corners: Floats, shape: tuple[int, int], pitch: float) -> None:
    if corners.ndim != 3 or corners.shape[1:] != (3, 3):
        raise ValueError(f"corners must have shape (m, 3, 3), not {corners.shape}")
    if not np.isfinite(corners).all():
        raise ValueError("corners must be finite")
    if pitch <= 0 or shape[0] < 1 or shape[1] < 1:
        raise ValueError(f"needs a positive pitch and shape, not {pitch} and {shape}")
