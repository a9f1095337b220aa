"""Bodies of clamps and locators as closed meshes, and the shape of the part between two heights."""

from __future__ import annotations

import manifold3d
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from palletwright.solid.bodies import from_manifold
from palletwright.solid.model import Floats, Mesh
from palletwright.solid.outline import polygons

NOTHING = shapely.MultiPolygon()


def prism(outline: BaseGeometry, low: float, high: float) -> Mesh:
    """The (multi)polygon of the station plane extruded from `low` to `high` (mm)."""
    rings: list[Floats] = []
    for piece in shapely.get_parts(outline):
        whole = shapely.geometry.polygon.orient(piece)
        rings.extend(np.array(r.coords)[:-1, :2] for r in (whole.exterior, *whole.interiors))
    section = manifold3d.CrossSection([np.ascontiguousarray(r) for r in rings])
    return from_manifold(manifold3d.Manifold.extrude(section, high - low).translate((0.0, 0.0, low)))


def disc(x: float, y: float, radius: float) -> BaseGeometry:
    """A circle as a 24-gon that lies outside the true circle (mm)."""
    return shapely.Point(x, y).buffer(radius / np.cos(np.pi / 24), quad_segs=6)


def outline_between(body: manifold3d.Manifold, low: float, high: float) -> BaseGeometry:
    """Outline on the station plane of what the body has between two heights (mm)."""
    cut = body.trim_by_plane((0.0, 0.0, -1.0), -high).trim_by_plane((0.0, 0.0, 1.0), low)
    return NOTHING if cut.is_empty() else polygons(cut.project())


def section(body: manifold3d.Manifold, height: float) -> BaseGeometry:
    """The body's cut at a height (mm)."""
    return polygons(body.slice(height))
