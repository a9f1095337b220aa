"""A design stood up in the machine: bodies for the scene, tasks for reach, visits for the cycle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from palletwright.cutting.model import Cut
from palletwright.cycle.model import Visit
from palletwright.plan.arrange import sides_of_placing
from palletwright.plan.context import Context
from palletwright.plan.model import Design, Placing, StationAt
from palletwright.plan.options import Option, moved_cut, moved_points
from palletwright.plan.table import carrier_pose, station_pose
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


def index_angle(machine: Machine, direction: NDArray[np.float64]) -> float:
    """Degrees, right-handed about the rotary axis, that turn `direction` to machine +z."""
    if machine.rotary is None or machine.rotary.axis == "x":
        angle = np.degrees(np.arctan2(direction[1], direction[2]))
    else:
        angle = np.degrees(np.arctan2(-direction[0], direction[2]))
    return float(np.round(angle % 360.0, 6) % 360.0)


def turn_about_axis(machine: Machine, degrees: float) -> Pose:
    """(4, 4) right-handed turn about the rotary axis where it stands in the machine."""
    pose = np.eye(4)
    rotary = machine.rotary
    if rotary is None or degrees == 0:
        return pose
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    pose[:3, :3] = [[1, 0, 0], [0, c, -s], [0, s, c]] if rotary.axis == "x" else [[c, 0, s], [0, 1, 0], [-s, 0, c]]
    centre = np.array([*rotary.faceplate_at, rotary.centre_height])
    pose[:3, 3] = centre - pose[:3, :3] @ centre
    return pose


def cut_angle(machine: Machine, standing: Standing, cut: Cut) -> float:
    """Index angle of one cut at one station; 0 on a fixed mount."""
    if standing.mount.kind != "pallet":
        return 0.0
    return index_angle(machine, standing.machine_part[:3, :3] @ np.asarray(cut.direction))


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
        for i, cut in enumerate(standing.option.cuts):
            made.append(_visit(machine, standing, cut, visit_name(standing, i, cut), names, after, seen))
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
    after: dict[str, tuple[str, ...]],
    seen: dict[str, str],
) -> Visit:
    angle = cut_angle(machine, standing, cut)
    pose = turn_about_axis(machine, angle) @ standing.machine_part
    tips, direction, entry = moved_cut(pose, cut)
    start = tips[0] + direction * max(0.0, entry - float(direction @ tips[0]))
    before = [seen[cut.feature]] if cut.feature in seen else []
    before += [names[f][-1] for f in after.get(cut.feature, ()) if f in names]
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
    )


def _vec(point: NDArray[np.float64]) -> Vec:
    return float(point[0]), float(point[1]), float(point[2])


def points_in_machine(standing: Standing, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 3) points of the part frame in the machine at angle zero."""
    return moved_points(standing.machine_part, points)
