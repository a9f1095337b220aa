"""How near a tool assembly comes to a height field: a lower bound of the true distance, and what is nearest.

The tool is the union of upright columns (radius r_k, from h_k above the tip upwards), the obstacle the union of
columns under its cells, so the distance between the two is the least over steps k and cells c of

    hypot(max(0, gap(axis, c) - r_k), max(0, z_tip + h_k - H(c)))

with gap the distance from the axis to the cell's square. Both unions hold the real bodies: never above the truth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numba as nb
import numpy as np
from numpy.typing import NDArray

from palletwright.field.dilate import Stack, decisive
from palletwright.field.view import HeightField

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_BLOCK = 8
_COLLIDING = 8  # tips that collide of which the shortfall is worked out: a collision is known from the first


@dataclass(frozen=True, eq=False)
class Clearances:
    """Clearances of many tips, arrays of length n.

    distance : mm, 0 where something is touched, `cap` where nothing is nearer than that
    cell : (n, 2) int, (j, i) of the nearest cell, or -1
    level : index into `decisive(stack)` of the step that is nearest, or -1
    lift, side : mm by which a colliding tip must rise, or its wide step shrink in radius, to touch nothing
    """

    distance: Floats
    cell: Ints
    level: Ints
    lift: Floats
    side: Floats

    @property
    def have(self) -> Floats:
        """(n,) mm: the distance, or minus the lesser way out where it collides."""
        return np.where(self.distance > 0, self.distance, -np.minimum(self.lift, self.side))

    @property
    def worst(self) -> int:
        """Index of the tip with the least `have`."""
        return int(np.argmin(self.have))


@nb.njit(cache=True)
def _coarse(z):  # type: ignore[no-untyped-def]
    ny, nx = z.shape
    out = np.full(((ny + _BLOCK - 1) // _BLOCK, (nx + _BLOCK - 1) // _BLOCK), -np.inf)
    for j in range(ny):
        for i in range(nx):
            if z[j, i] > out[j // _BLOCK, i // _BLOCK]:
                out[j // _BLOCK, i // _BLOCK] = z[j, i]
    return out


@nb.njit(cache=True)
def _gap(x, low, high):  # type: ignore[no-untyped-def]
    if x < low:
        return low - x
    return x - high if x > high else 0.0


@nb.njit(cache=True)
def _nearest(x, y, tip, radii, starts, z, coarse, pitch, best, found):  # type: ignore[no-untyped-def]
    """Least squared distance below `best`; found becomes (j, i, k). x, y count from the grid's corner."""
    ny, nx = z.shape
    size = _BLOCK * pitch
    reach = radii[radii.size - 1] + np.sqrt(best)
    bj0 = max(int(np.floor((y - reach) / size)), 0)
    bj1 = min(int(np.floor((y + reach) / size)), coarse.shape[0] - 1)
    bi0 = max(int(np.floor((x - reach) / size)), 0)
    bi1 = min(int(np.floor((x + reach) / size)), coarse.shape[1] - 1)
    for bj in range(bj0, bj1 + 1):
        gy = _gap(y, bj * size, (bj + 1) * size)
        for bi in range(bi0, bi1 + 1):
            top = coarse[bj, bi]
            low = tip + starts[0] - top
            if low > 0.0 and low * low >= best:
                continue
            gx = _gap(x, bi * size, (bi + 1) * size)
            axis = np.sqrt(gx * gx + gy * gy)
            near = False
            for k in range(radii.size):
                a, b = max(0.0, axis - radii[k]), max(0.0, tip + starts[k] - top)
                if a * a + b * b < best:
                    near = True
                    break
            if not near:
                continue
            for j in range(bj * _BLOCK, min((bj + 1) * _BLOCK, ny)):
                cy = _gap(y, j * pitch, (j + 1) * pitch)
                for i in range(bi * _BLOCK, min((bi + 1) * _BLOCK, nx)):
                    h = z[j, i]
                    low = tip + starts[0] - h
                    if low > 0.0 and low * low >= best:
                        continue
                    cx = _gap(x, i * pitch, (i + 1) * pitch)
                    axis = np.sqrt(cx * cx + cy * cy)
                    for k in range(radii.size):
                        a, b = max(0.0, axis - radii[k]), max(0.0, tip + starts[k] - h)
                        d = a * a + b * b
                        if d < best:
                            best = d
                            found[0], found[1], found[2] = j, i, k
                    if best == 0.0:
                        return best
    return best


