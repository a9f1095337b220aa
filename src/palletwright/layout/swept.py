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

from palletwright.layout.discs import covered_by, thinned, united
from palletwright.layout.model import Module, ToolSweep
from palletwright.layout.polygons import EMPTY, convex_pieces, disc, joined, minkowski, simplified
from palletwright.layout.silhouette import Profile, profile
from palletwright.layout.strips import FAR, above, body_edge, lower_edge, strip_edge, summed

SIMPLIFY = 0.002  # mm, moved to the safe side
STEEP = 0.9999  # cosine from the side's normal above which a direction counts as the normal itself
MOST_LEVELS = 24
FLAT = 1e-9  # cosine from the side's normal below which a direction lies in its plane
NO_EDGE = np.zeros((0, 4))
Points = NDArray[np.float64]
Rows = tuple[tuple[float, float, float], ...]


def swept_shifts(
    sweep: ToolSweep, bodies: Module, turns: Iterable[int], clearance: float, nose: Rows, pitch: float, outer: bool
) -> dict[int, Any]:
    """For every relative turn of `bodies`, the shifts (mm, frame of the sweep) at which a tool meets a body."""
    shapes = [profile(mesh) for _, mesh in bodies.bodies]
    chord = max((mesh.chord_error for _, mesh in bodies.bodies), default=0.0)
    grow = clearance + (chord if outer else -chord)
    top = max((s.high for s in shapes), default=0.0)
    direction = np.asarray(sweep.direction, dtype=np.float64)
    direction = direction / np.linalg.norm(direction)
    if abs(direction[2]) < FLAT:
        return _along(direction, sweep, shapes, tuple(turns), nose, grow, top, outer)
    upright = direction[2] > STEEP
    slabs = _above(sweep, nose, grow, top, pitch, outer) if upright else _slabs(sweep, nose, grow, top, outer)
    sets: dict[int, list[Any]] = {turn: [] for turn in turns}
    for low, high, swept in slabs:
        standing = _standing(shapes, low, high, outer) if low < top and not swept.is_empty else EMPTY
        if standing.is_empty:
            continue
        moving = convex_pieces(simplified(swept, SIMPLIFY, outer))
        still = convex_pieces(simplified(standing, SIMPLIFY, outer))
        for turn in sets:
            mirror = [-_turned_points(p, turn) for p in still]
            sets[turn].extend(minkowski(moving, mirror))
    return {turn: joined(found) if found else EMPTY for turn, found in sets.items()}


def _standing(shapes: list[Profile], low: float, high: float, outer: bool) -> Any:
    return joined([s.slab(low, high, not outer) for s in shapes if outer or s.closed])


def _along(
    direction: Points,
    sweep: ToolSweep,
    shapes: list[Profile],
    turns: tuple[int, ...],
    nose: Rows,
    grow: float,
    top: float,
    outer: bool,
) -> dict[int, Any]:
    """Shifts for a direction in the side's plane: what is swept is a strip without end in every slab of height.

    Outer: the widest that a column is in a slab; inner: the narrowest.
    """
    frame = np.array([[direction[1], -direction[0]], [direction[0], direction[1]]])  # rows: across, along
    rows = [(tips, radius + grow, start - grow) for tips, radius, start in _rows(sweep, nose) if radius + grow > 0]
    edges: dict[int, list[Points]] = {turn: [] for turn in turns}
    marks = [(float(z), radius) for tips, radius, _ in rows for z in np.unique(np.round(tips[:, 2], 2))]
    for low, high in pairwise(_slab_edges(marks, top)):
        standing = _standing(shapes, low, high, outer)
        steps = _strips(rows, frame, low, high, outer) if not standing.is_empty else NO_EDGE
        for turn in turns if len(steps) else ():
            mirror = shapely.transform(standing, lambda xy, t=turn: -_turned_points(xy, t) @ frame.T)
            edges[turn].append(summed(steps, body_edge(mirror)))
    return {
        turn: shapely.transform(above(lower_edge(np.concatenate([NO_EDGE, *found]))), lambda xy: xy @ frame)
        for turn, found in edges.items()
    }


def _strips(rows: list[tuple[Points, float, float]], frame: Points, low: float, high: float, outer: bool) -> Points:
    found = [NO_EDGE]
    for tips, radius, start in rows:
        z = tips[:, 2]
        off = np.maximum(low - z, z - high).clip(min=0.0) if outer else np.maximum(abs(low - z), abs(high - z))
        half = np.sqrt(np.maximum(radius * radius - off * off, 0.0))
        place = tips[half > 0][:, :2] @ frame.T
        found.append(strip_edge(place[:, 0], place[:, 1] + start, half[half > 0]))
    return lower_edge(np.concatenate(found))


