"""Tools that work along the side: what they sweep is a strip without end, so a lower edge describes it.

In the frame (s across the direction, t along it) the columns of a slab of height cover {t ≥ f(s)}, f a step
function. Their Minkowski sum with the mirrored body is {t ≥ g(s)}, g(s) = min over u of f(s − u) + h(u), h the
body's lower edge: exact, with no plane sets to unite. An edge is an (n, 4) array of segments s0, t0, s1, t1,
s0 < s1, ascending and disjoint; where it has none, nothing is swept.
"""

from __future__ import annotations

from typing import Any

import numba
import numpy as np
import shapely
from numpy.typing import NDArray

from palletwright.layout.polygons import EMPTY, joined

FAR = 4000.0  # mm, longer than any carrier: stands for "at any distance"
NARROW = 1e-9  # mm, segments shorter across are dropped
Points = NDArray[np.float64]


def strip_edge(across: Points, along: Points, half: Points) -> Points:
    """Lower edge of strips of half-width `half` about `across` that begin at `along` (mm, one each a tip)."""
    return lower_edge(np.column_stack([across - half, along, across + half, along]))


def body_edge(shape: Any) -> Points:
    """Lower edge of a plane set given in (s, t)."""
    found = [np.zeros((0, 4))]
    for part in shapely.get_parts(shape):
        if part.geom_type == "Polygon" and part.area > 0:
            ring = shapely.get_coordinates(part.exterior)
            found.append(np.column_stack([ring[:-1], ring[1:]]))
    segments = np.concatenate(found)
    back = segments[:, 0] > segments[:, 2]
    segments[back] = segments[back][:, [2, 3, 0, 1]]
    return lower_edge(segments)


def summed(steps: Points, edge: Points) -> Points:
    """Lower edge of the sum of the strips with lower edge `steps` (level segments) and a body with `edge`."""
    if len(steps) == 0 or len(edge) == 0:
        return np.zeros((0, 4))
    return lower_edge(_sums(np.ascontiguousarray(steps), np.ascontiguousarray(edge)))


def lower_edge(segments: Points) -> Points:
    """The least t of all `segments` (n, 4) over every s, as segments."""
    kept = segments[segments[:, 2] - segments[:, 0] > NARROW]
    return np.asarray(_lowest(np.ascontiguousarray(kept[np.argsort(kept[:, 0], kind="stable")])))


def above(edge: Points) -> Any:
    """The plane set on and above a lower edge, in (s, t), as far as `FAR`."""
    if len(edge) == 0:
        return EMPTY
    top = float(edge[:, [1, 3]].max()) + FAR
    shapes = []
    for run in np.split(edge, np.flatnonzero(edge[1:, 0] - edge[:-1, 2] > 1e-7) + 1):
        points = run.reshape(-1, 2)
        ring = np.concatenate([points, [[points[-1, 0], top], [points[0, 0], top]]])
        different = np.abs(np.diff(ring, axis=0, prepend=ring[-1:])).max(axis=1) > 1e-9
        shapes.append(shapely.Polygon(ring[different]))
    return joined(shapes) if len(shapes) > 1 else shapes[0]


@numba.njit(cache=True)
def _sums(steps, edge):  # type: ignore[no-untyped-def]
    """Two segments for every step and segment of the body's edge: the sliding part and the level part."""
    out = np.empty((2 * len(steps) * len(edge), 4))
    n = 0
    for i in range(len(steps)):
        a, level, b = steps[i, 0], steps[i, 1], steps[i, 2]
        for j in range(len(edge)):
            s0, t0, s1, t1 = edge[j, 0], edge[j, 1] + level, edge[j, 2], edge[j, 3] + level
            if t1 < t0:
                out[n, 0], out[n, 1], out[n, 2], out[n, 3] = s0 + a, t0, s1 + a, t1
                out[n + 1, 0], out[n + 1, 1], out[n + 1, 2], out[n + 1, 3] = s1 + a, t1, s1 + b, t1
            else:
                out[n, 0], out[n, 1], out[n, 2], out[n, 3] = s0 + a, t0, s0 + b, t0
                out[n + 1, 0], out[n + 1, 1], out[n + 1, 2], out[n + 1, 3] = s0 + b, t0, s1 + b, t1
            n += 2
    return out