@nb.njit(cache=True)
def _ways_out(x, y, tip, radii, starts, z, pitch):  # type: ignore[no-untyped-def]
    """(lift, shrink) in mm that free a colliding tip; shrink counts the colliding steps only."""
    ny, nx = z.shape
    lift, side = 0.0, 0.0
    for k in range(radii.size):
        r = radii[k]
        for j in range(max(int((y - r) / pitch), 0), min(int((y + r) / pitch) + 1, ny)):
            cy = _gap(y, j * pitch, (j + 1) * pitch)
            for i in range(max(int((x - r) / pitch), 0), min(int((x + r) / pitch) + 1, nx)):
                up = z[j, i] - tip - starts[k]
                if up < 0.0:
                    continue
                cx = _gap(x, i * pitch, (i + 1) * pitch)
                inward = r - np.sqrt(cx * cx + cy * cy)
                if inward >= 0.0:
                    lift, side = max(lift, up), max(side, inward)
    return lift, side


@nb.njit(cache=True, parallel=True)
def _each(tips, radii, starts, z, coarse, ox, oy, pitch, cap):  # type: ignore[no-untyped-def]
    n = tips.shape[0]
    out, found = np.empty((n, 3)), np.full((n, 3), -1, np.int64)
    for t in nb.prange(n):
        x, y = tips[t, 0] - ox, tips[t, 1] - oy
        d = np.sqrt(_nearest(x, y, tips[t, 2], radii, starts, z, coarse, pitch, cap * cap, found[t]))
        out[t, 0], out[t, 1], out[t, 2] = d, 0.0, 0.0
        if d == 0.0:
            out[t, 1], out[t, 2] = _ways_out(x, y, tips[t, 2], radii, starts, z, pitch)
    return out, found


@nb.njit(cache=True)
def _bounds(groups, radii, starts, coarse, pitch, cap):  # type: ignore[no-untyped-def]
    """Lower bound of the squared distance of each group of tips (x, y, half width, least tip), from blocks alone."""
    out = np.full(groups.shape[0], cap)
    size = _BLOCK * pitch
    for g in range(groups.shape[0]):
        x, y, half, tip = groups[g, 0], groups[g, 1], groups[g, 2], groups[g, 3]
        reach = radii[radii.size - 1] + half + np.sqrt(cap)
        for bj in range(max(int((y - reach) / size), 0), min(int((y + reach) / size) + 1, coarse.shape[0])):
            gy = _gap(y, bj * size, (bj + 1) * size)
            for bi in range(max(int((x - reach) / size), 0), min(int((x + reach) / size) + 1, coarse.shape[1])):
                top = coarse[bj, bi]
                low = tip + starts[0] - top
                if low > 0.0 and low * low >= out[g]:
                    continue
                gx = _gap(x, bi * size, (bi + 1) * size)
                axis = np.sqrt(gx * gx + gy * gy) - half
                for k in range(radii.size):
                    a, b = max(0.0, axis - radii[k]), max(0.0, tip + starts[k] - top)
                    out[g] = min(out[g], a * a + b * b)
    return out


@nb.njit(cache=True)
def _least(tips, first, groups, radii, starts, z, coarse, ox, oy, pitch, cap):  # type: ignore[no-untyped-def]
    """The worst tip only: groups in order of their bounds, every tip from the best so far; the first `_COLLIDING`
    that collide compare by their way out. Tips of group g are first[g] to first[g + 1]."""
    best, worst, out_lift, out_side = cap * cap, -1, 0.0, 0.0
    colliding = 0
    found, kept = np.full(3, -1, np.int64), np.full(3, -1, np.int64)
    bounds = _bounds(groups, radii, starts, coarse, pitch, best)
    for g in np.argsort(bounds):
        if bounds[g] >= best and best > 0.0:
            break
        if bounds[g] > 0.0 and best == 0.0:
            break
        for t in range(first[g], first[g + 1]):
            x, y = tips[t, 0] - ox, tips[t, 1] - oy
            limit = best if best > 0.0 else 1e-300
            d = _nearest(x, y, tips[t, 2], radii, starts, z, coarse, pitch, limit, found)
            if d >= limit:
                continue
            lift, side = 0.0, 0.0
            if d == 0.0:
                colliding += 1
                if colliding > _COLLIDING:
                    return 0.0, worst, out_lift, out_side, kept
                lift, side = _ways_out(x, y, tips[t, 2], radii, starts, z, pitch)
            if d < best or min(lift, side) > min(out_lift, out_side) or worst < 0:
                best, worst, out_lift, out_side = d, t, lift, side
                kept[:] = found
    return np.sqrt(best), worst, out_lift, out_side, kept


