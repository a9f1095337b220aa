"""STEP in and out, meshes, faces: the only room that knows the CAD kernel, and only in a spawned child."""

from palletwright.solid.bodies import (
    box,
    cone,
    cylinder,
    from_manifold,
    frustum,
    intersect,
    manifold,
    pieces,
    prism,
    subtract,
    union,
)
from palletwright.solid.model import Face, Mesh, Solid
from palletwright.solid.reading import read_step

__all__ = [
    "Face",
    "Mesh",
    "Solid",
    "box",
    "cone",
    "cylinder",
    "from_manifold",
    "frustum",
    "intersect",
    "manifold",
    "pieces",
    "prism",
    "read_step",
    "subtract",
    "union",
]
