"""Plane faces of a mesh that an operation leaves alone, as polygons in their own planes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from palletwright.solid.model import Floats, Ints, Mesh

SAME_NORMAL = 1.0 - 1e-6  # cosine: 0.08°, beyond the noise of a mesh and below any draft angle in use
SAME_PLANE = 2e-3  # mm
LEVEL = 1e-5  # |normal·up| of a wall: a drafted wall is not one
LEAST_WIDTH = 2.0  # mm: a narrower wall takes neither a stop nor a nose
LEAST_AREA = 6.0  # mm²: smaller faces take neither a stop nor a nose
CURVED_ANGLE = 25.0  # degrees between neighbouring strips of a curved face; common practice for chord meshes, no source
CURVED_RATIO = 0.4  # strips of a curved face are alike in width; a flat face beside a fillet is far wider


@dataclass(frozen=True, eq=False)
class Patch:
    """One plane face: `area` (mm, in coordinates u, v) is what stays untouched, `finished` what is on the part.

    A point of the plane is `origin + a·u + b·v`; `normal` points out of the material. Walls have v = up.
    """

    id: int
    normal: Floats
    origin: Floats
    u: Floats
    v: Floats
    area: BaseGeometry
    whole: BaseGeometry
    finished: BaseGeometry

    def point(self, a: float, b: float) -> Floats:
        """(3,) mm: the plane's point at (a, b)."""
        return self.origin + a * self.u + b * self.v

    def raw_at(self, a: float, b: float) -> bool:
        """Whether the point is on the blank's own surface and not on the finished part."""
        return not bool(self._on_part.covers(shapely.Point(a, b)))

    def holds(self, shape: Any) -> Any:
        """Whether shapes (u, v) lie wholly on untouched metal."""
        return shapely.covers(self._roomy, shape)

    @cached_property
    def _on_part(self) -> BaseGeometry:
        return _prepared(self.finished.buffer(1e-3))

    @cached_property
    def bounds(self) -> tuple[float, float, float, float]:
        """mm: least u, least v, greatest u, greatest v of what stays untouched."""
        a, b, c, d = self.area.bounds
        return float(a), float(b), float(c), float(d)

    @cached_property
    def levels(self) -> dict[tuple[float, ...], float | None]:
        """Heights worked out once: see `draft.low_level`."""
        return {}

    @cached_property
    def _roomy(self) -> BaseGeometry:
        return _prepared(self.area.buffer(1e-6))


@dataclass(frozen=True, eq=False)
class Facets:
    """A mesh taken apart: (m, 3) unit normals, (m,) areas, (m,) offsets and (m, 3) corner indices."""

    mesh: Mesh
    normals: Floats
    areas: Floats
    offsets: Floats


def _prepared(shape: BaseGeometry) -> BaseGeometry:
    shapely.prepare(shape)
    return shape


def facets(mesh: Mesh) -> Facets:
    """Normals, areas and plane offsets of all triangles (mm)."""
    corners = mesh.corners
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(cross, axis=1)
    normals = cross / np.maximum(length, 1e-12)[:, None]
    offsets = np.einsum("ij,ij->i", normals, corners.mean(axis=1))
    return Facets(mesh, normals, length / 2.0, offsets)


def planes(parts: Facets, kind: str, most: int = 24) -> list[tuple[Floats, float]]:
    """(unit normal, offset) of the plane faces of a kind: 'wall' (normal level), 'top' (+z) or 'base' (-z).

    Strips of a curved face are left out. At most `most`, largest first.
    """
    z = parts.normals[:, 2]
    chosen = {"wall": np.abs(z) < LEVEL, "top": z > SAME_NORMAL, "base": z < -SAME_NORMAL}[kind]
    index = np.flatnonzero(chosen & (parts.areas > 1e-9))
    if not len(index):
        return []
    keys = np.column_stack([np.round(parts.normals[index] * 1000.0), np.round(parts.offsets[index] * 100.0)])
    _, inverse = np.unique(keys, axis=0, return_inverse=True)
    inverse = inverse.reshape(-1)
    sums = np.bincount(inverse, weights=parts.areas[index])
    result: list[tuple[Floats, float]] = []
    for group in np.argsort(-sums, kind="stable"):
        if sums[group] < LEAST_AREA / 2:
            break
        members = index[inverse == group]
        best = members[np.argmax(parts.areas[members])]
        normal, offset = parts.normals[best], float(parts.offsets[best])
        if any(float(n @ normal) > SAME_NORMAL and abs(d - offset) < SAME_PLANE for n, d in result):
            continue
        if kind == "wall" and _width(parts, members, normal) < LEAST_WIDTH:
            continue
        if _curved(parts, normal, offset):
            continue
        result.append((normal, offset))
        if len(result) == most:
            break
    return result


