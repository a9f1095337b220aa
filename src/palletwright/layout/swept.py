"""Which places of a neighbour the tools of a module sweep: one set of shifts for a direction and a turn.

A tool row is taken as a column without end from its lower face towards the spindle, since everything above
it is holder, spindle or the way in. Cut by height into slabs, column and body are plane sets, and the shifts
at which they meet are the Minkowski sum of the one with the mirrored other. `outer` sets hold every blocked
shift, inner ones only blocked shifts.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from palletwright.layout.model import Module, ToolSweep
from palletwright.layout.polygons import EMPTY, convex_pieces, disc, filled, minkowski, simplified
from palletwright.layout.silhouette import profile

FAR = 4000.0  # mm, longer than any carrier: stands for "at any distance"
SIMPLIFY = 0.002  # mm, moved to the safe side
STEEP = 0.9999  # cosine from the side's normal above which a direction counts as the normal itself
MOST_LEVELS = 24
MOST_TIPS = 300
Points = NDArray[np.float64]
Rows = tuple[tuple[float, float, float], ...]


def swept_shifts(
    sweep: ToolSweep, bodies: Module, turns: Iterable[int], clearance: float, nose: Rows, pitch: float, outer: bool
) -> dict[int, Any]:
    """For every relative turn of `bodies`, the shifts (mm, frame of the sweep) at which a tool meets a body."""
    sets: dict[int, list[Any]] = {turn: [] for turn in turns}
    shapes = [profile(mesh) for _, mesh in bodies.bodies]
    chord = max((mesh.chord_error for _, mesh in bodies.bodies), default=0.0)
    grow = clearance + (chord if outer else -chord)
    top = max((s.high for s in shapes), default=0.0)
    direction = np.asarray(sweep.direction, dtype=np.float64)
    upright = direction[2] > STEEP
    pairs = _above(sweep, nose, grow, pitch, outer) if upright else _slabs(sweep, nose, grow, top, outer)
    for low, high, swept in pairs:
        if swept.is_empty or low >= top:
            continue
        standing = shapely.union_all([s.slab(low, high) for s in shapes if outer or s.closed])
        if standing.is_empty:
            continue
        moving = convex_pieces(simplified(swept, SIMPLIFY, outer))
        still = convex_pieces(simplified(standing, SIMPLIFY, outer))
        for turn in sets:
            mirror = [-_turned_points(p, turn) for p in still]
            sets[turn].extend(minkowski(moving, mirror))
    return {turn: shapely.union_all(found) if found else EMPTY for turn, found in sets.items()}


def outline_shifts(a: Module, b: Module, turns: Iterable[int], gap: float, outer: bool) -> dict[int, Any]:
    """For every relative turn of `b`, the shifts at which the outlines stand nearer than `gap` mm."""
    grown = _grown(a.outline, gap, outer)
    moving = convex_pieces(simplified(grown, SIMPLIFY, outer))
    other = convex_pieces(b.outline)
    return {t: shapely.union_all(minkowski(moving, [-_turned_points(p, t) for p in other])) for t in turns}


def _grown(shape: Any, gap: float, outer: bool) -> Any:
    """`shape` grown by `gap`; shapely's arcs lie inside the true ones, so the outer set grows a little more."""
    if gap <= 0:
        return shape
    return shape.buffer(gap / np.cos(np.pi / 32) if outer else gap, quad_segs=8)


def _turned_points(points: Points, turn: int) -> Points:
    cos, sin = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[turn % 4]
    return np.asarray(points @ np.array([[cos, sin], [-sin, cos]]))


def _rows(sweep: ToolSweep, nose: Rows) -> Iterator[tuple[Points, float, float]]:
    """(tips, radius, start) of every row that stands out beyond the rows in front of it."""
    for tips, stack, _, _ in sweep.moves:
        gauge = max(row[2] for row in stack)
        widest = 0.0
        for radius, start, _ in (*stack, *((r, gauge + f, gauge + t) for r, f, t in nose)):
            if radius > widest:
                widest = radius
                yield np.asarray(tips, dtype=np.float64).reshape(-1, 3), radius, start


def _above(sweep: ToolSweep, nose: Rows, grow: float, pitch: float, outer: bool) -> Iterator[tuple[float, float, Any]]:
    """Direction along the normal: (height above which a body is met, ∞, discs that start there)."""
    discs: dict[float, list[tuple[Points, float]]] = defaultdict(list)
    for tips, radius, start in _rows(sweep, nose):
        heights = np.round(tips[:, 2] + start, 3)
        for height in np.unique(heights):
            discs[float(height)].append((tips[heights == height][:, :2], radius))
    for low, members in _merged_levels(sorted(discs), pitch, outer):
        found = [_stamped(xy, disc(r + grow, outer), r + grow) for h in members for xy, r in discs[h] if r + grow > 0]
        yield low - grow, FAR, shapely.union_all(found) if found else EMPTY


def _merged_levels(levels: list[float], pitch: float, outer: bool) -> list[tuple[float, list[float]]]:
    """Levels nearer than `pitch` together, under the lowest of them (`outer`) or the highest."""
    step = pitch
    while True:
        groups: list[list[float]] = []
        for level in levels:
            if groups and level - groups[-1][0] < step:
                groups[-1].append(level)
            else:
                groups.append([level])
        if len(groups) <= MOST_LEVELS:
            return [(g[0] if outer else g[-1], g) for g in groups]
        step *= 1.5


