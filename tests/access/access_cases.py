"""Blocks with known holes and pockets, built exactly in a spawned child of the CAD kernel or with booleans."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

from palletwright.access import Access, analyse
from palletwright.job import Job
from palletwright.job.model import Blank
from palletwright.shop.model import Machine, Material, Shop
from palletwright.shop.read import example_shop
from palletwright.solid import Solid, stock_mesh

SHARED = Path(os.environ.get("PALLETWRIGHT_SHARED", Path(__file__).parents[2].parent / "shared"))

BUILD = """
import pickle, sys
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common, BRepAlgoAPI_Cut, BRepAlgoAPI_Fuse
from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform
from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox, BRepPrimAPI_MakeCylinder, BRepPrimAPI_MakeCone
from OCP.BRepAdaptor import BRepAdaptor_Curve
from OCP.BRepFilletAPI import BRepFilletAPI_MakeChamfer
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS
from OCP.gp import gp_Ax1, gp_Ax2, gp_Dir, gp_Pnt, gp_Trsf, gp_Vec

def cylinder(p, d, r, h):
    return BRepPrimAPI_MakeCylinder(gp_Ax2(gp_Pnt(*p), gp_Dir(*d)), r, h).Shape()
def box(a, b):
    return BRepPrimAPI_MakeBox(gp_Pnt(*a), gp_Pnt(*b)).Shape()
def turned(shape, axis, angle):
    t = gp_Trsf(); t.SetRotation(gp_Ax1(gp_Pnt(0, 0, 0), gp_Dir(*axis)), angle)
    return BRepBuilderAPI_Transform(shape, t, True).Shape()
def mirrored(shape):
    t = gp_Trsf(); t.SetMirror(gp_Ax2(gp_Pnt(0, 0, 0), gp_Dir(1, 0, 0)))
    return BRepBuilderAPI_Transform(shape, t, True).Shape()

def chamfered(shape, z, width):
    made, seen = BRepFilletAPI_MakeChamfer(shape), []
    walk = TopExp_Explorer(shape, TopAbs_ShapeEnum.TopAbs_EDGE)
    while walk.More():
        edge = TopoDS.Edge(walk.Current())
        curve = BRepAdaptor_Curve(edge)
        ends = curve.Value(curve.FirstParameter()), curve.Value(curve.LastParameter())
        if all(abs(p.Z() - z) < 1e-6 for p in ends) and not any(edge.IsSame(s) for s in seen):
            made.Add(width, edge)
            seen.append(edge)
        walk.Next()
    return made.Shape()

def split(shape, x):
    # The same body with every face cut along a plane: a bore on it becomes two half cylinders.
    far = 1e3
    halves = box((-far, -far, -far), (x, far, far)), box((x, -far, -far), (far, far, far))
    parts = [BRepAlgoAPI_Common(shape, h).Shape() for h in halves]
    return BRepAlgoAPI_Fuse(*parts).Shape()

import os
answer = os.dup(1)
os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
from palletwright.solid.brep import arrays
out = []
for size, tools, turn, mirror in pickle.load(sys.stdin.buffer):
    shape = box((0, 0, 0), size)
    for kind, *rest in tools:
        if kind == "chamfer":
            shape = chamfered(shape, *rest)
            continue
        if kind == "split":
            shape = split(shape, *rest)
            continue
        shape = BRepAlgoAPI_Cut(shape, cylinder(*rest) if kind == "cylinder" else box(*rest)).Shape()
    if mirror:
        shape = mirrored(shape)
    if turn is not None:
        shape = turned(shape, *turn)
    out.append(arrays(shape, None, []))
with os.fdopen(answer, "wb") as pipe:
    pickle.dump(out, pipe)
"""


Tools = Sequence[tuple[Any, ...]]


def built(jobs: Sequence[tuple[Sequence[float], Tools, tuple[Any, float] | None, bool]]) -> list[Solid]:
    """Blocks minus tools: (size, [('cylinder', base, axis, radius, height) | ('box', a, b)], turn, mirror) each."""
    done = subprocess.run(
        [sys.executable, "-c", BUILD], input=pickle.dumps(list(jobs)), capture_output=True, timeout=300
    )
    assert done.returncode == 0, done.stderr.decode()[-2000:]
    rows = pickle.loads(done.stdout)
    return [Solid(name=f"block {k}", **(row | {"notes": tuple(row["notes"])})) for k, row in enumerate(rows)]


def block(
    tools: Tools,
    size: Sequence[float] = (100.0, 80.0, 50.0),
    turn: tuple[Any, float] | None = None,
    mirror: bool = False,
) -> Solid:
    return built([(size, tools, turn, mirror)])[0]


@cache
def shop() -> Shop:
    return example_shop()


def material(name: str = "6061-T6") -> Material:
    return next(m for m in shop().materials if m.id == name)


def machine() -> Machine:
    return next(m for m in shop().machines if m.rotary is not None)


def answered(solid: Solid, job: Job | None = None, **more: object) -> Access:
    """Access of a solid cut from its default blank in the example shop."""
    blank = job.blank if job else Blank()
    return analyse(solid, stock_mesh(solid, blank), shop(), material(), machine(), job, **more)  # type: ignore[arg-type]
