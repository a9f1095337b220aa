"""In the kernel's child: write STEP files and read each back at once, as volumes and round walls."""

from __future__ import annotations

from typing import Any

from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.GeomAbs import GeomAbs_SurfaceType
from OCP.TopAbs import TopAbs_Orientation as Way
from OCP.TopAbs import TopAbs_ShapeEnum as Kind
from OCP.TopoDS import TopoDS

from palletwright.solid.brep import explore, load, size_of, volume_of
from palletwright.solid.primitives import Measured, RoundWall, Shape
from palletwright.solid.surfaces import vec
from palletwright.solid.writing import run as write


def run(files: list[tuple[str, list[tuple[str, Shape]], str]], timestamp: str) -> list[list[Measured]]:
    """The job `measure`: for each file (path, named shapes, title) the solids that were read back."""
    answers = []
    known: dict[int, Any] = {}
    for path, shapes, title in files:
        write(path, shapes, timestamp, title, known)
        shape, _ = load(path)
        answers.append([measured(solid) for solid in explore(shape, Kind.TopAbs_SOLID)])
    return answers


def measured(solid: Any) -> Measured:
    """Volume, extents and hollow round walls of one solid, mm."""
    walls = []
    for face in explore(solid, Kind.TopAbs_FACE):
        surface = BRepAdaptor_Surface(TopoDS.Face(face))
        if surface.GetType() != GeomAbs_SurfaceType.GeomAbs_Cylinder:
            continue
        cylinder = surface.Cylinder()
        reversed_ = face.Orientation() == Way.TopAbs_REVERSED
        if reversed_ != cylinder.Direct():
            continue
        axis = cylinder.Axis()
        place, way = axis.Location(), axis.Direction()
        walls.append(
            RoundWall(cylinder.Radius(), vec((place.X(), place.Y(), place.Z())), vec((way.X(), way.Y(), way.Z())))
        )
    return Measured(volume_of(solid), size_of(solid), tuple(walls))