def _on_plane(parts: Facets, normal: Floats, offset: float) -> Ints:
    near = np.flatnonzero((parts.normals @ normal > SAME_NORMAL) & (np.abs(parts.offsets - offset) < SAME_PLANE))
    return np.asarray(near, dtype=np.int32)


def _curved(parts: Facets, normal: Floats, offset: float) -> bool:
    """Whether the plane is one strip of a curved face: a neighbour alike in width turns by a small angle."""
    members = _on_plane(parts, normal, offset)
    triangles = parts.mesh.triangles
    inside = np.zeros(len(triangles), dtype=bool)
    inside[members] = True
    touching = np.isin(triangles, np.unique(triangles[members])).sum(axis=1) >= 2
    beside = touching & ~inside & (parts.normals @ normal > np.cos(np.radians(CURVED_ANGLE)))
    if not beside.any():
        return False
    own = _width(parts, members, normal)
    for k in np.flatnonzero(beside):
        other = _on_plane(parts, parts.normals[k], float(parts.offsets[k]))
        if _width(parts, other, parts.normals[k]) > CURVED_RATIO * own:
            return True
    return False


def _width(parts: Facets, members: Ints, normal: Floats) -> float:
    """mm of a wall along its level tangent; for other faces their area, mm², which compares strips as well."""
    if abs(normal[2]) > 0.5:
        return float(parts.areas[members].sum())
    points = parts.mesh.corners[members].reshape(-1, 3)
    along = points @ np.array([-normal[1], normal[0], 0.0])
    return float(np.ptp(along))


def polygon(parts: Facets, normal: Floats, offset: float, u: Floats, v: Floats) -> BaseGeometry:
    """The mesh's own area in a plane, in the coordinates (u, v), mm."""
    members = _on_plane(parts, normal, offset)
    if not len(members):
        return shapely.Polygon()
    corners = parts.mesh.corners[members]
    flat = np.stack([corners @ u, corners @ v], axis=-1)
    rings = np.concatenate([flat, flat[:, :1]], axis=1)
    pieces: Any = shapely.polygons(np.round(rings, 9))
    sizes = shapely.area(pieces)
    pieces = pieces[sizes > 1e-9]
    return _joined(pieces, float(sizes.sum()))


def _joined(pieces: Any, size: float) -> BaseGeometry:
    """Triangles that meet along whole edges as one area; by exact union where they turn out not to."""
    try:
        with np.errstate(invalid="ignore"):
            shape = shapely.coverage_union_all(pieces)
    except shapely.errors.GEOSException:
        shape = shapely.Polygon()
    if shapely.is_valid(shape) and abs(float(shape.area) - size) <= 1e-6 * max(1.0, size):
        return shapely.union_all([shape], grid_size=1e-6)
    return shapely.make_valid(shapely.union_all(pieces, grid_size=1e-6))


def patches(before: Facets, after: Facets, part: Facets, kind: str) -> tuple[Patch, ...]:
    """The plane faces of `before` with what of them is still there in `after` (mm, operation frame, z up)."""
    result: list[Patch] = []
    for normal, offset in planes(before, kind):
        if kind == "wall":
            level = np.array([normal[0], normal[1], 0.0]) / np.hypot(normal[0], normal[1])
            u, v = np.array([-level[1], level[0], 0.0]), np.array([0.0, 0.0, 1.0])
            normal = level
            offset = float(before.mesh.corners[_on_plane(before, level, offset)].reshape(-1, 3).mean(axis=0) @ level)
        else:
            u, v = np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])
        whole = polygon(before, normal, offset, u, v)
        area = _areas_only(shapely.intersection(whole, polygon(after, normal, offset, u, v), grid_size=1e-6))
        finished = polygon(part, normal, offset, u, v)
        result.append(Patch(len(result), normal, normal * offset, u, v, area, whole, finished))
    return tuple(result)


def _areas_only(shape: BaseGeometry) -> BaseGeometry:
    pieces: Sequence[BaseGeometry] = [g for g in shapely.get_parts(shape) if g.geom_type == "Polygon" and g.area > 1e-3]
    return shapely.union_all(list(pieces)) if pieces else shapely.Polygon()
