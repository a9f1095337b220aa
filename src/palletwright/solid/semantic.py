"""In the kernel's child: the tolerances of an AP242 file that carry meaning."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from OCP.collections import Sequence_TDF_Label
from OCP.IFSelect import IFSelect_ReturnStatus
from OCP.STEPCAFControl import STEPCAFControl_Reader
from OCP.TCollection import TCollection_ExtendedString
from OCP.TDocStd import TDocStd_Document
from OCP.TopAbs import TopAbs_ShapeEnum as Kind
from OCP.XCAFApp import XCAFApp_Application
from OCP.XCAFDoc import (
    XCAFDoc_Datum,
    XCAFDoc_Dimension,
    XCAFDoc_DimTolTool,
    XCAFDoc_DocumentTool,
    XCAFDoc_GeomTolerance,
    XCAFDoc_ShapeTool,
)

from palletwright.solid.brep import explore
from palletwright.solid.kernel import Refused
from palletwright.solid.tessellate import faces_map

Row = dict[str, Any]


def run(path: str, solid: int) -> list[Row]:
    """The job `tolerances`: one row each, fields as in `tolerances.Tolerance`."""
    document = TDocStd_Document(TCollection_ExtendedString("BinXCAF"))
    XCAFApp_Application.GetApplication_s().NewDocument(TCollection_ExtendedString("MDTV-XCAF"), document)
    reader = STEPCAFControl_Reader()
    reader.SetGDTMode(True)
    if reader.ReadFile(path) != IFSelect_ReturnStatus.IFSelect_RetDone or not reader.Transfer(document):
        raise Refused("not a readable STEP file: the CAD kernel found a fault of syntax in it")
    faces = numbered_faces(document, solid)
    tool = XCAFDoc_DocumentTool.DimTolTool_s(document.Main())
    rows = [row(label, faces, tool) for label, row in labels(tool)]
    signs = lower_signs(Path(path).read_text("latin-1"))
    for found in rows:
        if found is not None and found.get("lower"):
            sign = signs.get(round(abs(found["lower"]), 9))
            found["lower"] = None if sign == 0 else (sign or -1) * abs(found["lower"])
    unique = {repr(sorted(r.items())): r for r in rows if r is not None}
    return sorted(unique.values(), key=lambda r: (r["kind"] != "datum", r["kind"], r["datums"], r["faces"]))


def lower_signs(text: str) -> dict[float, int]:
    """Sign of each lower deviation by its size, from the file's own text; 0 where both signs occur.

    The kernel gives lower deviations without their sign.
    """
    measures = re.findall(r"#(\d+)\s*=\s*\(?[^;]*?\w+_MEASURE\(\s*([-+.\dEe]+)\s*\)[^;]*;", text)
    values = {number: float(value) for number, value in measures}
    signs: dict[float, int] = {}
    for number in re.findall(r"=\s*TOLERANCE_VALUE\s*\(\s*#(\d+)", text):
        value = values.get(number, 0.0)
        size, sign = round(abs(value), 9), 1 if value > 0 else -1
        signs[size] = sign if signs.get(size, sign) == sign else 0
    return signs


def labels(tool: Any) -> list[tuple[Any, Any]]:
    """All labels with tolerances, each with the function that reads it."""
    found = []
    for fill, row in (
        (tool.GetDatumLabels, datum),
        (tool.GetGeomToleranceLabels, zone),
        (tool.GetDimensionLabels, size),
    ):
        sequence = Sequence_TDF_Label()
        fill(sequence)
        found += [(sequence.Value(i), row) for i in range(1, sequence.Length() + 1)]
    return found


def numbered_faces(document: Any, solid: int) -> Any:
    """The map of the chosen solid's faces, numbered like `Solid.faces`, plus one."""
    shapes = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    roots = Sequence_TDF_Label()
    shapes.GetFreeShapes(roots)
    solids = []
    for i in range(1, roots.Length() + 1):
        solids += explore(XCAFDoc_ShapeTool.GetShape_s(roots.Value(i)), Kind.TopAbs_SOLID)
    if not 1 <= solid <= len(solids):
        raise Refused(f"holds {len(solids)} solids, no number {solid}")
    return faces_map(solids[solid - 1])


