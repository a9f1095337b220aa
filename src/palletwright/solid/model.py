"""Shapes as plain arrays: meshes, the faces of a solid, and the solid itself. No CAD kernel in here."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from palletwright.verdict import Vec

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
Surface = Literal["plane", "cylinder", "cone", "sphere", "torus", "other"]


@dataclass(frozen=True, eq=False)
class Mesh:
    """A triangle mesh, mm. `face_of[k]` is the index of the solid's face that triangle k lies on, or -1.

    vertices : (n, 3) float64; triangles : (m, 3) int32, counter-clockwise seen from outside; chord_error : mm,
    the most by which the mesh departs from the true surface.
    """

    vertices: Floats
    triangles: Ints
    face_of: Ints | None = None
    chord_error: float = 0.0

    def __post_init__(self) -> None:
        if self.vertices.ndim != 2 or self.vertices.shape[1:] != (3,):
            raise ValueError(f"vertices must have shape (n, 3), not {self.vertices.shape}")
        if self.triangles.ndim != 2 or self.triangles.shape[1:] != (3,):
            raise ValueError(f"triangles must have shape (m, 3), not {self.triangles.shape}")
        self.vertices.setflags(write=False)
        self.triangles.setflags(write=False)

    @cached_property
    def bounds(self) -> Floats:
        """(2, 3): least and greatest corner, mm."""
        return np.stack([self.vertices.min(axis=0), self.vertices.max(axis=0)])

    @cached_property
    def corners(self) -> Floats:
        """(m, 3, 3): the triangles' corner points."""
        return np.ascontiguousarray(self.vertices[self.triangles])

    @cached_property
    def volume(self) -> float:
        """mm³, positive for a closed mesh whose normals point out."""
        a, b, c = self.corners[:, 0], self.corners[:, 1], self.corners[:, 2]
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)

    @cached_property
    def centroid(self) -> Floats:
        """(3,): centre of the enclosed volume, mm."""
        a, b, c = self.corners[:, 0], self.corners[:, 1], self.corners[:, 2]
        v = np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0
        return np.asarray(((a + b + c) / 4.0 * v[:, None]).sum(axis=0) / v.sum())

    @cached_property
    def key(self) -> str:
        """Hash of the content."""
        h = hashlib.sha256(np.ascontiguousarray(self.vertices).tobytes())
        h.update(np.ascontiguousarray(self.triangles).tobytes())
        return h.hexdigest()[:24]

    def moved(self, transform: Floats) -> Mesh:
        """The mesh under a (4, 4) rigid transform; a mirror turns the triangles round so that normals stay out."""
        v = self.vertices @ transform[:3, :3].T + transform[:3, 3]
        t = self.triangles if np.linalg.det(transform[:3, :3]) > 0 else self.triangles[:, ::-1].copy()
        return replace(self, vertices=np.ascontiguousarray(v), triangles=t)


@dataclass(frozen=True)
class Face:
    """One face of a solid.

    plane: `point` on it, `axis` its outward normal. cylinder, cone: `point` on the axis, `axis` its unit
    direction, `radius` at `point`, `half_angle` (degrees, cone), `span` the face's extent along the axis from
    `point` (mm), `sweep` the angle that it covers (degrees). `hollow`: the material is outside the radius (the
    wall of a hole). `bounds` is ((x0, y0, z0), (x1, y1, z1)), from the mesh. Read from a file, `point` is where the
    face begins on its axis (`span` starts at 0) and a cone's radius grows along `axis`. torus: `radius` of the ring,
    `tube` of its tube, `span` from the centre. `free_form`: the file describes it by splines and it was recognised;
    `sweep` counts the angle about `axis`.
    """

    id: int
    kind: Surface
    area: float
    centroid: Vec
    bounds: tuple[Vec, Vec]
    point: Vec = (0.0, 0.0, 0.0)
    axis: Vec = (0.0, 0.0, 1.0)
    radius: float = 0.0
    half_angle: float = 0.0
    span: tuple[float, float] = (0.0, 0.0)
    sweep: float = 0.0
    hollow: bool = False
    neighbours: tuple[int, ...] = ()
    tube: float = 0.0
    free_form: bool = False


@dataclass(frozen=True, eq=False)
class Solid:
    """One solid of a STEP file, in mm, in the file's own frame."""

    name: str
    mesh: Mesh
    faces: tuple[Face, ...]
    volume: float
    unit: str = "mm"
    notes: tuple[str, ...] = ()
    brep: bytes = field(default=b"", repr=False)
