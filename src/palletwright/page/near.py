"""Who stands near a station on its side, and how much room is left to them and to the side's edge."""

from __future__ import annotations

from typing import Any

from palletwright.plan.arrange import sides_of_placing
from palletwright.plan.context import Context
from palletwright.plan.model import Design, OperationChoice, StationAt
from palletwright.plan.options import OperationKey, Option, moved_cut, options
from palletwright.plan.stand import mount_of, standings
from palletwright.plan.table import station_pose
from palletwright.reach import Task


def nearest(design: Design, module: StationAt, most: int) -> list[StationAt]:
    """The nearest other stations on the same side, at most `most`."""
    same = [s for s in design.stations if (s.mount, s.side) == (module.mount, module.side) and s.parts != module.parts]
    return sorted(same, key=lambda s: (s.x - module.x) ** 2 + (s.y - module.y) ** 2)[:most]


def tasks_at(context: Context, design: Design, chosen: dict[int, Option], cycle: int, names: set[str]) -> list[Task]:
    """The cuts at some stations only, for reach."""
    machine = context.machine(design.machine)
    made = []
    for row in standings(context, design, chosen, cycle):
        if row.name not in names:
            continue
        for cut in row.option.cuts:
            tips, way, entry = moved_cut(row.machine_part, cut)
            direction = (float(way[0]), float(way[1]), float(way[2]))
            mount = mount_of(machine, row.mount).id
            made.append(Task(row.name, mount, cut.id, context.tool(cut.tool), direction, tips, entry))
    return made


def key_of(design: Design, choice: OperationChoice) -> OperationKey:
    """Where an operation of the design is looked up: its clamping, seated as it is, on its kind of carrier."""
    vises = [p.carrier for p in design.placings for s in design.stations if s.operation == choice.clamping
             and p.mount == s.mount]  # fmt: skip
    vise = vises[0] if vises and choice.carrier_kind == "vise" else ""
    return OperationKey(
        design.machine, design.family, design.sequence, choice.clamping, choice.up, choice.carrier_kind, vise
    )


def grips_of(context: Context, design: Design, choice: OperationChoice) -> tuple[Option, ...]:
    """All grips that hold for an operation of the design, seated as it is."""
    return options(context, key_of(design, choice))[0]


def outline(chosen: dict[int, Option], station: StationAt) -> Any:
    """The station's outline on its side, mm."""
    from shapely.affinity import affine_transform

    pose = station_pose(station.x, station.y, station.turn)
    flat = [pose[0, 0], pose[0, 1], pose[1, 0], pose[1, 1], pose[0, 3], pose[1, 3]]
    return affine_transform(chosen[station.operation].module.outline, flat)


def side_gaps(
    context: Context, design: Design, chosen: dict[int, Option], module: StationAt
) -> tuple[dict[str, Any] | None, float]:
    """The gap to the nearest neighbour on the side (mm, with the line between them), and the mm² past its edge.

    Outlines seen against the side's normal: bodies that reach under one another read as touching.
    """
    from shapely.ops import nearest_points

    mine = outline(chosen, module)
    placing = next(p for p in design.placings if p.mount == module.mount)
    side = next((s for s in sides_of_placing(context, placing) if s.id == module.side), None)
    outside = 0.0 if side is None else float(mine.difference(side.area.buffer(1e-3)).area)
    gap: dict[str, Any] | None = None
    for other in nearest(design, module, 6):
        theirs = outline(chosen, other)
        have = float(mine.distance(theirs))
        if gap is None or have < gap["have"]:
            a, b = nearest_points(mine, theirs)
            line = [[a.x, a.y], [b.x, b.y]]
            gap = {"to": "/".join(other.parts), "have": have, "need": context.shop.floors.solid_gap, "line": line}
    return gap, outside
