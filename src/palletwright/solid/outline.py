"""Exact outlines of closed meshes: seen along a direction, and cut by a plane."""

from __future__ import annotations

import manifold3d
import numpy as np
import shapely
from numpy.typing import ArrayLike

from palletwright.solid.bodies import frame_along, manifold
from palletwright.solid.model import Floats, Mesh


def footprint(mesh: Mesh, direction: ArrayLike, frame: Floats | None = None) -> shapely.MultiPolygon:
    """The shadow of `mesh` seen along `direction`, mm.

    Its x and y are the first two columns of `frame` ((3, 3), third column along `direction`), by default of
    `bodies.frame_along(direction)`. Holes that pass right through are holes. Exact for the mesh.
    """
    body = manifold(mesh).transform(view(frame_along(direction) if frame is None else frame))
    return polygons(body.project())


def section(mesh: Mesh, point: ArrayLike, normal: ArrayLike, frame: Floats | None = None) -> shapely.MultiPolygon:
    """The cut of `mesh` by the plane through `point` square to `normal`, mm; axes as in `footprint`."""
    axes = frame_along(normal) if frame is None else frame
    height = float(np.asarray(point, np.float64) @ axes[:, 2])
    return polygons(manifold(mesh).transform(view(axes)).slice(height))


def view(frame: Floats) -> Floats:
    """(3, 4) transform of the file's frame into `frame`."""
    return np.column_stack([np.ascontiguousarray(frame.T), np.zeros(3)])


def polygons(cross: manifold3d.CrossSection) -> shapely.MultiPolygon:
    """A cross-section's parts with their holes; empty where there is none."""
    parts = []
    for part in [] if cross.is_empty() else cross.decompose():
        rings = sorted((np.asarray(r) for r in part.to_polygons()), key=lambda r: -abs(shapely.Polygon(r).area))
        parts.append(shapely.Polygon(rings[0], rings[1:]))
    return shapely.MultiPolygon(parts)
