"""Grey dilation by a disc from the rims of the level parts alone: most of a machined part is flat."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Generic, TypeVar

import numba as nb
import numpy as np
from numpy.typing import NDArray

H = TypeVar("H", NDArray[np.float64], NDArray[np.float32])
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Rims(Generic[H]):
    """Runs of equal height with a lower neighbour. `first` (3, ny + 1) counts them by row, for neighbours
    in the same row, in the row before and in the row after.

    A cell whose neighbour towards a place is at least as high adds nothing there, as every disc about that place
    that holds the cell holds the neighbour. So the greatest height in a disc is that of its centre or of a rim.
    """

    height: H
    first: Ints
    start: NDArray[np.int32]
    end: NDArray[np.int32]


@nb.njit(cache=True)
def _row_marks(z, j, marks):  # type: ignore[no-untyped-def]
    """Per cell of row j: bit 0 a lower neighbour in the row, bit 1 in the row before, bit 2 in the row after."""
    ny, nx = z.shape
    row = z[j]
    marks[0], marks[nx - 1] = 0, 0
    if nx > 1:
        marks[0], marks[nx - 1] = row[1] < row[0], row[nx - 2] < row[nx - 1]
    for i in range(1, nx - 1):
        marks[i] = (row[i - 1] < row[i]) | (row[i + 1] < row[i])
    if j > 0:
        other = z[j - 1]
        for i in range(nx):
            marks[i] |= (other[i] < row[i]) << 1
    if j < ny - 1:
        other = z[j + 1]
        for i in range(nx):
            marks[i] |= (other[i] < row[i]) << 2


@nb.njit(cache=True)
def _row_runs(row, marks, at, starts, ends):  # type: ignore[no-untyped-def]
    """Advances `at` (3,) by the row's runs, and writes them where `starts` has room."""
    nx, keep = row.size, starts.size > 0
    for i in range(nx):
        here = marks[i]
        if here == 0:
            continue
        before = marks[i - 1] if i > 0 and row[i - 1] == row[i] else 0
        for side in range(3):
            bit = 1 << side
            if here & bit:
                if not before & bit:
                    if keep:
                        starts[at[side]] = i
                    at[side] += 1
                if keep:
                    ends[at[side] - 1] = i


@nb.njit(cache=True, parallel=True)
def _run_counts(z):  # type: ignore[no-untyped-def]
    ny, nx = z.shape
    count = np.zeros((ny, 3), dtype=np.int64)
    none = np.empty(0, dtype=np.int32)
    for j in nb.prange(ny):
        marks = np.empty(nx, dtype=np.uint8)
        _row_marks(z, j, marks)
        _row_runs(z[j], marks, count[j], none, none)
    return count


@nb.njit(cache=True, parallel=True)
def _all_runs(z, first, start, end):  # type: ignore[no-untyped-def]
    ny, nx = z.shape
    for j in nb.prange(ny):
        marks = np.empty(nx, dtype=np.uint8)
        _row_marks(z, j, marks)
        _row_runs(z[j], marks, first[:, j].copy(), start, end)


def rims_of(z: H) -> Rims[H]:
    """The rims of a height field (ny, nx); the field itself is kept, not copied."""
    count = _run_counts(z)
    first = np.zeros((3, z.shape[0] + 1), dtype=np.int64)
    first[:, 1:] = np.cumsum(count, axis=0).T
    first[1] += first[0, -1]
    first[2] += first[1, -1]
    start, end = np.empty(first[2, -1], dtype=np.int32), np.empty(first[2, -1], dtype=np.int32)
    _all_runs(z, first, start, end)
    return Rims(z, first, start, end)


@nb.njit(cache=True)
def _raise(target, low, high, value):  # type: ignore[no-untyped-def]
    for i in range(low, high):
        if value > target[i]:
            target[i] = value


@nb.njit(cache=True, parallel=True)
def _tables(z, rows, widest, levels):  # type: ignore[no-untyped-def]
    """Running maxima over 1, 2, 4 … cells of the rows that have too many runs, `widest` cells of margin each side."""
    nx = z.shape[1]
    n = nx + 2 * widest
    table = np.full((rows.size, levels, n), -np.inf, dtype=z.dtype)
    for r in nb.prange(rows.size):
        table[r, 0, widest : widest + nx] = z[rows[r]]
        for m in range(1, levels):
            half = 1 << (m - 1)
            below, row = table[r, m - 1], table[r, m]
            for i in range(n - 2 * half + 1):
                a, b = below[i], below[i + half]
                row[i] = a if a > b else b
    return table


@nb.njit(cache=True)
def _by_table(target, table, w, widest):  # type: ignore[no-untyped-def]
    """Raises each cell to the greatest of the table's row within `w` cells of it."""
    m = 0
    while (1 << (m + 1)) <= 2 * w + 1:
        m += 1
    row = table[m]
    first, second = widest - w, widest + w + 1 - (1 << m)
    for i in range(target.size):
        a, b = row[i + first], row[i + second]
        c = a if a > b else b
        if c > target[i]:
            target[i] = c


@nb.njit(cache=True)
def _paint(target, done, value, low, high):  # type: ignore[no-untyped-def]
    """Raises `low` to `high`; `done` (from, to, height) is the highest stretch so far, painted once."""
    if low >= done[0] and high <= done[1] and value <= done[2]:
        return
    if value == done[2] and low <= done[1] and high >= done[0]:
        _raise(target, low, min(high, int(done[0])), value)
        _raise(target, max(low, int(done[1])), high, value)
        done[0], done[1] = min(done[0], low), max(done[1], high)
        return
    _raise(target, low, high, value)
    if value >= done[2]:
        done[0], done[1], done[2] = low, high, value


@nb.njit(cache=True, parallel=True)
def _grow(z, widths, first, start, end, dense, table):  # type: ignore[no-untyped-def]
    ny, nx = z.shape
    out = np.empty_like(z)
    for j in nb.prange(ny):
        target = out[j]
        target[:] = z[j]
        done = np.array([0.0, 0.0, -np.inf])
        for k in range(2 * widths.size - 1):
            away = (k + 1) // 2
            jj = j + away if k % 2 else j - away
            if jj < 0 or jj >= ny:
                continue
            w = widths[away]
            side = 0 if k == 0 else (1 if k % 2 else 2)
            if dense[side, jj] >= 0:
                _by_table(target, table[dense[side, jj]], w, widths[0])
                continue
            for r in range(first[side, jj], first[side, jj + 1]):
                _paint(target, done, z[jj, start[r]], max(0, start[r] - w), min(nx, end[r] + w + 1))
    return out


def painted(rims: Rims[H], widths: Ints) -> H:
    """The greatest height in a disc about each cell; `widths` (half widths of the disc's rows) never increase."""
    nx = rims.height.shape[1]
    widest = int(widths[0])
    runs = np.diff(rims.first, axis=1)
    crowded = runs * (2 * widest + 1) > 3 * nx
    rows = np.flatnonzero(crowded.any(axis=0))
    number = np.full(rims.height.shape[0], -1, dtype=np.int64)
    number[rows] = np.arange(len(rows))
    dense = np.where(crowded, number, -1)
    levels = int(2 * widest + 1).bit_length()
    table = _tables(rims.height, rows, widest, levels)
    grown: H = _grow(rims.height, widths, rims.first, rims.start, rims.end, dense, table)
    return grown
