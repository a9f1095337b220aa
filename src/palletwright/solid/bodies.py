"""Closed meshes: simple bodies, and what is left when one is cut from another. Closed in, closed out."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import manifold3d
import numpy as np
from numpy.typing import ArrayLike

from palletwright.solid.model import Floats, Mesh

SEGMENTS = 48  # facets of a full circle where none are asked for


def manifold(mesh: Mesh) -> manifold3d.Manifold:
    """The mesh as a body for boolean work. Raises ValueError where it isn't closed and outward."""
    body = manifold3d.Manifold(manifold3d.Mesh64(np.array(mesh.vertices, order="C"), mesh.triangles.astype(np.uint64)))
    if body.status() != manifold3d.Error.NoError:
        raise ValueError(f"the mesh isn't closed and outward: {body.status()}")
    return body


def from_manifold(body: manifold3d.Manifold, chord_error: float = 0.0) -> Mesh:
    """A body as a mesh; vertices that were split are joined again."""
    raw = body.to_mesh64()
    where = np.arange(len(raw.vert_properties), dtype=np.int32)
    where[np.asarray(raw.merge_from_vert, np.int64)] = np.asarray(raw.merge_to_vert, np.int64)
    used, triangles = np.unique(where[np.asarray(raw.tri_verts, np.int64)], return_inverse=True)
    points = np.array(raw.vert_properties[:, :3], np.float64)
    return Mesh(points[used], triangles.reshape(-1, 3).astype(np.int32), None, chord_error)


def error_of(meshes: Iterable[Mesh]) -> float:
    """The chord error of a shape made from these, mm: the greatest of theirs."""
    return max((m.chord_error for m in meshes), default=0.0)


def subtract(mesh: Mesh, *tools: Mesh) -> Mesh:
    """`mesh` without all `tools`; may be empty (no triangles)."""
    body = manifold3d.Manifold.batch_boolean([manifold(m) for m in (mesh, *tools)], manifold3d.OpType.Subtract)
    return from_manifold(body, error_of((mesh, *tools)))


def union(meshes: Sequence[Mesh]) -> Mesh:
    """All `meshes` as one."""
    body = manifold3d.Manifold.batch_boolean([manifold(m) for m in meshes], manifold3d.OpType.Add)
    return from_manifold(body, error_of(meshes))


def intersect(meshes: Sequence[Mesh]) -> Mesh:
    """What all `meshes` share; may be empty."""
    body = manifold3d.Manifold.batch_boolean([manifold(m) for m in meshes], manifold3d.OpType.Intersect)
    return from_manifold(body, error_of(meshes))


def pieces(mesh: Mesh) -> tuple[Mesh, ...]:
    """The separate lumps, greatest first."""
    lumps = [from_manifold(b, mesh.chord_error) for b in manifold(mesh).decompose()]
    return tuple(sorted(lumps, key=lambda m: (-round(m.volume, 6), *np.round(m.centroid, 6))))


def frame_along(axis: ArrayLike) -> Floats:
    """(3, 3) right-handed rotation whose third column is the unit of `axis`; the identity for +z.

    The first column is the file's x, y or z that is most square to `axis` (the earliest of equals), made square.
    """
    z = np.asarray(axis, np.float64)
    length = float(np.linalg.norm(z))
    if not length > 0:
        raise ValueError("an axis needs a length above zero")
    z = z / length
    near = int(np.argmin(np.abs(z)))
    x = np.eye(3)[near] - z[near] * z
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(z, x), z], axis=1)


def box(lo: ArrayLike, hi: ArrayLike) -> Mesh:
    """A block between two corners, mm."""
    low, high = np.asarray(lo, np.float64), np.asarray(hi, np.float64)
    if not (high > low).all():
        raise ValueError(f"a box needs lo < hi on all axes, not {low} and {high}")
    corners = np.array([[(high if k >> a & 1 else low)[a] for a in range(3)] for k in range(8)])
    sides = ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5))
    triangles = [t for a, b, c, d in sides for t in ((a, b, c), (a, c, d))]
    return Mesh(corners, np.array(triangles, np.int32))


def prism(outline: ArrayLike, base: ArrayLike, axis: ArrayLike, height: float) -> Mesh:
    """A convex or star-shaped outline (n, 2), counter-clockwise, raised along `axis` from `base`, mm.

    The outline's x and y are the first two columns of `frame_along(axis)`.
    """
    return lofted(np.asarray(outline, np.float64), np.asarray(outline, np.float64), base, axis, height)


def lofted(lower: Floats, upper: Floats, base: ArrayLike, axis: ArrayLike, height: float) -> Mesh:
    """Two outlines of as many points joined by flat facets and closed by fans about their middles."""
    if not height > 0:
        raise ValueError(f"a body needs a height above zero, not {height}")
    n, frame = len(lower), frame_along(axis)
    rings = [np.column_stack([p, np.full(n, z)]) for p, z in ((lower, 0.0), (upper, height))]
    middles = np.array([[*lower.mean(axis=0), 0.0], [*upper.mean(axis=0), height]])
    vertices = np.concatenate([*rings, middles]) @ frame.T + np.asarray(base, np.float64)
    i = np.arange(n)
    j = (i + 1) % n
    sides = np.concatenate([np.column_stack([i, j, n + j]), np.column_stack([i, n + j, n + i])])
    ends = np.concatenate(
        [np.column_stack([j, i, np.full(n, 2 * n)]), np.column_stack([n + i, n + j, i * 0 + 2 * n + 1])]
    )
    return Mesh(vertices, np.concatenate([sides, ends]).astype(np.int32))


def frustum(
    base: ArrayLike,
    axis: ArrayLike,
    radii: tuple[float, float],
    height: float,
    circumscribed: bool = True,
    segments: int = SEGMENTS,
) -> Mesh:
    """A cone cut off at both ends, mm: radius `radii[0]` at `base`, `radii[1]` at `height` along `axis`.

    Circumscribed: the facets lie outside the true surface, so that the mesh contains the body; else inside.
    """
    if min(radii) < 0 or max(radii) <= 0:
        raise ValueError(f"radii must be positive, not {radii}")
    if segments < 3:
        raise ValueError(f"a circle needs at least 3 segments, not {segments}")
    grow = 1.0 / math.cos(math.pi / segments) if circumscribed else 1.0
    turns = 2.0 * math.pi * (np.arange(segments) + 0.5) / segments
    ring = np.column_stack([np.cos(turns), np.sin(turns)]) * grow
    lower, upper = (ring * max(r, 1e-6 * max(radii)) for r in radii)
    mesh = lofted(lower, upper, base, axis, height)
    off = max(radii) * abs(grow - 1.0 if circumscribed else 1.0 - math.cos(math.pi / segments))
    return Mesh(mesh.vertices, mesh.triangles, None, off)


def cylinder(
    base: ArrayLike,
    axis: ArrayLike,
    radius: float,
    height: float,
    circumscribed: bool = True,
    segments: int = SEGMENTS,
) -> Mesh:
    """A cylinder from `base` along `axis`, mm; circumscribed by facets unless told otherwise."""
    return frustum(base, axis, (radius, radius), height, circumscribed, segments)


def cone(base: ArrayLike, axis: ArrayLike, radius: float, height: float, segments: int = SEGMENTS) -> Mesh:
    """A cone that ends in a point `height` along `axis`, circumscribed, mm."""
    return frustum(base, axis, (radius, 0.0), height, True, segments)
