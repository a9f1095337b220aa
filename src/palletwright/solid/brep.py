"""In the kernel's child: a STEP file to solids, healed where needed, each turned into plain arrays."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

from OCP.Bnd import Bnd_Box
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeSolid, BRepBuilderAPI_Sewing
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepGProp import BRepGProp
from OCP.BRepTools import BRepTools
from OCP.collections import Sequence_TCollection_AsciiString
from OCP.GProp import GProp_GProps
from OCP.IFSelect import IFSelect_ReturnStatus
from OCP.Interface import Interface_Static
from OCP.ShapeFix import ShapeFix_Shape, ShapeFix_Solid
from OCP.STEPControl import STEPControl_Reader
from OCP.TopAbs import TopAbs_ShapeEnum as Kind
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS

from palletwright.solid.facets import fitted_faces, sagitta
from palletwright.solid.kernel import Refused
from palletwright.solid.surfaces import faces_of
from palletwright.solid.tessellate import mesh_of, mesh_of_facets

SEWING_TOLERANCE = 0.01  # mm: wider gaps between faces aren't closed
LONGEST = 10_000.0  # mm: no machined part of a small shop is longer; such a size is a wrong unit


def explore(shape: Any, kind: Any, avoid: Any = Kind.TopAbs_SHAPE) -> list[Any]:
    """Sub-shapes of one kind, in the kernel's order; those inside an `avoid` are left out."""
    explorer = TopExp_Explorer(shape, kind, avoid)
    found = []
    while explorer.More():
        found.append(explorer.Current())
        explorer.Next()
    return found


def load(path: str) -> tuple[Any, str]:
    """The file's one shape, in mm, and its length unit's name. Raises Refused."""
    reader = STEPControl_Reader()
    Interface_Static.SetIVal_s("read.step.tessellated", 2)  # tessellated shapes where there is no exact one
    status = reader.ReadFile(path)
    if status != IFSelect_ReturnStatus.IFSelect_RetDone:
        raise Refused("not a readable STEP file: the CAD kernel found a fault of syntax in it")
    lengths, angles, solid_angles = (Sequence_TCollection_AsciiString() for _ in range(3))
    reader.FileUnits(lengths, angles, solid_angles)
    names = sorted({str(lengths.Value(i).ToCString()) for i in range(1, lengths.Length() + 1)})
    reader.TransferRoots()
    shape = reader.OneShape()
    if shape.IsNull():
        raise Refused("holds no shape at all")
    return shape, "+".join(names) or "unknown"


def size_of(shape: Any) -> tuple[float, float, float]:
    """Extents along the file's axes, mm, from the exact surfaces where there are any."""
    box = Bnd_Box()
    BRepBndLib.AddOptimal_s(shape, box, False, False)
    if box.IsVoid():
        BRepBndLib.Add_s(shape, box)
    low, high = box.CornerMin(), box.CornerMax()
    return high.X() - low.X(), high.Y() - low.Y(), high.Z() - low.Z()


def volume_of(shape: Any) -> float:
    """mm³ by the kernel's own integration; negative where the shell is inside out."""
    properties = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, properties)
    return float(properties.Mass())


def sewn(shape: Any) -> tuple[list[Any], list[str]]:
    """Solids made from loose faces. Raises Refused when they don't close."""
    faces = explore(shape, Kind.TopAbs_FACE)
    if not faces:
        raise Refused("holds no solid and no faces (only " + contents(shape) + ")")
    sewing = BRepBuilderAPI_Sewing(SEWING_TOLERANCE)
    for face in faces:
        sewing.Add(face)
    sewing.Perform()
    free = sewing.NbFreeEdges()
    closed = [s for s in explore(sewing.SewedShape(), Kind.TopAbs_SHELL) if s.Closed()]
    if not closed:
        raise Refused(
            f"holds no solid: its {len(faces)} faces leave {free} edges open even when gaps up to "
            f"{SEWING_TOLERANCE:g} mm are closed"
        )
    solids = []
    for shell in closed:
        fix = ShapeFix_Solid()
        solids.append(fix.SolidFromShell(TopoDS.Shell(shell)))
    note = f"healed: {len(faces)} loose faces sewn into {len(solids)} closed solid(s), gaps up to {SEWING_TOLERANCE} mm"
    return solids, [note]


