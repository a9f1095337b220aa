"""In the kernel's child: build exact shapes from words and write them as STEP."""

from __future__ import annotations

import io
from typing import Any

from OCP.APIHeaderSection import APIHeaderSection_MakeHeader
from OCP.BRep import BRep_Builder
from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakePolygon, BRepBuilderAPI_Transform
from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox, BRepPrimAPI_MakeCone, BRepPrimAPI_MakeCylinder, BRepPrimAPI_MakePrism
from OCP.BRepTools import BRepTools
from OCP.collections import List_TopoDS_Shape
from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt, gp_Trsf, gp_Vec
from OCP.IFSelect import IFSelect_ReturnStatus
from OCP.STEPCAFControl import STEPCAFControl_Controller, STEPCAFControl_Writer
from OCP.STEPControl import STEPControl_StepModelType
from OCP.TCollection import TCollection_ExtendedString, TCollection_HAsciiString
from OCP.TDataStd import TDataStd_Name
from OCP.TDF import TDF_Label
from OCP.TDocStd import TDocStd_Document
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS_Compound, TopoDS_Shape
from OCP.XCAFApp import XCAFApp_Application
from OCP.XCAFDoc import XCAFDoc_DocumentTool, XCAFDoc_ShapeTool
from OCP.XSControl import XSControl_WorkSession

from palletwright.solid.kernel import Refused
from palletwright.solid.primitives import Block, Cut, Exact, Extrusion, Placed, Rod, Shape


def run(
    path: str, shapes: list[tuple[str, Shape]], timestamp: str, title: str, known: dict[int, Any] | None = None
) -> None:
    """The job `write`. `known`: kernel shapes by the id of their description, so that several files build each once."""
    known = {} if known is None else known
    for name, shape in shapes:
        known[id(shape)] = built(name, shape, known)
    document = TDocStd_Document(TCollection_ExtendedString("BinXCAF"))
    application = XCAFApp_Application.GetApplication_s()
    application.NewDocument(TCollection_ExtendedString("MDTV-XCAF"), document)
    XCAFDoc_DocumentTool.SetLengthUnit_s(document, 0.001)
    tool = XCAFDoc_DocumentTool.ShapeTool_s(document.Main())
    XCAFDoc_ShapeTool.SetAutoNaming_s(False)
    if len(shapes) == 1:
        name_label(tool.AddShape(known[id(shapes[0][1])], False), shapes[0][0])
    else:
        assembly = tool.NewShape()
        name_label(assembly, title)
        for name, shape in shapes:
            part = tool.AddShape(known[id(shape)], False)
            name_label(part, name)
            name_label(tool.AddComponent(assembly, part, TopLoc_Location()), name)
        tool.UpdateAssemblies()
    write(document, path, timestamp, title)


def name_label(label: TDF_Label, name: str) -> None:
    """Give a shape of the document its name."""
    TDataStd_Name.Set_s(label, TCollection_ExtendedString(name, True))


def write(document: Any, path: str, timestamp: str, title: str) -> None:
    """The document as a STEP file with a header of our own."""
    STEPCAFControl_Controller.Init_s()
    writer = STEPCAFControl_Writer(XSControl_WorkSession(), False)
    writer.SetNameMode(True)
    header = APIHeaderSection_MakeHeader(writer.Writer().Model())
    if not header.IsDone():
        header = APIHeaderSection_MakeHeader(0)
        header.Apply(writer.Writer().Model())
    header.SetName(TCollection_HAsciiString(title))
    header.SetTimeStamp(TCollection_HAsciiString(timestamp))
    header.SetOriginatingSystem(TCollection_HAsciiString("palletwright"))
    writer.Transfer(document, STEPControl_StepModelType.STEPControl_AsIs)
    if writer.Write(path) != IFSelect_ReturnStatus.IFSelect_RetDone:
        raise Refused(f"{path} can't be written")


def built(name: str, shape: Shape, known: dict[int, Any] | None = None) -> Any:
    """The kernel's shape. Raises Refused with the name where it can't be built."""
    try:
        return made(shape, {} if known is None else known)
    except Refused:
        raise
    except Exception as error:
        raise Refused(f"{name}: the CAD kernel can't build it ({type(error).__name__})") from error


def made(shape: Shape, known: dict[int, Any]) -> Any:
    """The kernel's shape of a description; cuts are kept in `known` by the id of their description."""
    if id(shape) in known:
        return known[id(shape)]
    if isinstance(shape, Block):
        return BRepPrimAPI_MakeBox(gp_Pnt(*shape.lo), gp_Pnt(*shape.hi)).Solid()
    if isinstance(shape, Rod):
        return rod(shape)
    if isinstance(shape, Extrusion):
        polygon = BRepBuilderAPI_MakePolygon()
        for x, y in shape.outline:
            polygon.Add(gp_Pnt(x, y, shape.bottom))
        polygon.Close()
        face = BRepBuilderAPI_MakeFace(polygon.Wire()).Face()
        return BRepPrimAPI_MakePrism(face, gp_Vec(0, 0, shape.top - shape.bottom)).Shape()
    if isinstance(shape, Exact):
        return read_brep(shape.brep)
    if isinstance(shape, Placed):
        transform = gp_Trsf()
        transform.SetValues(*(value for row in shape.transform[:3] for value in row))
        return BRepBuilderAPI_Transform(made(shape.shape, known), transform, True).Shape()
    assert isinstance(shape, Cut)
    known[id(shape)] = single(without(made(shape.body, known), [made(tool, known) for tool in shape.tools]))
    return known[id(shape)]


def without(body: Any, tools: list[Any]) -> Any:
    """A body less all its tools in one operation: one after the other takes time that grows with their square."""
    if not tools:
        return body
    cut, bodies, takers = BRepAlgoAPI_Cut(), List_TopoDS_Shape(), List_TopoDS_Shape()
    bodies.Append(body)
    for tool in tools:
        takers.Append(tool)
    cut.SetArguments(bodies)
    cut.SetTools(takers)
    cut.Build()
    if not cut.IsDone():
        raise Refused("a cut failed in the CAD kernel")
    return cut.Shape()


def single(shape: Any) -> Any:
    """The one solid inside a compound, or the compound itself where it holds several."""
    from OCP.TopAbs import TopAbs_ShapeEnum as Kind

    from palletwright.solid.brep import explore

    solids = explore(shape, Kind.TopAbs_SOLID)
    return solids[0] if isinstance(shape, TopoDS_Compound) and len(solids) == 1 else shape


def rod(shape: Rod) -> Any:
    """A cylinder or cone."""
    axes = gp_Ax2(gp_Pnt(*shape.base), gp_Dir(*shape.axis))
    if shape.top_radius is None or shape.top_radius == shape.radius:
        return BRepPrimAPI_MakeCylinder(axes, shape.radius, shape.height).Solid()
    return BRepPrimAPI_MakeCone(axes, shape.radius, shape.top_radius, shape.height).Solid()


def read_brep(data: bytes) -> Any:
    """A shape from the kernel's own text."""
    shape = TopoDS_Shape()
    BRepTools.Read_s(shape, io.BytesIO(data), BRep_Builder())
    if shape.IsNull():
        raise Refused("the stored exact shape can't be read again")
    return shape
