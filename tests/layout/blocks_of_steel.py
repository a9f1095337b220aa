"""Simple modules for the layout tests: a box part with a clamp and a stop, drilled from given directions."""

from __future__ import annotations

import numpy as np
import shapely

from palletwright.layout import Module, Side, ToolSweep
from palletwright.solid.model import Mesh

CORNERS = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=float)
TRIANGLES = np.array(
    [
        [0, 1, 3],
        [0, 3, 2],
        [4, 6, 7],
        [4, 7, 5],
        [0, 4, 5],
        [0, 5, 1],
        [2, 3, 7],
        [2, 7, 6],
        [0, 2, 6],
        [0, 6, 4],
        [1, 5, 7],
        [1, 7, 3],
    ],
    dtype=np.int32,
)


def box(x0: float, y0: float, z0: float, x1: float, y1: float, z1: float) -> Mesh:
    low, high = np.array([x0, y0, z0]), np.array([x1, y1, z1])
    return Mesh(low + CORNERS * (high - low), TRIANGLES)


def of_boxes(*boxes: Mesh, sweeps: tuple[ToolSweep, ...] = ()) -> Module:
    outline = shapely.union_all([shapely.box(*b.bounds[:, :2].ravel()) for b in boxes])
    return Module(10, "g", tuple((f"b{k}", b) for k, b in enumerate(boxes)), sweeps, outline, 1)


def drilled(
    size: tuple[float, float, float] = (60, 40, 30),
    directions: tuple[tuple[float, float, float], ...] = ((0.0, 0.0, 1.0),),
    holder: float = 20.0,
    stick_out: float = 40.0,
    clamps: bool = True,
) -> Module:
    x, y, z = size
    boxes = [box(-x / 2, -y / 2, 0, x / 2, y / 2, z)]
    if clamps:
        boxes += [box(-10, y / 2, 0, 10, y / 2 + 20, 0.6 * z), box(-10, -y / 2 - 12, 0, 10, -y / 2, 0.6 * z)]
    stack = ((5.0, 0.0, stick_out), (holder, stick_out, stick_out + 60.0), (40.0, stick_out + 60.0, stick_out + 100.0))
    sweeps = []
    for d in directions:
        tips = [
            (u, v, z - 20.0) if d[2] > 0.9 else (u, d[1] * (y / 2 - 10), z / 2 + v / 8)
            for u in np.linspace(8 - x / 2, x / 2 - 8, 4)
            for v in np.linspace(8 - y / 2, y / 2 - 8, 3)
        ]
        sweeps.append(ToolSweep(d, ((np.array(tips), stack, 1, 0.0),)))
    return of_boxes(*boxes, sweeps=tuple(sweeps))


def flat_side(width: float, height: float) -> Side:
    return Side("s", shapely.box(-width / 2, -height / 2, width / 2, height / 2), np.eye(4))
