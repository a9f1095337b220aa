"""The part seen along one direction, by columns through cell centres, and where cutters can go there.

Centre sampling errs by up to one cell to either side: right for shares of volume, which is what access answers.
Whether a tool touches anything is decided by reach with the conservative fields.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

import numba as nb
import numpy as np
from numpy.typing import NDArray

from palletwright.field.dilate import disc
from palletwright.field.frame import frame_of
from palletwright.field.rims import Rims, painted, rims_of
from palletwright.shop.model import Tool
from palletwright.solid.model import Floats
from palletwright.verdict import Vec

Short = NDArray[np.float32]
COARSE = 48
"""cells of radius above which a disc is grown on a coarser grid, where the part slopes."""
LEVEL = 2.0**-15
"""mm to which heights are rounded before tools are laid over them."""
SLOPES = 0.1
"""runs of level cells per cell above which a view counts as sloping."""
WALL_BAND = 0.2
"""mm about a cutter above its usable length in which no wall may stand (common practice, no source)."""
KEPT_CELLS = 12_000_000
"""cells of tool fields that one view keeps: 48 MB."""
LARGE = 400_000
"""cells of a view above which its grown fields are dropped once its tools have been looked at."""


@nb.njit(cache=True)
def raster_columns(corners, ox, oy, ny, nx, pitch, top, cells, heights):  # type: ignore[no-untyped-def]
    """Greatest height per column into `top`; all crossings into `cells`, `heights` while there is room."""
    found = 0
    for t in range(corners.shape[0]):
        ax, ay, az = corners[t, 0]
        bx, by, bz = corners[t, 1]
        cx, cy, cz = corners[t, 2]
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if abs(area) < 1e-14:
            continue
        i0 = max(0, int(np.ceil((min(ax, bx, cx) - ox) / pitch - 0.5)))
        i1 = min(nx - 1, int(np.floor((max(ax, bx, cx) - ox) / pitch - 0.5)))
        j0 = max(0, int(np.ceil((min(ay, by, cy) - oy) / pitch - 0.5)))
        j1 = min(ny - 1, int(np.floor((max(ay, by, cy) - oy) / pitch - 0.5)))
        for j in range(j0, j1 + 1):
            y = oy + (j + 0.5) * pitch
            for i in range(i0, i1 + 1):
                x = ox + (i + 0.5) * pitch
                u = ((bx - x) * (cy - y) - (by - y) * (cx - x)) / area
                v = ((cx - x) * (ay - y) - (cy - y) * (ax - x)) / area
                w = 1.0 - u - v
                if u < -1e-12 or v < -1e-12 or w < -1e-12:
                    continue
                z = u * az + v * bz + w * cz
                if z > top[j, i]:
                    top[j, i] = z
                if found < cells.size:
                    cells[found] = j * nx + i
                    heights[found] = z
                found += 1
    return found


@nb.njit(cache=True, parallel=True)
def _combined(fields, starts, out):  # type: ignore[no-untyped-def]
    """The greatest of several fields, each lowered by its own start."""
    for j in nb.prange(out.shape[0]):
        for k in range(starts.size):
            row = fields[k][j]
            for i in range(out.shape[1]):
                h = row[i] - starts[k]
                if k == 0 or h > out[j, i]:
                    out[j, i] = h


@nb.njit(cache=True)
def _reached(floor, points, ox, oy, pitch, lift):  # type: ignore[no-untyped-def]
    """Which points stand on or above the least of the nine floors about them; past the grid all do."""
    ny, nx = floor.shape
    out = np.ones(points.shape[0], dtype=np.bool_)
    for p in range(points.shape[0]):
        i = int(np.floor((points[p, 0] - ox) / pitch))
        j = int(np.floor((points[p, 1] - oy) / pitch))
        if i < 0 or j < 0 or i >= nx or j >= ny:
            continue
        least = np.inf
        for jj in range(max(0, j - 1), min(ny, j + 2)):
            for ii in range(max(0, i - 1), min(nx, i + 2)):
                least = min(least, floor[jj, ii])
        out[p] = points[p, 2] - lift >= least - 1e-4
    return out


@nb.njit(cache=True)
def _touched(height, x, y, radius, limit, pitch):  # type: ignore[no-untyped-def]
    """Whether any cell's centre within `radius` of (x, y), counted from the grid's corner, is above `limit`."""
    ny, nx = height.shape
    for j in range(max(0, int((y - radius) / pitch) - 1), min(ny, int((y + radius) / pitch) + 2)):
        dy = (j + 0.5) * pitch - y
        rest = radius * radius - dy * dy
        if rest <= 0:
            continue
        half = np.sqrt(rest)
        for i in range(max(0, int((x - half) / pitch) - 1), min(nx, int((x + half) / pitch) + 2)):
            if abs((i + 0.5) * pitch - x) < half and height[j, i] > limit:
                return True
    return False


@contextmanager
def one_thread() -> Iterator[None]:
    """Kernels on these grids are as fast on one thread, and many times faster where other work shares the cores."""
    before = nb.get_num_threads()
    nb.set_num_threads(1)
    try:
        yield
    finally:
        nb.set_num_threads(before)


def no_crossings() -> tuple[NDArray[np.int64], Floats]:
    return np.empty(0, dtype=np.int64), np.empty(0)


@dataclass(frozen=True, eq=False)
class Look:
    """The part along `direction`: `height` (ny, nx) mm in view coordinates, -inf where nothing is.

    Cell (j, i)'s centre lies at origin + ((i + 0.5)·pitch, (j + 0.5)·pitch) of the view frame's u and v. Fields of
    tools count from `lift`, the part's top, in 32 bits.
    """

    direction: Vec
    frame: Floats
    origin: tuple[float, float]
    pitch: float
    height: Floats
    room: float = 0.0

    @cached_property
    def lift(self) -> float:
        top = float(self.height.max(initial=-np.inf))
        return top if np.isfinite(top) else 0.0

    @cached_property
    def _tips(self) -> OrderedDict[int, tuple[Short, Short]]:
        return OrderedDict()

    @cached_property
    def _grown(self) -> OrderedDict[float, Short]:
        return OrderedDict()

    @cached_property
    def _rims(self) -> Rims[Short]:
        # Rounding makes flats level: sampled heights of one plane differ by the noise of their sums.
        return rims_of((np.rint((self.height - self.lift) / LEVEL) * LEVEL).astype(np.float32))

    def fields(self, tool: Tool) -> tuple[Short, Short]:
        """(lowest tip, lowest cut surface) of the tool over each cell, mm from `lift`."""
        if tool.number not in self._tips:
            tip = self.lowest_tip(tool)
            down = np.negative(tip)
            swept = np.negative(spread(rims_of(down), tool.cutter.DC / 2 / self.pitch))
            kept(self._tips, tool.number, (tip, swept), self.height.size)
        self._tips.move_to_end(tool.number)
        return self._tips[tool.number]

    def lowest_tip(self, tool: Tool) -> Short:
        """The least tip height over each cell with cutter, shank and holder clear of the part, mm from `lift`."""
        rows = [(tool.cutter.DC / 2, 0.0), (tool.cutter.DC / 2 + max(WALL_BAND, self.pitch), usable_length(tool))]
        for radius, start in self.wide_rows(tool):
            if radius > max(r for r, h in rows if h <= start) + 1e-9:
                rows.append((radius, start))
        out = np.empty(self.height.shape, dtype=np.float32)
        starts = np.array([start for _, start in rows], dtype=np.float32)
        _combined(tuple(self.grown(radius) for radius, _ in rows), starts, out)
        return out

    def wide_rows(self, tool: Tool) -> list[tuple[float, float]]:
        """(radius, height above the tip) of what is wider than the cutter, with `room` around and below it.

        Radii grow by half a cell's diagonal too, so that sampling at centres doesn't find more room than there is.
        """
        around = self.room + self.pitch * 2**-0.5 if self.room else 0.0
        wide = [(r, h) for r, h, _ in tool.stack() if r > tool.cutter.DC / 2 + 1e-9]
        return [(r + around, max(0.0, h - self.room)) for r, h in wide]

    def grown(self, radius: float) -> Short:
        """The part's height grown by a disc, mm from `lift`, kept per radius: tools share holders and diameters."""
        key = round(radius, 6)
        if key not in self._grown:
            kept(self._grown, key, spread(self._rims, max(radius / self.pitch, 0.51)), self.height.size / 2)
        self._grown.move_to_end(key)
        return self._grown[key]

    def forget(self) -> None:
        """Drops the grown fields, where the view is large."""
        if self.height.size > LARGE:
            self._grown.clear()

    def reached(self, tool: Tool, points: Floats) -> NDArray[np.bool_]:
        """Which of the view points (n, 3) the tool can cut past the finished part."""
        floor = self.fields(tool)[1]
        ox, oy = self.origin
        return np.asarray(_reached(floor, np.ascontiguousarray(points), ox, oy, self.pitch, self.lift))

    def touched(self, x: float, y: float, radius: float, limit: float) -> bool:
        """Whether the part rises above `limit` (view height) within `radius` of (x, y) of the view."""
        return bool(_touched(self.height, x - self.origin[0], y - self.origin[1], radius, limit, self.pitch))

    def cells(self, points: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
        """Row and column of each view point, held to the grid, and whether it lay inside."""
        ny, nx = self.height.shape
        i = np.floor((points[:, 0] - self.origin[0]) / self.pitch).astype(np.int64)
        j = np.floor((points[:, 1] - self.origin[1]) / self.pitch).astype(np.int64)
        inside = (i >= 0) & (i < nx) & (j >= 0) & (j < ny)
        return np.clip(j, 0, ny - 1), np.clip(i, 0, nx - 1), inside


K = TypeVar("K")
V = TypeVar("V")


def kept(store: OrderedDict[K, V], key: K, value: V, cells: float) -> None:
    """Puts the value in, and the longest unused out where the store would hold too many cells."""
    store[key] = value
    while len(store) > 2 and len(store) * cells > KEPT_CELLS / 2:
        store.popitem(last=False)


def spread(rims: Rims[Short], cells: float) -> Short:
    """Dilation by a disc; a wide one over slopes on a coarser grid of block maxima, never lower, wider by up to 1/24.

    As it is where the disc holds nothing but its own cell.
    """
    height = rims.height
    widths = disc(cells, 0.0)
    if widths.size < 2 and (widths.size == 0 or widths[0] == 0):
        return height
    by = int(cells // COARSE) + 1
    if by == 1 or len(rims.start) < SLOPES * height.size:
        return painted(rims, widths)
    ny, nx = height.shape
    padded = np.pad(height, ((0, -ny % by), (0, -nx % by)), constant_values=-np.inf)
    blocks = padded.reshape(padded.shape[0] // by, by, padded.shape[1] // by, by).max(axis=(1, 3))
    wide = painted(rims_of(np.ascontiguousarray(blocks)), disc(cells / by, 0.0))
    return np.ascontiguousarray(np.repeat(np.repeat(wide, by, axis=0), by, axis=1)[:ny, :nx])


def look(corners: Floats, direction: Sequence[float], pitch: float, margin: float, room: float = 0.0) -> Look:
    """The part (triangles (m, 3, 3), part frame) along `direction`, with `margin` mm of empty cells around it."""
    frame = frame_of(direction)
    seen = corners @ frame.T
    low, high = seen[..., :2].min(axis=(0, 1)) - margin, seen[..., :2].max(axis=(0, 1)) + margin
    nx, ny = (np.ceil((high - low) / pitch).astype(int) + 1).tolist()
    top = np.full((ny, nx), -np.inf)
    raster_columns(np.ascontiguousarray(seen), low[0], low[1], ny, nx, pitch, top, *no_crossings())
    w = frame[2]
    return Look((float(w[0]), float(w[1]), float(w[2])), frame, (float(low[0]), float(low[1])), pitch, top, room)


def usable_length(tool: Tool) -> float:
    """mm that the tool may go down beside a wall: its relieved neck, else its flutes."""
    cutter = tool.cutter
    relieved = (cutter.DN is not None and cutter.DN < cutter.DC) or cutter.DMM < cutter.DC - 1e-6
    length = max(cutter.LU, cutter.LCF) if relieved else cutter.LCF
    return min(length, tool.stick_out)


def inside_points(corners: Floats, frame: Floats, count: int) -> tuple[Floats, Floats]:
    """About `count` points (n, 3) inside a closed mesh, part frame, and the mm³ that each stands for (n,)."""
    seen = np.ascontiguousarray(corners @ frame.T)
    a, b, c = seen[:, 0], seen[:, 1], seen[:, 2]
    volume = abs(float(np.einsum("ij,ij->", a, np.cross(b, c)))) / 6.0
    step = max((volume / count) ** (1 / 3), 1e-3)
    low, high = seen.min(axis=(0, 1)), seen.max(axis=(0, 1))
    step = max(step, float(np.sqrt((high[0] - low[0]) * (high[1] - low[1]) / 400_000)))
    # An irrational shift keeps columns off the mesh's own edges.
    ox, oy = low[0] - 0.381966 * step, low[1] - 0.236068 * step
    nx, ny = int((high[0] - ox) / step) + 2, int((high[1] - oy) / step) + 2
    top = np.full((ny, nx), -np.inf)
    need = raster_columns(seen, ox, oy, ny, nx, step, top, *no_crossings())
    cells, heights = np.empty(need, dtype=np.int64), np.empty(need)
    raster_columns(seen, ox, oy, ny, nx, step, top, cells, heights)
    order = np.lexsort((heights, cells))
    cells, heights = cells[order], heights[order]
    _, size = np.unique(cells, return_counts=True)
    even = np.repeat(size % 2 == 0, size)
    cells, heights = cells[even], heights[even]
    lower, upper, column = heights[0::2], heights[1::2], cells[0::2]
    keep = upper - lower > 1e-9
    lower, upper, column = lower[keep], upper[keep], column[keep]
    pieces = np.ceil((upper - lower) / step).astype(np.int64)
    at = np.repeat(np.arange(len(pieces)), pieces)
    nth = np.arange(len(at)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    length = (upper - lower)[at] / pieces[at]
    z = lower[at] + (nth + 0.5) * length
    x = ox + (column[at] % nx + 0.5) * step
    y = oy + (column[at] // nx + 0.5) * step
    weight = length * step * step
    if weight.sum() > 0:
        weight *= volume / weight.sum()
    return np.stack([x, y, z], axis=1) @ frame, weight
