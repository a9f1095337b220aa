"""Plane sets for the layout: discs, convex pieces, Minkowski sums, and simplification with a known side."""

from __future__ import annotations

from typing import Any

import numba
import numpy as np
import shapely
from numpy.typing import NDArray

EMPTY = shapely.Polygon()
NEARLY_CONVEX = 1e-4  # share of its hull's area that a polygon may lack and still count as convex


def joined(shapes: Any) -> Any:
    """The union of shapes; on a grid of 1e-6 mm where the exact one fails on nearly equal edges."""
    try:
        return shapely.union_all(shapes)
    except shapely.errors.GEOSException:
        return shapely.union_all(shapely.make_valid(shapes), grid_size=1e-6)


def disc(radius: float, outer: bool, sides: int = 48) -> NDArray[np.float64]:
    """(sides, 2) corners of a regular polygon about the disc (`outer`) or inside it, both as wide along the axes."""
    grow = radius / np.cos(np.pi / sides) if outer else radius
    angle = 2.0 * np.pi * (np.arange(sides) + (0.5 if outer else 0.0)) / sides
    return np.column_stack([grow * np.cos(angle), grow * np.sin(angle)])


def filled(shape: Any) -> Any:
    """`shape` without the holes of its polygons."""
    parts = [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and p.area > 0.0]
    return joined([shapely.Polygon(p.exterior) for p in parts]) if parts else EMPTY


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
    """Triangles joined across every diagonal that no corner needs, the longest first (Hertel & Mehlhorn 1983).

    At most four times as many pieces as the fewest possible.
    """
    corners: dict[tuple[float, float], int] = {}
    faces: dict[int, list[int]] = {}
    for k, triangle in enumerate(shapely.get_parts(shapely.constrained_delaunay_triangles(polygon))):
        ring = shapely.get_coordinates(shapely.orient_polygons(triangle))[:-1].tolist()
        faces[k] = [corners.setdefault((x, y), len(corners)) for x, y in ring]
    points = list(corners)
    owner = {edge: k for k, face in faces.items() for edge in _edges(face)}

    def length(edge: tuple[int, int]) -> float:
        (ax, ay), (bx, by) = points[edge[0]], points[edge[1]]
        return (ax - bx) ** 2 + (ay - by) ** 2

    inner = [e for e in owner if e[0] < e[1] and e[::-1] in owner]
    for edge in sorted(inner, key=lambda e: (-length(e), e)):
        first, second = owner[edge], owner[edge[::-1]]
        if first == second:
            continue
        joined = _joined(faces[first], faces[second], edge, points)
        if joined is not None:
            faces[first] = joined
            for e in _edges(faces.pop(second)):
                owner[e] = first
    return [np.array([points[k] for k in face]) for face in faces.values()]


def _edges(face: list[int]) -> list[tuple[int, int]]:
    return list(zip(face, [*face[1:], face[0]], strict=True))


def _joined(first: list[int], second: list[int], edge: tuple[int, int], points: list[Any]) -> list[int] | None:
    """Two faces as one without the edge between them, if it stays convex at the edge's ends."""
    a, b = edge
    i, j = first.index(b), second.index(a)
    ring = [*first[i:], *first[:i]]  # b … a
    other = [*second[j:], *second[:j]]  # a … b
    if _turns_right(ring[-2], a, other[1], points) or _turns_right(other[-2], b, ring[1], points):
        return None
    return [*ring, *other[1:-1]]


def _turns_right(a: int, b: int, c: int, points: list[Any]) -> bool:
    (ax, ay), (bx, by), (cx, cy) = points[a], points[b], points[c]
    return bool((bx - ax) * (cy - by) - (by - ay) * (cx - bx) < -1e-9)


def minkowski(a: list[NDArray[np.float64]], b: list[NDArray[np.float64]]) -> list[Any]:
    """Minkowski sums of every convex piece of `a` with every one of `b`, as shapely polygons."""
    if not a or not b:
        return []
    sizes = [np.array([len(p) for p in pieces]) for pieces in (a, b)]
    points, ring = _sums(np.concatenate(a), sizes[0], np.concatenate(b), sizes[1])
    return list(shapely.polygons(shapely.linearrings(points, indices=ring)))


@numba.njit(cache=True)
def _sums(a, sizes_a, b, sizes_b):  # type: ignore[no-untyped-def]
    """Closed rings of the sums of convex rings (either way round), by merging their edges in order of direction."""
    total = 0
    for m in sizes_a:
        for n in sizes_b:
            total += m + n + 1
    points = np.empty((total, 2))
    ring = np.empty(total, dtype=np.int64)
    size = k = at_a = 0
    for m in sizes_a:
        p = _from_lowest(a[at_a : at_a + m])
        at_a += m
        at_b = 0
        for n in sizes_b:
            q = _from_lowest(b[at_b : at_b + n])
            at_b += n
            first = size
            i = j = 0
            while i < m or j < n:
                points[size] = p[i] + q[j]
                ring[size] = k
                size += 1
                if j == n:
                    i += 1
                elif i == m:
                    j += 1
                else:
                    e, f = p[i + 1] - p[i], q[j + 1] - q[j]
                    turn = e[0] * f[1] - e[1] * f[0]
                    if turn >= 0:
                        i += 1
                    if turn <= 0:
                        j += 1
            points[size] = points[first]
            ring[size] = k
            size += 1
            k += 1
    return points[:size], ring[:size]


@numba.njit(cache=True)
def _from_lowest(ring):  # type: ignore[no-untyped-def]
    """A convex ring counter-clockwise from its lowest corner (of equal ones the leftmost), closed."""
    n = len(ring)
    area = 0.0
    low = 0
    for k in range(n):
        area += ring[k - 1, 0] * ring[k, 1] - ring[k - 1, 1] * ring[k, 0]
        if ring[k, 1] < ring[low, 1] or (ring[k, 1] == ring[low, 1] and ring[k, 0] < ring[low, 0]):
            low = k
    step = 1 if area >= 0 else -1
    out = np.empty((n + 1, 2))
    for k in range(n + 1):
        out[k] = ring[(low + step * k) % n]
    return out


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
    return inside.difference(joined(banned))
