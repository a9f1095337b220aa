"""A design's cycles as scenes, and reach asked about them."""

from __future__ import annotations

import numpy as np

from palletwright.cutting.model import Cut
from palletwright.grip import relieved
from palletwright.layout import carrier_mesh
from palletwright.layout.model import Side
from palletwright.plan.arrange import sides_of_placing
from palletwright.plan.cleared import First, cut_first
from palletwright.plan.context import Context
from palletwright.plan.model import Design, Placing
from palletwright.plan.options import Option, moved_cut
from palletwright.plan.stand import Standing, mount_of, standings
from palletwright.plan.table import carrier_pose, station_pose
from palletwright.reach import Rasters, Task
from palletwright.reach import check as check_reach
from palletwright.reach.model import ReachReport
from palletwright.scene import Placed, PlacedStation, Scene, StationBody, build
from palletwright.shop.model import Carrier, Machine
from palletwright.solid.model import Mesh

LEAST_RETRACT = 50.0
"""mm above the highest body to which the tool retracts between stations and while indexing, at the least."""


def scene_of(context: Context, design: Design, chosen: dict[int, Option], cycle: int) -> Scene:
    """Every body of one cycle in the machine."""
    machine = context.machine(design.machine)
    rows = standings(context, design, chosen, cycle)
    placed = [
        _placed(context, machine, p, [r for r in rows if r.mount.mount == p.mount])
        for p in design.placings
        if p.cycle == cycle
    ]
    return build(machine, placed)


def _placed(context: Context, machine: Machine, placing: Placing, rows: list[Standing]) -> Placed:
    carrier = next(c for c in context.shop.carriers if c.id == placing.carrier)
    sides = {s.id: s for s in sides_of_placing(context, placing)}
    stations = []
    for row in rows:
        pose = sides[row.module.side].pose @ station_pose(row.module.x, row.module.y, row.module.turn)
        named = dict(row.option.module.bodies)
        bodies = [StationBody("part", "part", named[f"part{row.place + 1}"])]
        if row.place == 0:
            bodies += [StationBody(d.id, d.kind, d.mesh) for d in row.option.grip.devices]
        stations.append(PlacedStation(row.name, pose, tuple(bodies)))
    return Placed(
        placing.mount,
        placing.carrier,
        _carrier_body(carrier, placing, rows, sides),
        carrier_pose(machine, placing),
        placing.kind == "pallet",
        tuple(stations),
        "vise" if placing.kind == "vise" else "carrier",
    )


def _carrier_body(carrier: Carrier, placing: Placing, rows: list[Standing], sides: dict[str, Side]) -> Mesh:
    """The carrier with the pockets that its stations' tools need below the parts milled."""
    body = carrier_mesh(carrier, placing.sides, placing.apothem) if placing.kind == "pallet" else carrier_mesh(carrier)
    if placing.kind == "vise":
        return body
    pockets = [
        (sides[row.module.side].pose @ station_pose(row.module.x, row.module.y, row.module.turn), relief)
        for row in rows
        if row.place == 0
        for relief in row.option.grip.reliefs
    ]
    return relieved(body, pockets)


def tasks_of(context: Context, design: Design, chosen: dict[int, Option], cycle: int) -> list[Task]:
    """Every cut at every station of one cycle, for reach."""
    machine = context.machine(design.machine)
    return [
        _task(context, design, row, cut, first)
        for row in standings(context, design, chosen, cycle)
        for cut, first in zip(
            row.option.cuts,
            cut_first(context, machine, design.family, design.sequence, row.module.operation),
            strict=True,
        )
    ]


def _task(context: Context, design: Design, row: Standing, cut: Cut, first: First) -> Task:
    """Where what the holder would meet is cut first, it passes the part as the operation leaves it."""
    machine = context.machine(design.machine)
    _, after = context.in_process(machine, design.family, design.sequence, row.module.operation)
    tips, direction, entry = moved_cut(row.machine_part, cut)
    return Task(
        station=row.name,
        mount=mount_of(machine, row.mount).id,
        cut=cut.id,
        tool=context.tool(cut.tool),
        direction=(float(direction[0]), float(direction[1]), float(direction[2])),
        tips=tips,
        entry=entry,
        own_state="blank" if first is None else "cut",
        own_shape=None if first is None else (after, row.machine_part),
    )


LOOK = 30.0
"""mm up to which clearances of a way that is kept are measured; what is farther is said to be at least that."""


def reach_of(
    context: Context, design: Design, chosen: dict[int, Option], cycle: int, look: float = LOOK
) -> ReachReport:
    """Reach of one cycle's whole scene; `look` 0 gives the verdict alone, sooner."""
    scene = scene_of(context, design, chosen, cycle)
    return context.timed(
        "reach",
        lambda: check_reach(
            scene,
            tasks_of(context, design, chosen, cycle),
            context.machine(design.machine),
            context.shop.floors,
            look=look,
            rasters=context.once(("rasters",), Rasters),
        ),
    )


def retract_height(context: Context, scene: Scene) -> float:
    """mm, machine z of the tool tip between stations and while indexing: above everything at any angle."""
    floors = context.shop.floors
    highest = 0.0
    mounts = {m.id: m for m in scene.mounts}
    for body in scene.bodies:
        points = body.mesh.vertices @ body.pose[:3, :3].T + body.pose[:3, 3]
        mount = mounts.get(body.group)
        if mount is not None and mount.rotary:
            axis = np.asarray(mount.axis)
            out = points - np.asarray(mount.axis_point)
            reach = np.linalg.norm(out - (out @ axis)[:, None] * axis, axis=1).max()
            highest = max(highest, mount.axis_point[2] + float(reach) + floors.index)
        elif body.kind != "table":
            highest = max(highest, float(points[:, 2].max()) + floors.cutter + floors.tool_setting_error)
    return max(highest, LEAST_RETRACT)
