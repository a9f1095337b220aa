"""STEP in and out, meshes, faces: the only room that knows the CAD kernel, and only in a spawned child."""

from palletwright.solid.blank import stock_mesh
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
from palletwright.solid.frame import part_frame
from palletwright.solid.glb import glb_bytes, write_glb
from palletwright.solid.model import Face, Mesh, Solid
from palletwright.solid.outline import footprint, section
from palletwright.solid.primitives import Measured, write_measured, write_step
from palletwright.solid.reading import read_step
from palletwright.solid.tolerances import Tolerance, Tolerances, read_tolerances
from palletwright.solid.views import View, outline_views

__all__ = [
    "Face",
    "Measured",
    "Mesh",
    "Solid",
    "Tolerance",
    "Tolerances",
    "View",
    "box",
    "cone",
    "cylinder",
    "footprint",
    "from_manifold",
    "frustum",
    "glb_bytes",
    "intersect",
    "manifold",
    "outline_views",
    "part_frame",
    "pieces",
    "prism",
    "read_step",
    "read_tolerances",
    "section",
    "stock_mesh",
    "subtract",
    "union",
    "write_glb",
    "write_measured",
    "write_step",
]
