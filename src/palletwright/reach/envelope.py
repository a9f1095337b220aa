"""What the machine itself allows: travel, swing, indexing with the tool parked, daylight."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from palletwright.field import extent
from palletwright.reach.task import Task
from palletwright.scene import Body, Mount, Scene
from palletwright.shop.model import Floors, Machine
from palletwright.verdict import Margin

Floats = NDArray[np.float64]
Placed = tuple[Task, Floats, float]
"""A task with its tips (n, 3) and entry height as the machine stands when it is cut, mm."""

LEAD_IN = 3.0
"""mm above the entry height at which rapid ends; from memory, unconfirmed."""


def envelope_margins(scene: Scene, tasks: Sequence[Placed], machine: Machine, floors: Floors) -> list[Margin]:
    """Margins of the machine's own limits for one scene."""
    out = _travel(tasks, machine)
    rotary = [m for m in scene.mounts if m.rotary]
    longest = max(tasks, key=lambda t: t[0].tool.gauge_length, default=None)
    for mount in rotary:
        out += _swing(scene, mount, machine, floors, longest)
    if longest is not None:
        out += _daylight(scene, machine, floors, longest[0], rotary)
    return out


def _travel(tasks: Sequence[Placed], machine: Machine) -> list[Margin]:
    """The gauge point of every tool within the travels, lead-in included: one margin an axis and tool."""
    worst: dict[tuple[str, str], Margin] = {}
    for task, tips, entry in tasks:
        for axis, have in _spare_travel(task, tips, entry, machine):
            key = (axis, task.tool.id)
            if key not in worst or have < worst[key].have:
                worst[key] = Margin(
                    f"travel {axis}", task.tool.id, f"{axis} travel", 0.0, have, "mm",
                    note=f"{task.cut} at {task.station}",
                )  # fmt: skip
    return list(worst.values())


def _spare_travel(task: Task, tips: Floats, entry: float, machine: Machine) -> list[tuple[str, float]]:
    """mm of travel left beyond the gauge point's extreme places, axis by axis."""
    low, high = extent(tips)
    high[2] = max(high[2], entry + LEAD_IN)
    gauge = np.array([0.0, 0.0, task.tool.gauge_length])
    limits = (machine.travel.x, machine.travel.y, machine.travel.z)
    return [
        (axis, float(min(low[k] + gauge[k] - limits[k][0], limits[k][1] - high[k] - gauge[k])))
        for k, axis in enumerate("xyz")
    ]


def beyond_travel(tasks: Sequence[Placed], machine: Machine) -> set[tuple[str, str]]:
    """(station, axis travel) of every station that a tool would have to leave the travel for."""
    return {
        (task.station, f"{axis} travel")
        for task, tips, entry in tasks
        for axis, have in _spare_travel(task, tips, entry, machine)
        if have < 0
    }


def _from_axis(body: Body, mount: Mount) -> tuple[Floats, Floats]:
    """(distance from the axis, place along it) of the body's vertices at angle 0, mm."""
    points = body.mesh.vertices @ body.pose[:3, :3].T + body.pose[:3, 3] - np.asarray(mount.axis_point)
    axis = np.asarray(mount.axis)
    along = points @ axis
    return np.linalg.norm(points - along[:, None] * axis, axis=1), along


def _swing(scene: Scene, mount: Mount, machine: Machine, floors: Floors, longest: Placed | None) -> list[Margin]:
    """Swing, room over the table, length between faceplate and tailstock, fixed neighbours, parked tool."""
    if machine.rotary is None:
        raise ValueError(f"mount {mount.id} turns, but machine {machine.id} has no rotary axis")
    turning = [b for b in scene.bodies if b.group == mount.id]
    reach = [(float(_from_axis(b, mount)[0].max() + b.mesh.chord_error), b) for b in turning]
    swing, widest = max(reach, key=lambda r: r[0])
    # the carrier is an extrusion along the axis: its ends are exact, others may reach as far as their chord error
    ends = [(_from_axis(b, mount)[1], 0.0 if b.kind == "carrier" else b.mesh.chord_error) for b in turning]
    first = min(float(at.min()) - error for at, error in ends)
    last = max(float(at.max()) + error for at, error in ends)
    between = machine.rotary.between
    out = [
        Margin("swing", mount.id, "rotary swing", swing, machine.rotary.swing_radius, "mm", note=f"by {widest.id}"),
        Margin("swing over table", mount.id, "table", swing, mount.axis_point[2], "mm", note=f"by {widest.id}"),
        Margin("length at faceplate", mount.id, "faceplate", 0.0, first, "mm"),
    ]
    if machine.rotary.tailstock:
        spare = between - last
        out.append(Margin("length at tailstock", mount.id, "tailstock", 0.0, spare, "mm"))
    out += _fixed_neighbours(scene, mount, swing, (first, last))
    if longest is not None:
        tool = longest[0].tool
        have = machine.travel.z[1] - tool.gauge_length - (mount.axis_point[2] + swing)
        note = f"parked {tool.id}, gauge length {tool.gauge_length:g} mm"
        out.append(Margin("indexing clearance", mount.id, widest.id, floors.index, float(have), "mm", note=note))
    return out


def _fixed_neighbours(scene: Scene, mount: Mount, swing: float, span: tuple[float, float]) -> list[Margin]:
    """What stands on the table beside the turning mount must stay out of its swing: least distance of its block."""
    axis = np.asarray(mount.axis)
    across = [k for k in range(3) if axis[k] == 0.0]
    along = int(np.argmax(np.abs(axis)))
    out = []
    for b in scene.bodies:
        if b.group == mount.id or b.kind in ("table", "rotary", "tailstock"):
            continue
        low, high = b.mesh.moved(b.pose).bounds - np.asarray(mount.axis_point)
        if high[along] <= span[0] or low[along] >= span[1]:
            continue
        gap = np.maximum(0.0, np.maximum(low[across], -high[across]))
        have = float(np.hypot(*gap) - b.mesh.chord_error)
        out.append(Margin("swing beside", f"{mount.id} {b.id}", b.id, swing, have, "mm"))
    return out


def _daylight(scene: Scene, machine: Machine, floors: Floors, task: Task, rotary: Sequence[Mount]) -> list[Margin]:
    """The longest tool's tip over everything that parts stand on, at the top of the z travel."""
    turning = {m.id for m in rotary}
    fixed = [b for b in scene.bodies if b.group not in turning and b.kind not in ("table", "rotary", "tailstock")]
    if not fixed:
        return []
    tops = [float(b.mesh.moved(b.pose).bounds[1, 2] + b.mesh.chord_error) for b in fixed]
    k = int(np.argmax(tops))
    have = machine.travel.z[1] - task.tool.gauge_length - tops[k]
    note = f"{task.tool.id}, gauge length {task.tool.gauge_length:g} mm, at the top of the z travel"
    return [Margin("daylight", "set", fixed[k].id, floors.cutter, float(have), "mm", note=note)]
