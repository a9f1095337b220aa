"""The union of many discs, from those few that bound it.

Discs are taken in turn, the largest first and coarse steps along a path before fine ones; one whose whole rim lies
inside those taken so far, grown by a little, is left out. No such rim meets a hole between the grown discs, so
a hole is either wholly covered by a disc left out or not at all, and one point of it tells which.
"""

from __future__ import annotations

import math
from typing import Any

import numba
import numpy as np
import shapely
from numpy.typing import NDArray

from palletwright.layout.polygons import disc, joined

SLACK = 1e-7  # rad by which arcs covered by other discs must overlap, against rounding
MANY = 40  # discs; fewer are not worth thinning
SPARE = 0.02  # mm by which discs may grow (or a union fall short) so that fewer are needed
COARSE = 0.02  # mm that a polygon may differ from its disc
Points = NDArray[np.float64]
Flags = NDArray[np.bool_]


def united(centres: Points, radii: Points, outer: bool) -> Any:
    """Union of discs (mm) as polygons about them, `SPARE` larger at most (`outer`), or within; holes are kept."""
    rank = np.arange(len(radii)) & -np.arange(len(radii))  # greatest power of two that divides the position
    rank[0] = len(radii)
    order = np.lexsort((-rank, -radii))
    centres, radii = np.ascontiguousarray(centres[order]), np.ascontiguousarray(radii[order])
    taken = _taken(centres, radii, SPARE)
    union = joined(_polygons(centres[taken], radii[taken] + (SPARE if outer else 0.0), outer))
    return union if taken.all() else _filled(union, centres[~taken], radii[~taken], outer)


def covered_by(shape: Any, centres: Points, radii: Points, outer: bool) -> Flags:
    """Which discs, as the polygons that stand for them, lie in `shape`."""
    if shape.is_empty:
        return np.zeros(len(radii), dtype=bool)
    edge = shape.boundary
    shapely.prepare([shape, edge])
    out = np.asarray(shapely.contains_xy(shape, centres[:, 0], centres[:, 1]))
    for radius in np.unique(radii[out]):
        which = np.flatnonzero(out & (radii == radius))
        reach = (radius + SPARE) / math.cos(math.pi / sides_for(float(radius))) if outer else radius
        out[which] = ~shapely.dwithin(edge, shapely.points(centres[which]), reach)
    return out


def thinned(centres: Points, radii: Points) -> NDArray[np.int64]:
    """Positions of discs whose union is that of all: of one centre the largest, of dense fields a part."""
    order = np.lexsort((centres[:, 1], centres[:, 0], -radii))
    _, first = np.unique(centres[order], axis=0, return_index=True)
    left = np.sort(order[first])
    kept = []
    for radius in np.unique(radii[left]):
        group = left[radii[left] == radius]
        kept.append(group[_sparse(centres[group], float(radius))] if len(group) > MANY and radius > 0 else group)
    return np.sort(np.concatenate(kept))


def _sparse(centres: Points, radius: float) -> NDArray[np.int64]:
    """Of a field of equal discs its rim, and one of every cell a third of the radius wide.

    Left out are centres p about which all 5 × 5 cells, c = r/6 wide, hold centres. A point that has p for its
    nearest centre lies within √2·c of it: otherwise the cell of the point 1.5·c towards it would hold a nearer
    one. So the centre kept in p's wider cell, within √2·r/3 of p, covers the point.
    """
    cell = np.floor(centres / (radius / 6.0)).astype(np.int64)
    cell -= cell.min(axis=0) - 2
    full = np.zeros(cell.max(axis=0) + 3, dtype=bool)
    full[cell[:, 0], cell[:, 1]] = True
    inner = np.ones_like(full)
    for i in range(-2, 3):
        for j in range(-2, 3):
            inner &= np.roll(full, (i, j), axis=(0, 1))
    rim = np.flatnonzero(~inner[cell[:, 0], cell[:, 1]])
    _, first = np.unique(np.floor(centres / (radius / 3.0)), axis=0, return_index=True)
    return np.union1d(rim, first)


def sides_for(radius: float) -> int:
    """Sides of a polygon that differs from a disc by `COARSE` mm at most: 12 to 48, a multiple of four."""
    need = math.pi / math.acos(max(0.5, 1.0 - COARSE / max(radius, COARSE)))
    return min(48, max(12, 4 * math.ceil(need / 4)))


def _polygons(centres: Points, radii: Points, outer: bool) -> list[Any]:
    found: list[Any] = []
    for radius in np.unique(radii):
        at = centres[radii == radius]
        ring = disc(float(radius), outer, sides_for(float(radius)))
        found.extend(shapely.polygons(at[:, None, :] + ring[None, :, :]))
    return found


def _filled(union: Any, centres: Points, radii: Points, outer: bool) -> Any:
    """`union` with those holes filled that the discs left out cover.

    Within discs only polygons count: those that reach into a hole join, so that the set never grows past the discs.
    """
    solid: list[Any] = []
    more: list[Any] = []
    for part in shapely.get_parts(union):
        left = []
        for hole in part.interiors:
            x, y = shapely.Polygon(hole).representative_point().coords[0]
            if not (np.hypot(centres[:, 0] - x, centres[:, 1] - y) <= radii).any():
                left.append(hole)
            elif not outer:
                left.append(hole)
                near = shapely.dwithin(hole, shapely.points(centres), radii)
                more.extend(_polygons(centres[near], radii[near], outer))
        solid.append(shapely.Polygon(part.exterior, left))
    return joined([*solid, *more]) if more or len(solid) != 1 else solid[0]


@numba.njit(cache=True)
def _taken(centres, radii, spare):  # type: ignore[no-untyped-def]
    """Whether some of a disc's rim lies in none of those taken before it, grown by `spare`."""
    n = len(radii)
    out = np.zeros(n, dtype=np.bool_)
    before = np.empty(n, dtype=np.int64)
    low, high = np.empty(2 * n), np.empty(2 * n)
    count = 0
    for i in range(n):
        arcs = 0
        inside = False
        r = radii[i]
        for j in before[:count]:
            dx, dy, wide = centres[j, 0] - centres[i, 0], centres[j, 1] - centres[i, 1], radii[j] + spare
            d = math.sqrt(dx * dx + dy * dy)
            if d + r <= wide:
                inside = True
                break
            if d >= r + wide or d + wide <= r:
                continue
            cosine = (d * d + r * r - wide * wide) / (2.0 * d * r)
            half = math.acos(min(1.0, max(-1.0, cosine))) - SLACK
            if half <= 0:
                continue
            middle = math.atan2(dy, dx)
            a, b = middle - half, middle + half
            if a < -math.pi:
                low[arcs], high[arcs] = a + 2 * math.pi, math.pi
                arcs += 1
                a = -math.pi
            if b > math.pi:
                low[arcs], high[arcs] = -math.pi, b - 2 * math.pi
                arcs += 1
                b = math.pi
            low[arcs], high[arcs] = a, b
            arcs += 1
        if not inside and not _round(low[:arcs], high[:arcs]):
            out[i] = True
            before[count] = i
            count += 1
    return out


@numba.njit(cache=True)
def _round(low, high):  # type: ignore[no-untyped-def]
    """Whether arcs cover the whole turn from −π to π."""
    reached = -math.pi
    for k in np.argsort(low):
        if low[k] > reached:
            return False
        reached = max(reached, high[k])
    return reached >= math.pi