def coarse(z: Floats) -> Floats:
    """Greatest height of every block of cells, to prune by: reuse it for several tools over one field."""
    return np.asarray(_coarse(np.ascontiguousarray(z, dtype=np.float64)))


def _steps(stack: Stack) -> tuple[Floats, Floats]:
    steps = np.array(decisive(stack))
    return np.ascontiguousarray(steps[:, 0]), np.ascontiguousarray(steps[:, 1])


def clearances(tips: Floats, stack: Stack, field: HeightField, *, cap: float = 50.0) -> Clearances:
    """The clearance of every tip position, never above the true one.

    Parameters
    ----------
    tips : (n, 3) mm, view coordinates of `field.frame`
    stack : rows (radius, from, to) in mm above the tip
    cap : mm beyond which nothing is looked for
    """
    points = np.ascontiguousarray(np.asarray(tips, dtype=np.float64).reshape(-1, 3))
    z = np.ascontiguousarray(field.z)
    out, found = _each(points, *_steps(stack), z, coarse(z), *field.origin, field.pitch, float(cap))
    return Clearances(out[:, 0], found[:, :2], found[:, 2], out[:, 1], out[:, 2])


def clearance(
    tip: Sequence[float] | Floats, stack: Stack, field: HeightField, *, cap: float = 50.0
) -> tuple[float, tuple[int, int], int]:
    """(distance mm, (j, i) of the nearest cell, step of `decisive(stack)`) of one tip; see `clearances`."""
    one = clearances(np.asarray(tip, dtype=np.float64).reshape(1, 3), stack, field, cap=cap)
    return float(one.distance[0]), (int(one.cell[0, 0]), int(one.cell[0, 1])), int(one.level[0])


@dataclass(frozen=True, slots=True)
class Least:
    """The worst of many tips: `have` mm (negative: it collides, short by at least that), its tip's index, nearest cell
    and step."""

    have: float
    tip: int
    cell: tuple[int, int]
    level: int


@dataclass(frozen=True, eq=False)
class Tips:
    """Tip positions gathered in square groups, so that far ones are passed over together.

    points : (n, 3) mm, sorted by group; order : (n,) their places in what was given; first : (g + 1,) where each
    group starts; groups : (g, 4) centre u, v, half diagonal and least w, mm
    """

    points: Floats
    order: Ints
    first: Ints
    groups: Floats


def extent(points: Floats) -> tuple[Floats, Floats]:
    """Least and greatest of each column of (n, k) points: column by column, which is far faster than along rows."""
    columns = np.ascontiguousarray(points.T)
    return columns.min(axis=1), columns.max(axis=1)


def gathered(tips: Floats, size: float = 6.0) -> Tips:
    """`tips` (n, 3) in groups of `size` mm square."""
    points = np.asarray(tips, dtype=np.float64).reshape(-1, 3)
    cell = np.floor((points[:, :2] - extent(points)[0][:2]) / size).astype(np.int64)
    key = cell[:, 1] * (cell[:, 0].max() + 1) + cell[:, 0]
    order = np.argsort(key, kind="stable")
    starts = np.flatnonzero(np.diff(key[order], prepend=-1))
    points = np.ascontiguousarray(points[order])
    low, high = np.minimum.reduceat(points, starts), np.maximum.reduceat(points, starts)
    half = np.hypot(*(high - low)[:, :2].T) / 2
    groups = np.column_stack([(low + high)[:, :2] / 2, half, low[:, 2]])
    return Tips(points, order, np.append(starts, len(points)), np.ascontiguousarray(groups))


def least_clearance(
    tips: Floats | Tips,
    stack: Stack,
    z: Floats,
    origin: Floats,
    pitch: float,
    *,
    cap: float = 50.0,
    blocks: Floats | None = None,
) -> Least | None:
    """The least clearance over all tips, or None when nothing is nearer than `cap`: much faster than all of them.

    z, origin, pitch as in `HeightField`; blocks : `coarse(z)` where at hand.
    """
    t = tips if isinstance(tips, Tips) else gathered(tips)
    at = np.asarray(origin, dtype=np.float64)
    groups = t.groups - np.array([at[0], at[1], 0.0, 0.0])
    z = np.ascontiguousarray(z)
    pruned = coarse(z) if blocks is None else blocks
    d, k, lift, side, cell = _least(
        t.points, t.first, groups, *_steps(stack), z, pruned, at[0], at[1], float(pitch), float(cap)
    )
    if k < 0:
        return None
    return Least(float(d) if d > 0 else -min(lift, side), int(t.order[k]), (int(cell[0]), int(cell[1])), int(cell[2]))