def held_faces(label: Any, faces: Any) -> tuple[int, ...]:
    """Ids of the faces that a label's tolerance refers to."""
    first, second = Sequence_TDF_Label(), Sequence_TDF_Label()
    XCAFDoc_DimTolTool.GetRefShapeLabel_s(label, first, second)
    ids: set[int] = set()
    for sequence in (first, second):
        for i in range(1, sequence.Length() + 1):
            shape = XCAFDoc_ShapeTool.GetShape_s(sequence.Value(i))
            if not shape.IsNull():
                ids |= {faces.FindIndex(face) - 1 for face in explore(shape, Kind.TopAbs_FACE)}
    return tuple(sorted(ids - {-1}))


def attribute(label: Any, kind: Any) -> Any:
    """The object behind a label, or None."""
    # the binding can't hand an attribute out of FindAttribute; Set gives the one that is there
    return kind.Set_s(label).GetObject() if label.IsAttribute(kind.GetID_s()) else None


def text(value: Any) -> str:
    """A kernel string as text; empty for none."""
    return str(value.ToCString()).strip() if value is not None else ""


def datum(label: Any, faces: Any, tool: Any) -> Row | None:
    """A datum feature: its letter and faces. References inside tolerance frames hold no face of their own."""
    found = attribute(label, XCAFDoc_Datum)
    on = held_faces(label, faces)
    if found is None or not on:
        return None
    return {"kind": "datum", "value": None, "datums": (text(found.GetName()),), "faces": on}


def zone(label: Any, faces: Any, tool: Any) -> Row | None:
    """A geometric tolerance: its kind, zone, and the letters that it refers to in order."""
    found = attribute(label, XCAFDoc_GeomTolerance)
    if found is None:
        return None
    sequence = Sequence_TDF_Label()
    XCAFDoc_DimTolTool.GetDatumWithObjectOfTolerLabels_s(label, sequence)
    referred = [attribute(sequence.Value(i), XCAFDoc_Datum) for i in range(1, sequence.Length() + 1)]
    ordered = sorted((d.GetPosition(), text(d.GetName())) for d in referred if d is not None)
    return {
        "kind": spoken(found.GetType()),
        "value": float(found.GetValue()),
        "datums": tuple(letter for _, letter in ordered),
        "faces": held_faces(label, faces),
        "diametral": "Diameter" in found.GetTypeOfValue().name,
        "name": text(found.GetSemanticName()),
    }


def size(label: Any, faces: Any, tool: Any) -> Row | None:
    """A toleranced size: nominal and deviations. Angles in degrees."""
    found = attribute(label, XCAFDoc_Dimension)
    if found is None:
        return None
    kind, value = spoken(found.GetType()), float(found.GetValue())
    lower = upper = None
    if kind in ("none", "dimension presentation", "common label") or not value:  # drawn only, without a meaning
        return None
    if found.IsDimWithPlusMinusTolerance():
        lower, upper = -abs(float(found.GetLowerTolValue())), float(found.GetUpperTolValue())
    elif found.IsDimWithRange():
        least, most = float(found.GetLowerBound()), float(found.GetUpperBound())
        value = (least + most) / 2
        lower, upper = least - value, most - value
    return {
        "kind": kind,
        "value": value,
        "datums": (),
        "faces": held_faces(label, faces),
        "lower": lower,
        "upper": upper,
        "name": text(found.GetSemanticName()),
    }


def spoken(kind: Any) -> str:
    """The kernel's name of a kind in plain words: 'circular runout', 'diameter', 'linear distance'."""
    last = re.sub(r"^XCAFDimTolObjects_(GeomTolerance|Dimension)Type_(Size_|Location_)?", "", kind.name)
    return re.sub(r"(?<=[a-z])(?=[A-Z])", " ", last).replace("_", " ").lower()
