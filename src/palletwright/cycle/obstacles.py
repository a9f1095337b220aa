"""How low a tool may go across from station to station: over everything that really stands in the machine there.

For every tool at every index angle one height counts for all its ways, from the end of any of its visits there to
the start of any other, so that it also holds where stations are switched off or a restart begins in the middle.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from palletwright.cycle.model import Crossing, Visit, crossing
from palletwright.field import OwnedField
from palletwright.reach import Rasters, nose_stack
from palletwright.reach.obstacles import field_at, moves_of
from palletwright.scene import Scene
from palletwright.shop.model import Floors, Machine, Tool

Floats = NDArray[np.float64]
CELL = 1.7
"""Cells that a way and an obstacle may be nearer than their cells' centres: half a diagonal each, and a quarter cell
between two looks along a way (√2 + 1/4)."""

PITCH = 2.0
"""mm of the height fields; a coarser one only raises the heights."""


def clear_heights(
    scene: Scene,
    visits: Sequence[Visit],
    tools: Mapping[int, Tool],
    machine: Machine,
    floors: Floors,
    *,
    ceiling: float,
    pitch: float = PITCH,
    rasters: Rasters | None = None,
) -> dict[Crossing, float]:
    """mm, machine frame: least heights of the tip for straight ways across, by mount, angle and tool.

    Never below the truth: over every cell of a way the whole assembly and the spindle nose keep `floors.cutter`
    sideways, and that and the tool-setting error below. All mounts on the rotary axis stand at the visit's angle; for
    a visit on a fixed mount they may stand at any angle that the cycle uses. `ceiling`: mm, the height that is safe
    everywhere, which no answer is above.
    """
    made = Rasters() if rasters is None else rasters
    turning = [m.id for m in scene.mounts if m.rotary]
    used = sorted({round(v.angle % 360.0, 6) for v in visits if v.mount in turning}) or [0.0]
    heights: dict[Crossing, float] = {}
    for angle in used:
        here = [v for v in visits if v.mount not in turning or round(v.angle % 360.0, 6) == angle]
        widest = max([r[0] for v in here for r in tools[v.tool].stack()] + [c.diameter / 2 for c in machine.nose])
        room = widest + floors.cutter + 2 * pitch
        moves = moves_of(scene, dict.fromkeys(turning, angle))
        field = field_at(scene, moves, _window(here, room), pitch, range(len(scene.bodies)), made)
        for key in sorted({crossing(v) for v in here}):
            mine = [v for v in here if crossing(v) == key]
            own = max(max(v.start[2], v.end[2]) for v in mine)
            height = _over(
                mine, field, [*tools[key[2]].stack(), *nose_stack(machine, tools[key[2]].gauge_length)], floors
            )
            heights[key] = min(ceiling, max(own, height, heights.get(key, -np.inf)))
    return heights


def _window(visits: Sequence[Visit], room: float) -> tuple[Floats, Floats]:
    points = np.array([p[:2] for v in visits for p in (v.start, v.end)])
    return points.min(axis=0) - room, points.max(axis=0) + room


def _over(
    visits: Sequence[Visit], field: OwnedField, stack: Sequence[tuple[float, float, float]], floors: Floors
) -> float:
    """The least height of the tip on all ways between the visits; -inf where nothing is below the assembly.

    A row of the assembly passes over every cell that is nearer to a way than its radius; both the way's point and
    the obstacle's may be anywhere in their cells.
    """
    ends = np.array([v.end[:2] for v in visits])
    starts = np.array([v.start[:2] for v in visits])
    passed = np.zeros(field.top.shape, dtype=np.bool_)
    draw_ways(ends, starts, passed, field.origin, field.pitch)
    away = distance_transform_edt(~passed) * field.pitch
    slack = floors.cutter + CELL * field.pitch
    highest = -np.inf
    for radius, start, _ in stack:
        below = field.top[away <= radius + slack]
        highest = max(highest, float(below.max(initial=-np.inf)) - start)
    return highest + floors.cutter + floors.tool_setting_error


@njit(cache=True)  # type: ignore[untyped-decorator]
def draw_ways(ends: Floats, starts: Floats, passed: NDArray[np.bool_], origin: Floats, pitch: float) -> None:
    """Mark the cells (ny, nx) of the straight ways from every end (n, 2) to every start (m, 2), every half cell."""
    ny, nx = passed.shape
    for i in range(len(ends)):
        for j in range(len(starts)):
            dx, dy = starts[j, 0] - ends[i, 0], starts[j, 1] - ends[i, 1]
            steps = int(np.ceil(np.hypot(dx, dy) / (0.5 * pitch))) + 1
            for k in range(steps + 1):
                x, y = ends[i, 0] + dx * k / steps, ends[i, 1] + dy * k / steps
                column = min(max(int((x - origin[0]) / pitch), 0), nx - 1)
                row = min(max(int((y - origin[1]) / pitch), 0), ny - 1)
                passed[row, column] = True
