"""In the kernel's child: what each face of a solid is, as plain numbers."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepGProp import BRepGProp
from OCP.BRepTools import BRepTools
from OCP.GeomAbs import GeomAbs_SurfaceType
from OCP.GeomAdaptor import GeomAdaptor_Surface
from OCP.GeomConvert import GeomConvert_SurfToAnaSurf
from OCP.GProp import GProp_GProps
from OCP.TopAbs import TopAbs_Orientation as Way
from OCP.TopoDS import TopoDS

from palletwright.solid.bodies import frame_along
from palletwright.solid.facets import swept
from palletwright.solid.model import Face, Floats, Mesh
from palletwright.solid.tessellate import edges_map, faces_map
from palletwright.verdict import Vec

FIT = 1e-3  # mm: a free-form surface this close to a plane or cylinder counts as one


def vec(values: Any) -> Vec:
    """Three numbers as a plain tuple."""
    x, y, z = (float(v) for v in values)
    return x, y, z


def faces_of(solid: Any, mesh: Mesh) -> tuple[Face, ...]:
    """All faces of a solid, in the kernel's order, which is that of `mesh.face_of`."""
    faces = faces_map(solid)
    beside = neighbours(solid, faces)
    assert mesh.face_of is not None
    found = []
    for k in range(faces.Extent()):
        face = TopoDS.Face(faces.FindKey(k + 1))
        corners = mesh.corners[mesh.face_of == k]
        found.append(replace(face_at(k, face, corners), neighbours=tuple(sorted(beside[k]))))
    return tuple(found)


def neighbours(solid: Any, faces: Any) -> list[set[int]]:
    """For each face the others that share an edge with it."""
    edges = edges_map(solid)
    beside: list[set[int]] = [set() for _ in range(faces.Extent())]
    for number in range(1, edges.Extent() + 1):
        around = {faces.FindIndex(face) - 1 for face in edges.FindFromIndex(number)}
        for k in around:
            beside[k] |= around - {k}
    return beside


def face_at(k: int, face: Any, corners: Floats) -> Face:
    """One face: its measure, and its surface's own numbers."""
    points = np.unique(corners.reshape(-1, 3), axis=0)
    properties = GProp_GProps()
    BRepGProp.SurfaceProperties_s(face, properties)
    low, high = (points.min(axis=0), points.max(axis=0)) if len(points) else (np.zeros(3), np.zeros(3))
    plain = Face(
        id=k,
        kind="other",
        area=float(properties.Mass()),
        centroid=vec(properties.CentreOfMass().Coord()),
        bounds=(vec(low), vec(high)),
    )
    adaptor = BRepAdaptor_Surface(face, True)
    reversed_ = face.Orientation() == Way.TopAbs_REVERSED
    named = described(plain, adaptor, reversed_, points, sweep_of(face))
    if named.kind == "other" and len(points):
        named = recognised(plain, face, corners)
    return named


def sweep_of(face: Any) -> float:
    """Angle that the face's first parameter covers, degrees, where that parameter is an angle."""
    u0, u1, _, _ = BRepTools.UVBounds_s(face)
    return min(math.degrees(u1 - u0), 360.0)


def described(plain: Face, surface: Any, turned: bool, points: Floats, sweep: float) -> Face:
    """`plain` with the numbers of its elementary surface; `turned`: the face looks against the surface's normal."""
    kinds = GeomAbs_SurfaceType
    kind = surface.GetType()
    if kind == kinds.GeomAbs_Plane:
        plane = surface.Plane()
        way = (1.0 if plane.Position().Direct() else -1.0) * (-1.0 if turned else 1.0)
        normal = np.array(plane.Axis().Direction().Coord()) * way
        return replace(plain, kind="plane", point=plain.centroid, axis=vec(normal))
    if kind == kinds.GeomAbs_Sphere:
        ball = surface.Sphere()
        hollow = ball.Position().Direct() == turned
        return replace(
            plain, kind="sphere", point=vec(ball.Location().Coord()), radius=ball.Radius(), sweep=sweep, hollow=hollow
        )
    if kind == kinds.GeomAbs_Torus:
        ring = surface.Torus()
        hollow = ring.Position().Direct() == turned
        at, axis = vec(ring.Location().Coord()), vec(ring.Axis().Direction().Coord())
        along = (points - at) @ np.array(axis)
        span = (float(along.min()), float(along.max())) if len(along) else (0.0, 0.0)
        ring_of = replace(plain, kind="torus", point=at, axis=axis, radius=ring.MajorRadius(), tube=ring.MinorRadius())
        return replace(ring_of, sweep=sweep, hollow=hollow, span=span)
    if kind in (kinds.GeomAbs_Cylinder, kinds.GeomAbs_Cone) and len(points):
        return turned_face(plain, surface, turned, points, sweep)
    return plain


def turned_face(plain: Face, surface: Any, turned: bool, points: Floats, sweep: float) -> Face:
    """A cylinder or cone: `point` where the face begins on its axis; a cone's radius grows along `axis`."""
    cone = surface.GetType() == GeomAbs_SurfaceType.GeomAbs_Cone
    body = surface.Cone() if cone else surface.Cylinder()
    origin, axis = np.array(body.Location().Coord()), np.array(body.Axis().Direction().Coord())
    along = (points - origin) @ axis
    slope, radius = (math.tan(body.SemiAngle()), body.RefRadius()) if cone else (0.0, body.Radius())
    hollow = body.Position().Direct() == turned
    middle = radius + slope * float(along.mean())
    if middle < 0:  # the face lies on the far side of the apex, where the kernel's radius and normal change sign
        radius, slope, hollow = -radius, -slope, not hollow
    if slope < 0:
        axis, along, slope = -axis, -along, -slope
    start = float(along.min())
    return replace(
        plain,
        kind="cone" if cone else "cylinder",
        point=vec(origin + start * axis),
        axis=vec(axis),
        radius=max(radius + slope * start, 0.0),
        half_angle=math.degrees(math.atan(slope)),
        span=(0.0, float(along.max()) - start),
        sweep=sweep,
        hollow=hollow,
    )


def recognised(plain: Face, face: Any, corners: Floats) -> Face:
    """A free-form face that is a plane, cylinder, cone, sphere or torus within `FIT`, told as that."""
    finder = GeomConvert_SurfToAnaSurf(BRep_Tool.Surface_s(face))
    exact = finder.ConvertToAnalytical(FIT, *BRepTools.UVBounds_s(face))
    if exact is None:
        return plain
    found = described(plain, GeomAdaptor_Surface(exact), False, corners.reshape(-1, 3), 0.0)
    return replace(facing(found, corners), free_form=True) if found.kind != "other" else plain


def facing(found: Face, corners: Floats) -> Face:
    """`found` with its side and sweep taken from the mesh: a recognised surface has a normal of its own."""
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    axis, from_point = np.array(found.axis), corners.mean(axis=1) - found.point
    if found.kind == "plane":
        return found if float(across.sum(axis=0) @ axis) > 0 else replace(found, axis=vec(-axis))
    if found.kind != "sphere":
        from_point = from_point - (from_point @ axis)[:, None] * axis
    if found.kind == "torus":
        ring = from_point / np.linalg.norm(from_point, axis=1, keepdims=True) * found.radius
        from_point = corners.mean(axis=1) - found.point - ring
    hollow = float(np.einsum("ij,ij->", across, from_point)) < 0
    return replace(found, hollow=hollow, sweep=swept((corners - found.point) @ frame_along(axis)[:, :2]))