def _slabs(sweep: ToolSweep, nose: Rows, grow: float, top: float, outer: bool) -> Iterator[tuple[float, float, Any]]:
    """Any other direction: (from, to, what the columns cover) of height slabs over the side."""
    direction = np.asarray(sweep.direction, dtype=np.float64)
    direction = direction / np.linalg.norm(direction)
    columns: dict[tuple[float, float, float], list[Points]] = defaultdict(list)
    for tips, radius, start in _rows(sweep, nose):
        heights = np.round(tips[:, 2], 2 if outer else 3)
        for height in np.unique(heights):
            columns[(float(height), radius + grow, start - grow)].append(tips[heights == height][:, :2])
    flat = abs(direction[2]) < 1e-9
    merged = {key: np.concatenate(tips) for key, tips in columns.items()}
    fields = {key: _foremost(tips, direction) if flat else tips for key, tips in merged.items()}
    edges = _slab_edges(list(fields), top)
    for low, high in pairwise(edges):
        found = []
        for (height, radius, start), tips_xy in fields.items():
            if radius <= 0:
                continue
            shape = _column(direction, height, radius, start, low, high, outer)
            if shape is not None:
                found.append(_stamped(tips_xy, shape, 0.0))
        yield low, high, shapely.union_all(found) if found else EMPTY


def _slab_edges(columns: list[tuple[float, float, float]], top: float) -> list[float]:
    """Heights 0…top, cut where columns begin and end and at least every twelfth of the height."""
    marks = {0.0, top}
    for height, radius, _ in columns:
        marks.update(z for z in (height - radius, height, height + radius) if 0 < z < top)
    marks.update(np.linspace(0.0, top, 13).tolist())
    edges: list[float] = []
    for z in sorted(marks):
        if not edges or z - edges[-1] > top / 40.0 or z == top:
            edges.append(z)
    return edges


def _column(
    d: Points, height: float, radius: float, start: float, low: float, high: float, outer: bool
) -> Points | None:
    """(k, 2) convex region that a column with its tip at (0, 0, height) covers within a slab.

    Outer: everything that it covers at any height of the slab. Inner: what it covers at every height of it.
    """
    side = np.array([d[1], -d[0], 0.0])
    side = side / np.linalg.norm(side)
    ring = disc(radius, outer, 32)
    base = ring[:, :1] * side + ring[:, 1:] * np.cross(d, side) + d * start + np.array([0.0, 0.0, height])
    far = base + d * FAR
    a = np.concatenate([base, far, base])
    b = np.concatenate([np.roll(base, -1, axis=0), np.roll(far, -1, axis=0), far])
    if outer:
        inside = np.concatenate([base, far])
        inside = inside[(inside[:, 2] >= low) & (inside[:, 2] <= high)]
        points = np.concatenate([inside[:, :2], _crossings(a, b, low), _crossings(a, b, high)])
        return _hull(points)
    floor, ceiling = _hull(_crossings(a, b, low)), _hull(_crossings(a, b, high))
    if floor is None or ceiling is None:
        return None
    shared = shapely.intersection(shapely.Polygon(floor), shapely.Polygon(ceiling))
    return _hull(shapely.get_coordinates(shared)) if shared.area > 0 else None


def _crossings(a: Points, b: Points, z: float) -> Points:
    lower, upper = a[:, 2] - z, b[:, 2] - z
    hit = lower * upper < 0
    part = (lower[hit] / (lower[hit] - upper[hit]))[:, None]
    level = a[:, :2][np.abs(lower) < 1e-12]
    return np.concatenate([a[hit, :2] + part * (b[hit, :2] - a[hit, :2]), level])


def _hull(points: Points) -> Points | None:
    if len(points) < 3:
        return None
    hull = shapely.convex_hull(shapely.multipoints(points))
    return np.asarray(shapely.get_coordinates(hull)[:-1]) if hull.geom_type == "Polygon" else None


def _stamped(tips: Points, shape: Points, radius: float) -> Any:
    """The union of the convex `shape` put at every tip; `radius` > 0 says that it is a disc.

    A dense field of discs is covered by its rim's discs and the filled inside.
    """
    fill = radius > 0 and len(tips) > MOST_TIPS
    if fill:
        tips = _rim(tips, radius)
    union = shapely.union_all(shapely.polygons(tips[:, None, :] + shape[None, :, :]))
    return filled(union) if fill else union


def _rim(tips: Points, radius: float) -> Points:
    """Tips without those whose 5 × 5 neighbour cells, a sixth of the radius wide, all hold tips as well.

    Towards any point on such a tip's disc another tip stands within 56° and 0.6 radii, and its disc covers the
    point; so no dropped tip bounds the union.
    """
    cell = np.floor(tips / max(radius / 6.0, 1e-3)).astype(np.int64)
    cell -= cell.min(axis=0) - 2
    full = np.zeros(cell.max(axis=0) + 3, dtype=bool)
    full[cell[:, 0], cell[:, 1]] = True
    inner = np.ones_like(full)
    for i in range(-2, 3):
        for j in range(-2, 3):
            inner &= np.roll(full, (i, j), axis=(0, 1))
    return np.asarray(tips[~inner[cell[:, 0], cell[:, 1]]])


def _foremost(tips: Points, direction: Points) -> Points:
    """Of tips on one line along a direction in the side's plane, the one that reaches back furthest."""
    along, across = tips @ direction[:2], np.round(tips @ np.array([-direction[1], direction[0]]), 4)
    order = np.lexsort((along, across))
    first = np.concatenate([[True], np.diff(across[order]) > 0])
    return np.asarray(tips[order][first])