@numba.njit(cache=True)
def _lowest(segments):  # type: ignore[no-untyped-def]
    """Merge edges two by two until one is left; `segments` sorted by s0."""
    n = len(segments)
    if n == 0:
        return segments
    start = np.arange(n + 1)
    edges = segments
    while len(start) > 2:
        out = np.empty((4 * len(edges) + 8, 4))
        begin = np.empty(len(start) // 2 + 1, dtype=np.int64)
        size = 0
        for k in range(0, len(start) - 1, 2):
            begin[k // 2] = size
            middle = start[k + 1]
            last = start[k + 2] if k + 2 < len(start) else middle
            size = _merge(edges[start[k] : middle], edges[middle:last], out, size)
        begin[len(start) // 2] = size
        start, edges = begin, out[:size].copy()
    return edges


@numba.njit(cache=True)
def _merge(p, q, out, size):  # type: ignore[no-untyped-def]
    """Write the lower of two edges to `out` from `size` on; the new size."""
    first = size
    i = j = 0
    s = -np.inf
    while i < len(p) or j < len(q):
        while i < len(p) and p[i, 2] <= s + 1e-12:
            i += 1
        while j < len(q) and q[j, 2] <= s + 1e-12:
            j += 1
        at_p = i < len(p) and p[i, 0] <= s
        at_q = j < len(q) and q[j, 0] <= s
        until = np.inf
        if i < len(p):
            until = min(until, p[i, 2] if at_p else p[i, 0])
        if j < len(q):
            until = min(until, q[j, 2] if at_q else q[j, 0])
        if at_p and at_q:
            size = _lower(p[i], q[j], s, until, out, first, size)
        elif at_p:
            size = _put(s, _at(p[i], s), until, _at(p[i], until), out, first, size)
        elif at_q:
            size = _put(s, _at(q[j], s), until, _at(q[j], until), out, first, size)
        s = until
    return size


@numba.njit(cache=True)
def _at(segment, s):  # type: ignore[no-untyped-def]
    if s <= segment[0]:
        return segment[1]
    if s >= segment[2]:
        return segment[3]
    return segment[1] + (segment[3] - segment[1]) * (s - segment[0]) / (segment[2] - segment[0])


@numba.njit(cache=True)
def _lower(p, q, s, until, out, first, size):  # type: ignore[no-untyped-def]
    p0, p1, q0, q1 = _at(p, s), _at(p, until), _at(q, s), _at(q, until)
    d0, d1 = p0 - q0, p1 - q1
    if d0 <= 0 and d1 <= 0:
        return _put(s, p0, until, p1, out, first, size)
    if d0 >= 0 and d1 >= 0:
        return _put(s, q0, until, q1, out, first, size)
    cross = s + (until - s) * d0 / (d0 - d1)
    t = p0 + (p1 - p0) * d0 / (d0 - d1)
    if d0 < 0:
        size = _put(s, p0, cross, t, out, first, size)
        return _put(cross, t, until, q1, out, first, size)
    size = _put(s, q0, cross, t, out, first, size)
    return _put(cross, t, until, p1, out, first, size)


@numba.njit(cache=True)
def _put(s0, t0, s1, t1, out, first, size):  # type: ignore[no-untyped-def]
    """Append a segment, or lengthen the last one where they lie on one line."""
    if s1 - s0 <= 1e-12:
        return size
    if size > first:
        last = out[size - 1]
        if abs(last[2] - s0) < 1e-12 and abs(last[3] - t0) < 1e-10:
            here = (last[3] - last[1]) * (s1 - s0) - (t1 - t0) * (last[2] - last[0])
            if abs(here) < 1e-12:
                last[2], last[3] = s1, t1
                return size
    out[size, 0], out[size, 1], out[size, 2], out[size, 3] = s0, t0, s1, t1
    return size + 1
