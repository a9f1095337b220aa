"""Closed meshes as boolean operands: triangles keep the number of the part's face that they lie on."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TypeAlias

import manifold3d as m3
import numpy as np

from palletwright.errors import Fault, InputError
from palletwright.solid.model import Floats, Mesh

Body: TypeAlias = m3.Manifold
NO_FACE = 1 << 30
"""face number of triangles that lie on no face of the part."""
FIRST_FACE = 1 << 20
"""face number of the part's face 0; cutting planes number their own triangles from 0."""


def body_of(mesh: Mesh) -> Body:
    """The mesh as a boolean operand. Raises InputError where it isn't closed."""
    n = len(mesh.triangles)
    faces = (
        np.full(n, NO_FACE) if mesh.face_of is None else np.where(mesh.face_of < 0, NO_FACE, mesh.face_of + FIRST_FACE)
    )
    raw = m3.Mesh64(
        vert_properties=np.array(mesh.vertices, dtype=np.float64, order="C"),
        tri_verts=np.array(mesh.triangles, dtype=np.uint64, order="C"),
        face_id=np.ascontiguousarray(faces, dtype=np.uint64),
    )
    raw.merge()
    body = Body(raw)
    if body.status() != m3.Error.NoError:
        raise InputError([Fault("mesh", "triangles", str(n), f"isn't a closed surface ({body.status().name})")])
    return body


def mesh_of(body: Body, chord_error: float = 0.0) -> Mesh:
    """The operand as a mesh; `face_of` is -1 where a triangle lies on no face of the part."""
    raw = body.to_mesh64()
    faces = np.asarray(raw.face_id, dtype=np.int64)
    if len(faces) != len(raw.tri_verts):
        faces = np.full(len(raw.tri_verts), NO_FACE)
    return Mesh(
        np.ascontiguousarray(raw.vert_properties[:, :3], dtype=np.float64),
        np.ascontiguousarray(raw.tri_verts, dtype=np.int32),
        np.where((faces < FIRST_FACE) | (faces >= NO_FACE), -1, faces - FIRST_FACE).astype(np.int32),
        chord_error,
    )


def plain(body: Body) -> Body:
    """The operand with every triangle marked as lying on no face of the part."""
    raw = body.to_mesh64()
    return Body(
        m3.Mesh64(
            vert_properties=np.array(raw.vert_properties[:, :3], dtype=np.float64, order="C"),
            tri_verts=np.array(raw.tri_verts, dtype=np.uint64, order="C"),
            face_id=np.full(len(raw.tri_verts), NO_FACE, dtype=np.uint64),
        )
    )


def unite(bodies: Iterable[Body]) -> Body:
    """The union; an empty operand for none."""
    rows = [b for b in bodies if not b.is_empty()]
    return Body.batch_boolean(rows, m3.OpType.Add) if rows else Body()


def subtract(body: Body, others: Iterable[Body]) -> Body:
    """`body` without the others."""
    rows = [b for b in others if not b.is_empty()]
    return Body.batch_boolean([body, *rows], m3.OpType.Subtract) if rows else body


def rod(point: Sequence[float], axis: Sequence[float], profile: Sequence[tuple[float, float]], segments: int) -> Body:
    """A turned body about `axis` through `point`: `profile` rows are (distance along the axis, radius), ascending."""
    outline = [(0.0, profile[0][0]), *((r, t) for t, r in profile), (0.0, profile[-1][0])]
    keep = [outline[0]]
    for row in outline[1:]:
        if row != keep[-1]:
            keep.append(row)
    section = m3.CrossSection([keep], m3.FillRule.NonZero)
    turned = section.revolve(segments)
    frame = turning_frame(np.asarray(axis, dtype=np.float64))
    placed = np.column_stack([frame.T, np.asarray(point, dtype=np.float64)])
    return plain(turned.transform(placed))


def turning_frame(axis: Floats) -> Floats:
    """(3, 3) right-handed rows u, v, axis."""
    w = axis / np.linalg.norm(axis)
    guide = np.eye(3)[int(np.argmin(np.abs(w)))]
    u = np.cross(guide, w)
    u /= np.linalg.norm(u)
    return np.stack([u, np.cross(w, u), w])


def block(frame: Floats, low: Floats, high: Floats) -> Body:
    """The box between corners `low` and `high`, given along the rows of `frame`."""
    cube = Body.cube(tuple(float(x) for x in high - low)).translate(tuple(float(x) for x in low))
    return plain(cube.transform(np.column_stack([frame.T, np.zeros(3)])))


def face_areas(mesh: Mesh) -> dict[int, float]:
    """mm² of each of the part's faces that the mesh's triangles lie on."""
    assert mesh.face_of is not None
    corners = mesh.corners
    areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    touched = mesh.face_of >= 0
    totals = np.bincount(mesh.face_of[touched], weights=areas[touched])
    return {int(k): float(totals[k]) for k in np.flatnonzero(totals)}
