"""Plane sets for the layout: discs, convex pieces, Minkowski sums, and simplification with a known side."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

EMPTY = shapely.Polygon()
NEARLY_CONVEX = 1e-4  # share of its hull's area that a polygon may lack and still count as convex


def disc(radius: float, outer: bool, sides: int = 48) -> NDArray[np.float64]:
    """(sides, 2) corners of a regular polygon about the disc (`outer`) or inside it."""
    grow = radius / np.cos(np.pi / sides) if outer else radius
    angle = 2.0 * np.pi * np.arange(sides) / sides
    return np.column_stack([grow * np.cos(angle), grow * np.sin(angle)])


def filled(shape: Any) -> Any:
    """`shape` without the holes of its polygons."""
    parts = [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and p.area > 0.0]
    return shapely.union_all([shapely.Polygon(p.exterior) for p in parts]) if parts else EMPTY


def simplified(shape: Any, tolerance: float, outer: bool) -> Any:
    """`shape` with fewer corners, wholly covering it (`outer`) or wholly inside it, within 2·`tolerance`."""
    if shape.is_empty or len(shapely.get_coordinates(shape)) <= 12:
        return shape
    moved = shape.buffer(tolerance if outer else -tolerance, join_style="mitre")
    return moved.simplify(tolerance)


def convex_pieces(shape: Any) -> list[NDArray[np.float64]]:
    """Convex pieces (k, 2) that together cover `shape` exactly (nearly convex ones count as convex)."""
    pieces: list[NDArray[np.float64]] = []
    for part in shapely.get_parts(shape):
        if part.geom_type != "Polygon" or part.area <= 0.0:
            continue
        hull = part.convex_hull
        if hull.area - part.area <= NEARLY_CONVEX * hull.area:
            pieces.append(_ring(hull))
        else:
            pieces.extend(_merged(part))
    return pieces


def _ring(polygon: Any) -> NDArray[np.float64]:
    return np.asarray(shapely.get_coordinates(polygon.exterior)[:-1])


def _merged(polygon: Any) -> list[NDArray[np.float64]]:
    """Triangles of a constrained Delaunay triangulation, joined greedily while the union stays convex."""
    left = shapely.get_parts(shapely.constrained_delaunay_triangles(polygon))
    left = left[np.lexsort((shapely.bounds(left)[:, 1], shapely.bounds(left)[:, 0], -shapely.area(left)))]
    pieces: list[NDArray[np.float64]] = []
    while len(left):
        piece, left = left[0], left[1:]
        while len(left):
            near = np.flatnonzero(shapely.intersects(piece, left))
            joined = shapely.convex_hull(shapely.union(piece, left[near]))
            extra = shapely.area(joined) - piece.area - shapely.area(left[near])
            fits = np.flatnonzero(extra <= 1e-9 * np.maximum(1.0, shapely.area(joined)))
            if len(fits) == 0:
                break
            piece, left = joined[fits[0]], np.delete(left, near[fits[0]])
        pieces.append(_ring(piece))
    return pieces


def minkowski(a: list[NDArray[np.float64]], b: list[NDArray[np.float64]]) -> list[Any]:
    """Minkowski sums of every convex piece of `a` with every one of `b`, as shapely polygons."""
    if not a or not b:
        return []
    sums = [(p[:, None, :] + q[None, :, :]).reshape(-1, 2) for p in a for q in b]
    index = np.repeat(np.arange(len(sums)), [len(s) for s in sums])
    points = shapely.multipoints(np.concatenate(sums), indices=index)
    return list(shapely.convex_hull(points))


def turned(shape: Any, turn: int) -> Any:
    """`shape` turned by `turn` quarter turns about the origin, exactly."""
    cos, sin = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[turn % 4]
    if turn % 4 == 0:
        return shape
    return shapely.transform(
        shape, lambda xy: np.column_stack([cos * xy[:, 0] - sin * xy[:, 1], sin * xy[:, 0] + cos * xy[:, 1]])
    )


def mirrored(shape: Any) -> Any:
    """`shape` reflected through the origin."""
    return shapely.transform(shape, lambda xy: -xy)


def shifted(shape: Any, by: tuple[float, float] | NDArray[np.float64]) -> Any:
    """`shape` moved by (x, y) mm."""
    step = np.asarray(by, dtype=np.float64)
    return shapely.transform(shape, lambda xy: xy + step)


def room(area: Any, outline: Any) -> Any:
    """Where the origin of `outline` may stand so that the outline lies within `area` (the inner-fit polygon)."""
    hull = area.convex_hull
    corners = shapely.get_coordinates(outline.convex_hull)
    inside = shapely.intersection_all([shifted(hull, -c) for c in corners[:-1]])
    kept = hull.difference(area)
    if inside.is_empty or kept.area <= 1e-9:
        return inside
    banned = minkowski(convex_pieces(kept), [-p for p in convex_pieces(outline)])
    return inside.difference(shapely.union_all(banned))