def contents(shape: Any) -> str:
    """What a shape holds, in words."""
    kinds = {"edges": Kind.TopAbs_EDGE, "points": Kind.TopAbs_VERTEX}
    counts = [f"{len(explore(shape, k))} {word}" for word, k in kinds.items() if explore(shape, k)]
    return " and ".join(counts) or "product data, no geometry"


def healed(solid: Any) -> tuple[Any, list[str]]:
    """A valid, outward-oriented solid, and what was done to it."""
    notes = []
    if not BRepCheck_Analyzer(solid).IsValid():
        fix = ShapeFix_Shape(solid)
        fix.Perform()
        better = explore(fix.Shape(), Kind.TopAbs_SOLID)
        if better and BRepCheck_Analyzer(better[0]).IsValid():
            solid = better[0]
            notes.append("healed: the file's solid failed the kernel's validity check; repaired within its tolerance")
        else:
            notes.append("the file's solid fails the kernel's validity check and couldn't be repaired; used as it is")
    if volume_of(solid) < 0:
        maker = BRepBuilderAPI_MakeSolid()
        for shell in explore(solid, Kind.TopAbs_SHELL):
            maker.Add(TopoDS.Shell(shell.Reversed()))
        solid = maker.Solid()
        notes.append("healed: the file's solid was inside out; turned round")
    return solid, notes


def run(path: str, solid: int | None, chord: float | None) -> dict[str, Any]:
    """The job `read`: plain data of one solid, or the sizes of all where the choice is open."""
    shape, unit = load(path)
    notes: list[str] = []
    solids = explore(shape, Kind.TopAbs_SOLID)
    stray = len(explore(shape, Kind.TopAbs_FACE, Kind.TopAbs_SOLID))
    if solids and stray:
        notes.append(f"{stray} faces outside any solid ignored")
    loose = len(explore(shape, Kind.TopAbs_EDGE, Kind.TopAbs_FACE))
    if solids and loose:
        notes.append(f"{loose} annotation or construction edges ignored")
    if not solids:
        solids, said = sewn(shape)
        notes += said
    sizes = [size_of(s) for s in solids]
    if (solid is None and len(solids) != 1) or (solid is not None and not 1 <= solid <= len(solids)):
        return {"sizes": sizes}
    chosen = (solid or 1) - 1
    if max(sizes[chosen]) > LONGEST or max(sizes[chosen]) < 1e-3:
        return {"sizes": sizes, "bad_size": sizes[chosen], "unit": unit}
    if len(solids) > 1:
        notes.append(f"solid {solid} of {len(solids)} read; the others ignored")
    return {"name": name_of(path, len(solids), solid), "unit": unit} | arrays(solids[chosen], chord, notes)


def arrays(shape: Any, chord: float | None, notes: list[str]) -> dict[str, Any]:
    """Mesh, faces and volume of one solid."""
    extents = size_of(shape)
    wanted = chord or min(max(sum(e * e for e in extents) ** 0.5 / 5000.0, 0.01), 0.1)
    faces = explore(shape, Kind.TopAbs_FACE)
    if not explore(shape, Kind.TopAbs_EDGE):
        mesh, said = mesh_of_facets(faces)
        mesh = replace(mesh, chord_error=sagitta(mesh))
        faces_too = {"faces": fitted_faces(mesh), "volume": mesh.volume, "brep": b""}
        return {"mesh": mesh, "notes": (*notes, *said), **faces_too}
    solid, said = healed(shape)
    notes += said
    mesh, said = mesh_of(solid, wanted)
    return {
        "mesh": mesh,
        "faces": faces_of(solid, mesh),
        "volume": volume_of(solid),
        "brep": brep_bytes(solid),
        "notes": (*notes, *said),
    }


def brep_bytes(shape: Any) -> bytes:
    """The exact shape as the kernel's own text, to hand between processes."""
    stream = io.BytesIO()
    BRepTools.Write_s(shape, stream)
    return stream.getvalue()


def name_of(path: str, count: int, solid: int | None) -> str:
    """The product's name where there is one product and a person named it, else the file's name."""
    text = Path(path).read_text("latin-1")
    names = set(re.findall(r"=\s*PRODUCT\s*\(\s*'((?:[^']|'')*)'", text))
    name = names.pop().strip() if len(names) == 1 else ""
    if name.startswith("Open CASCADE"):  # what the kernel writes where nobody gave a name
        name = ""
    return (name or Path(path).stem) + (f" #{solid}" if count > 1 else "")
