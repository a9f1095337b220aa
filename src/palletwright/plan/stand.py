"""A design stood up in the machine: bodies for the scene, tasks for reach, visits for the cycle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from palletwright.cutting.model import Cut
from palletwright.cycle.model import Visit
from palletwright.plan.arrange import sides_of_placing
from palletwright.plan.cleared import cut_first
from palletwright.plan.context import Context
from palletwright.plan.model import Design, Placing, StationAt
from palletwright.plan.options import Option, moved_cut, moved_points
from palletwright.plan.table import carrier_pose, station_pose
from palletwright.scene import Mount, axis_vector, index_angle, turning
from palletwright.shop.model import Machine
from palletwright.verdict import Vec

Pose = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Standing:
    """One part's place: its name, module, poses, and the cuts made there."""

    name: str
    module: StationAt
    option: Option
    place: int
    mount: Placing
    machine_part: Pose
    machine_station: Pose


def standings(context: Context, design: Design, options: dict[int, Option], cycle: int) -> list[Standing]:
    """Every part of one cycle with its poses at angle zero, in the order of the design."""
    machine = context.machine(design.machine)
    placings = {p.mount: p for p in design.placings if p.cycle == cycle}
    sides = {m: {s.id: s for s in sides_of_placing(context, p)} for m, p in placings.items()}
    rows = []
    for module in design.stations:
        if module.mount not in placings:
            continue
        placing, option = placings[module.mount], options[module.operation]
        pose = (
            carrier_pose(machine, placing)
            @ sides[module.mount][module.side].pose
            @ station_pose(module.x, module.y, module.turn)
        )
        for i, name in enumerate(module.parts):
            rows.append(Standing(name, module, option, i, placing, pose @ option.grip.poses[i], pose))
    return rows


def mount_of(machine: Machine, placing: Placing) -> Mount:
    """The placing as a mount of the scene: on the rotary axis, or fixed."""
    pose = carrier_pose(machine, placing)
    rotary = machine.rotary
    if placing.kind != "pallet" or rotary is None:
        return Mount(placing.mount, placing.carrier, False, pose)
    x, y = rotary.faceplate_at
    return Mount(placing.mount, placing.carrier, True, pose, (x, y, rotary.centre_height), axis_vector(rotary))


def cut_angle(mount: Mount, standing: Standing, cut: Cut) -> float:
    """Index angle of one cut at one station, degrees; 0 on a fixed mount.

    Raises ValueError for a direction that no index angle brings to the spindle.
    """
    direction = standing.machine_part[:3, :3] @ np.asarray(cut.direction)
    angle, lean = index_angle(direction, mount)
    if angle is None:
        raise ValueError(f"{standing.name} {cut.id}: its direction leans {lean:.1f} degrees off the spindle")
    return angle


def visits(context: Context, design: Design, rows: list[Standing]) -> list[Visit]:
    """Every cut at every station of a cycle with its place in the machine, its angle and what must come before."""
    machine = context.machine(design.machine)
    access = context.access(machine)
    after = {f.id: f.after for f in access.features}
    made = []
    for standing in rows:
        names: dict[str, list[str]] = {}
        for i, cut in enumerate(standing.option.cuts):
            names.setdefault(cut.feature, []).append(visit_name(standing, i, cut))
        seen: dict[str, str] = {}
        first = cut_first(context, machine, design.family, design.sequence, standing.module.operation)
        for i, cut in enumerate(standing.option.cuts):
            before = {*after.get(cut.feature, ()), *(first[i] or ())}
            made.append(_visit(machine, standing, cut, visit_name(standing, i, cut), names, before, seen))
            seen[cut.feature] = made[-1].id
    return made


def visit_name(standing: Standing, i: int, cut: Cut) -> str:
    """Unique in its cycle: the part's station, the cut's place in its operation, feature, stage and tool."""
    return f"{standing.name}|{i}|{cut.id}"


def _visit(
    machine: Machine,
    standing: Standing,
    cut: Cut,
    name: str,
    names: dict[str, list[str]],
    after: set[str],
    seen: dict[str, str],
) -> Visit:
    mount = mount_of(machine, standing.mount)
    angle = cut_angle(mount, standing, cut)
    pose = turning(mount, angle) @ standing.machine_part
    tips, direction, entry = moved_cut(pose, cut)
    start = tips[0] + direction * max(0.0, entry - float(direction @ tips[0]))
    before = [seen[cut.feature]] if cut.feature in seen else []
    before += [names[f][-1] for f in sorted(after) if f in names]
    return Visit(
        id=name,
        tool=cut.tool,
        mount=standing.mount.mount,
        angle=angle,
        station=standing.name,
        feature=cut.feature,
        stage=cut.stage,
        operation=standing.module.operation,
        start=_vec(start),
        end=_vec(tips[-1] + direction * max(0.0, entry - float(direction @ tips[-1]))),
        cut_seconds=cut.seconds,
        after=tuple(before),
        lowest=float(tips[:, 2].min()),
        basis="measured" if cut.measured else "geometry",
    )


def _vec(point: NDArray[np.float64]) -> Vec:
    return float(point[0]), float(point[1]), float(point[2])


def points_in_machine(standing: Standing, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 3) points of the part frame in the machine at angle zero."""
    return moved_points(standing.machine_part, points)
