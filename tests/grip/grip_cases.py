"""Scripted parts with what their operation cuts: every case gives the arguments of `grips`."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import Any

import numpy as np
import shapely

from palletwright.grip import Grip, grips
from palletwright.grip.sweeps import Sweep
from palletwright.shop import Shop, example_shop
from palletwright.solid.bodies import box, cylinder, subtract, union
from palletwright.solid.model import Mesh
from palletwright.verdict import Reason

MILL = ((5.0, 0.0, 30.0), (20.0, 30.0, 80.0))
DRILL = ((3.0, 0.0, 60.0), (15.0, 60.0, 110.0))
UP = (0.0, 0.0, 1.0)


@cache
def shop() -> Shop:
    return example_shop()


@dataclass(frozen=True, eq=False)
class Case:
    before: Mesh
    after: Mesh
    stock: Mesh
    part: Mesh
    up: tuple[float, float, float] = UP
    sweeps: tuple[Sweep, ...] = ()
    options: dict[str, Any] = field(default_factory=dict)

    def solve(self, **more: Any) -> tuple[tuple[Grip, ...], tuple[Reason, ...]]:
        s = shop()
        material = next(m for m in s.materials if m.id.startswith("6061"))
        given = {"tolerance": 0.2, "floors": s.floors, "carrier_kind": "plate", "most": 8, **self.options, **more}
        return grips(
            self.before,
            self.after,
            self.stock,
            self.part,
            self.up,
            [w[0] for w in self.sweeps],
            self.sweeps,
            given.pop("shop", s),
            material,
            **given,
        )

    def moved(self, transform: np.ndarray) -> Case:
        turn = transform[:3, :3]
        sweeps = tuple(
            (tuple(turn @ np.asarray(d)), tips @ turn.T + transform[:3, 3], rows, entry)
            for d, tips, rows, entry in self.sweeps
        )
        options = dict(self.options)
        if options.get("axis") is not None:
            options["axis"] = tuple(turn @ np.asarray(options["axis"]))
        meshes = [m.moved(transform) for m in (self.before, self.after, self.stock, self.part)]
        return Case(*meshes, tuple(turn @ np.asarray(self.up)), sweeps, options)


def drill(x: float, y: float, z: float, up: tuple[float, float, float] = UP, rows: Any = DRILL) -> Sweep:
    return (up, np.array([[x, y, z]]), rows, 60.0)


def around(outline: shapely.Polygon, z: float, rows: Any = MILL, step: float = 1.0) -> Sweep:
    """A cutter that goes round an outline at a depth."""
    path = outline.buffer(rows[0][0]).exterior
    at = [path.interpolate(s).coords[0] for s in np.arange(0.0, path.length, step)]
    return (UP, np.column_stack([np.array(at), np.full(len(at), z)]), rows, 80.0)


def over(x0: float, y0: float, x1: float, y1: float, z: float, rows: Any = MILL, step: float = 2.0) -> Sweep:
    """A cutter that covers a rectangle with its centre at a depth."""
    xs, ys = np.arange(x0, x1 + 1e-9, step), np.arange(y0, y1 + 1e-9, step)
    gx, gy = np.meshgrid(xs, ys)
    return (UP, np.column_stack([gx.ravel(), gy.ravel(), np.full(gx.size, z)]), rows, 80.0)


def block_with_pocket() -> Case:
    """A finished 80 × 50 × 20 block that gets a pocket and a through hole: all walls stay."""
    block = box((0, 0, 0), (80, 50, 20))
    cut = subtract(block, box((20, 15, 10), (60, 35, 30)), cylinder((70, 25, -1), (0, 0, 1), 3.0, 30.0))
    sweeps = (over(25, 20, 55, 30, 10.0), drill(70, 25, -2.0))
    return Case(block, cut, block, cut, UP, sweeps)


def sawn_block() -> Case:
    """A sawn block: its top is faced and its outline cut, 4 mm of grip stock stay below."""
    stock = box((-2, -2, -4), (82, 52, 22))
    part = box((0, 0, 0), (80, 50, 20))
    after = union([part, box((-2, -2, -4), (82, 52, 0))])
    sweeps = (over(-2, -2, 82, 52, 20.0), around(shapely.box(0, 0, 80, 50), 0.0))
    return Case(stock, after, stock, part, UP, sweeps)


def cut_all_round() -> Case:
    """As the sawn block, but the outline is cut down past the base: no wall stays."""
    stock = box((-2, -2, 0), (82, 52, 22))
    part = box((0, 0, 0), (80, 50, 20))
    sweeps = (over(-2, -2, 82, 52, 20.0), around(shapely.box(0, 0, 80, 50), -1.0))
    return Case(stock, part, stock, part, UP, sweeps)


def ell() -> Case:
    """An L, alike to none of its mirror images, with a hole drilled in the long leg."""
    shape = union([box((0, 0, 0), (90, 25, 18)), box((0, 0, 0), (25, 60, 18))])
    cut = subtract(shape, cylinder((70, 12, 5), (0, 0, 1), 3.0, 30.0))
    return Case(shape, cut, shape, cut, UP, (drill(70, 12, 5.0),))


def plate_with_holes() -> Case:
    """A plate with two finished through holes whose outline is cut down to the base in this operation."""
    holes = [cylinder((x, 20, -1), (0, 0, 1), 3.4, 40.0, segments=64) for x in (15, 65)]
    blank = subtract(box((-2, -2, 0), (82, 42, 15)), *holes)
    part = subtract(box((0, 0, 0), (80, 40, 15)), *holes)
    return Case(blank, part, box((-2, -2, 0), (82, 42, 15)), part, UP, (around(shapely.box(0, 0, 80, 40), -0.5),))


def puck() -> Case:
    """A round part of 50 mm with a hole drilled in its middle."""
    round_ = cylinder((0, 0, 0), (0, 0, 1), 25.0, 30.0, segments=96)
    cut = subtract(round_, cylinder((0, 0, 5), (0, 0, 1), 3.0, 40.0))
    return Case(round_, cut, round_, cut, UP, (drill(0, 0, 5.0),))


def side_drilled() -> Case:
    """A block on a rotary side: drilled from above and from one side of it, axis along x."""
    block = box((0, 0, 0), (70, 40, 30))
    side = (0.0, 1.0, 0.0)
    cut = subtract(block, cylinder((20, 20, 10), (0, 0, 1), 3.0, 40.0), cylinder((50, 20, 15), side, 3.0, 40.0))
    sweeps = (drill(20, 20, 10.0), drill(50, 20, 15.0, side))
    return Case(block, cut, block, cut, UP, sweeps, {"carrier_kind": "pallet", "axis": (1.0, 0.0, 0.0)})


def stepped() -> Case:
    """A block whose top has a low step at each end for straps; a pocket is cut in its middle."""
    block = union([box((0, 0, 0), (120, 50, 12)), box((30, 0, 0), (90, 50, 40))])
    cut = subtract(block, box((45, 15, 25), (75, 35, 60)))
    return Case(block, cut, block, cut, UP, (over(50, 20, 70, 30, 25.0),))


CASES = {
    "pocket": block_with_pocket,
    "sawn": sawn_block,
    "ell": ell,
    "holes": plate_with_holes,
    "puck": puck,
    "side": side_drilled,
    "stepped": stepped,
}


def on_two_levels() -> Case:
    """A part that no single lower face carries: a foot at each end, one 6 mm higher than the other."""
    block = box((0, 0, 0), (90, 40, 30))
    arch = cylinder((45, -1, 0), (0, 1, 0), 24.0, 42.0)
    shape = subtract(block, arch, box((60, -1, -1), (91, 41, 6)))
    return Case(shape, shape, shape, shape)
