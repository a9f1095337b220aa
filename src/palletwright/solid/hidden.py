"""In the kernel's child: remove hidden lines and hand polylines back."""

from __future__ import annotations

from typing import Any

import numpy as np
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.BRepLib import BRepLib
from OCP.GCPnts import GCPnts_TangentialDeflection
from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt
from OCP.HLRAlgo import HLRAlgo_Projector
from OCP.HLRBRep import HLRBRep_Algo, HLRBRep_HLRToShape
from OCP.TopAbs import TopAbs_ShapeEnum as Kind
from OCP.TopoDS import TopoDS

from palletwright.solid.brep import explore
from palletwright.solid.kernel import Refused
from palletwright.solid.model import Floats
from palletwright.solid.primitives import Shape
from palletwright.solid.writing import built

TURN = 0.2  # rad, greatest turn along one piece of a polyline


def run(shapes: list[Shape], frames: dict[str, Floats], chord: float) -> dict[str, tuple[Any, Any, Any]]:
    """The job `views`: for each view its visible, hidden and tangent polylines."""
    bodies = [built(f"shape {k}", shape) for k, shape in enumerate(shapes, start=1)]
    return {name: drawn(bodies, frame, chord) for name, frame in frames.items()}


def drawn(bodies: list[Any], frame: Floats, chord: float) -> tuple[Any, Any, Any]:
    """One view."""
    algorithm = HLRBRep_Algo()
    for body in bodies:
        algorithm.Add(body)
    axes = gp_Ax2(gp_Pnt(0, 0, 0), gp_Dir(*map(float, frame[:, 2])), gp_Dir(*map(float, frame[:, 0])))
    algorithm.Projector(HLRAlgo_Projector(axes))
    algorithm.Update()
    algorithm.Hide()
    result = HLRBRep_HLRToShape(algorithm)
    visible = lines(result.VCompound(), chord) + lines(result.OutLineVCompound(), chord)
    hidden = lines(result.HCompound(), chord) + lines(result.OutLineHCompound(), chord)
    if not visible:
        raise Refused("the CAD kernel found nothing to draw")
    return visible, hidden, lines(result.Rg1LineVCompound(), chord)


def lines(compound: Any, chord: float) -> tuple[Floats, ...]:
    """The edges of a projected compound as polylines (n, 2)."""
    if compound is None or compound.IsNull():
        return ()
    BRepLib.BuildCurves3d_s(compound)
    found = []
    for edge in explore(compound, Kind.TopAbs_EDGE):
        curve = BRepAdaptor_Curve(TopoDS.Edge(edge))
        cut = GCPnts_TangentialDeflection(curve, TURN, chord)
        points = [cut.Value(i) for i in range(1, cut.NbPoints() + 1)]
        if len(points) > 1:
            found.append(np.array([(p.X(), p.Y()) for p in points]))
    return tuple(found)