def outline_shifts(a: Module, b: Module, turns: Iterable[int], gap: float, outer: bool) -> dict[int, Any]:
    """For every relative turn of `b`, the shifts at which the outlines stand nearer than `gap` mm."""
    grown = _grown(a.outline, gap, outer)
    moving = convex_pieces(simplified(grown, SIMPLIFY, outer))
    other = convex_pieces(b.outline)
    return {t: joined(minkowski(moving, [-_turned_points(p, t) for p in other])) for t in turns}


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


def _above(
    sweep: ToolSweep, nose: Rows, grow: float, top: float, pitch: float, outer: bool
) -> Iterator[tuple[float, float, Any]]:
    """Direction along the normal: (height above which a body is met, ∞, discs that start there).

    Discs within what starts lower, and what starts above all bodies, are left out.
    """
    rows = []
    for tips, radius, start in _rows(_thinned(sweep, grow), nose):
        low_enough = tips[tips[:, 2] + start < top + grow]
        if radius + grow > 0 and len(low_enough):
            rows.append((low_enough, radius + grow, low_enough[:, 2] + start))
    if not rows:
        return
    centres = np.concatenate([tips[:, :2] for tips, _, _ in rows])
    radii = np.concatenate([np.full(len(tips), radius) for tips, radius, _ in rows])
    thousandths = np.concatenate([z for _, _, z in rows]) * 1000.0
    heights = (np.floor(thousandths) if outer else np.ceil(thousandths)) / 1000.0
    lows, level = _merged_levels(heights, pitch, outer)
    lower = EMPTY
    for k, low in enumerate(lows):
        here = np.flatnonzero(level == k)
        here = here[thinned(centres[here], radii[here])]
        here = here[~covered_by(lower, centres[here], radii[here], outer)]
        if len(here):
            found = united(centres[here], radii[here], outer)
            lower = shapely.union(lower, found)
            yield low - grow, FAR, found


def _thinned(sweep: ToolSweep, grow: float) -> ToolSweep:
    """The same sweep without tips that others of the same move and height make needless for every row of it."""
    moves = []
    for tips, stack, number, entry in sweep.moves:
        points = np.unique(np.asarray(tips, dtype=np.float64).reshape(-1, 3), axis=0)
        least = min(row[0] for row in stack) + grow
        groups = [points[points[:, 2] == z] for z in np.unique(points[:, 2])]
        points = np.concatenate([g[thinned(g[:, :2], np.full(len(g), least))] for g in groups])
        moves.append((points, stack, number, entry))
    return ToolSweep(sweep.direction, tuple(moves))


def _merged_levels(heights: Points, pitch: float, outer: bool) -> tuple[list[float], NDArray[np.int64]]:
    """Levels nearer than `pitch` together, as the lowest of them (`outer`) or the highest; each height's level."""
    distinct = np.unique(heights)
    step = pitch
    while True:
        first: list[int] = []
        for k, height in enumerate(distinct):
            if not first or height - distinct[first[-1]] >= step:
                first.append(k)
        if len(first) <= MOST_LEVELS:
            break
        step *= 1.5
    level = np.searchsorted(distinct[first], heights, side="right") - 1
    last = [*(k - 1 for k in first[1:]), len(distinct) - 1]
    return distinct[first if outer else last].tolist(), level


def _slabs(sweep: ToolSweep, nose: Rows, grow: float, top: float, outer: bool) -> Iterator[tuple[float, float, Any]]:
    """A direction askew: (from, to, what the columns cover) of height slabs over the side."""
    direction = np.asarray(sweep.direction, dtype=np.float64)
    direction = direction / np.linalg.norm(direction)
    columns: dict[tuple[float, float, float], list[Points]] = defaultdict(list)
    for tips, radius, start in _rows(sweep, nose):
        heights = np.round(tips[:, 2], 2 if outer else 3)
        for height in np.unique(heights):
            columns[(float(height), radius + grow, start - grow)].append(tips[heights == height][:, :2])
    fields = {key: np.unique(np.concatenate(tips), axis=0) for key, tips in columns.items()}
    edges = _slab_edges([(height, radius) for height, radius, _ in fields], top)
    for low, high in pairwise(edges):
        found = []
        for (height, radius, start), tips_xy in fields.items():
            if radius <= 0:
                continue
            shape = _column(direction, height, radius, start, low, high, outer)
            if shape is not None:
                found.append(_stamped(tips_xy, shape))
        yield low, high, joined(found) if found else EMPTY


def _slab_edges(columns: Iterable[tuple[float, float]], top: float) -> list[float]:
    """Heights 0…top, cut where columns begin and end and at least every twelfth of the height."""
    marks = {0.0, top}
    for height, radius in columns:
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


def _stamped(tips: Points, shape: Points) -> Any:
    """The union of the convex `shape` put at every tip."""
    return joined(shapely.polygons(tips[:, None, :] + shape[None, :, :]))
