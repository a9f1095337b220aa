"""What the person at the machine meets on a way's sides, and how far its tools stick out, of the ways that are kept."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from palletwright.grip.model import Grip
from palletwright.grip.sideways import key_radius
from palletwright.layout.model import Side
from palletwright.plan.arrange import sides_of_placing
from palletwright.plan.context import Context
from palletwright.plan.evaluate import cycles_of
from palletwright.plan.handling import LOOSE
from palletwright.plan.model import Design, Placing
from palletwright.plan.options import Option
from palletwright.plan.scenes import scene_of, tasks_of
from palletwright.plan.stand import Standing, standings
from palletwright.plan.table import station_pose
from palletwright.reach import Chips, Loading, Rasters, Seat, Spot, Thing, chips, loading, shortest_stick_out
from palletwright.solid.model import Floats


def with_hands(context: Context, design: Design, chosen: dict[int, Option], scene: dict[str, Any]) -> dict[str, Any]:
    """The pictures of a way with `loading` and `chips` of each side and `stick_outs` of each cycle beside them."""
    cycles = []
    for cycle, row in zip(cycles_of(design), scene["cycles"], strict=True):
        known = sides_by_hand(context, design, chosen, cycle)
        sides = [side | known[side["mount"], side["side"]] for side in row["sides"]]
        cycles.append(row | {"sides": sides, "stick_outs": stick_outs(context, design, chosen, cycle)})
    return scene | {"cycles": cycles}


def sides_by_hand(
    context: Context, design: Design, chosen: dict[int, Option], cycle: int
) -> dict[tuple[str, str], dict[str, Any]]:
    """By (mount, side): how it is loaded in its order, and where chips stay, as plain data."""
    rows: dict[tuple[str, str], list[Standing]] = {}
    for row in standings(context, design, chosen, cycle):
        rows.setdefault((row.mount.mount, row.module.side), []).append(row)
    result = {}
    for (mount, name), here in rows.items():
        placing = here[0].mount
        side = next(s for s in sides_of_placing(context, placing) if s.id == name)
        seats = [_seat(context, row) for row in here]
        result[mount, name] = _told(loading(seats), _chips(placing, side, here, seats))
    return result


def _told(loaded: Loading, dirt: Chips) -> dict[str, Any]:
    return {
        "loading": {
            "order": list(loaded.order),
            "least_hand_mm": min((s.hand for s in loaded.steps), default=None),
            "steps": [asdict(s) | {"easy": s.easy} for s in loaded.steps],
            "reasons": [asdict(r) for r in loaded.reasons],
        },
        "chips": {
            "pockets": [asdict(p) for p in dirt.pockets],
            "hidden": list(dirt.hidden),
            "reasons": [asdict(r) for r in dirt.reasons],
        },
    }


def _seat(context: Context, row: Standing) -> Seat:
    """One part's place; devices of a module for several parts stand at its last one, which closes them."""
    pose = station_pose(row.module.x, row.module.y, row.module.turn)
    named = dict(row.option.module.bodies)
    part = Thing(row.name, named[f"part{row.place + 1}"].moved(pose))
    last = row.place == row.option.parts - 1
    return Seat(row.name, part, _devices(context, row.option.grip, pose, row.name) if last else ())


def _devices(context: Context, grip: Grip, pose: Floats, owner: str) -> tuple[Thing, ...]:
    clamps = {c.id: c for c in context.shop.clamps}
    made = []
    for d in grip.devices:
        clamp = clamps.get(d.catalogue) if d.kind == "clamp" else None
        turned = pose[:3, :3] @ np.asarray(d.tighten_from)
        way = (float(turned[0]), float(turned[1]), float(turned[2]))
        key = key_radius(clamp.screw) if clamp is not None and clamp.access != "none" else 0.0
        loose = d.kind == "clamp" and grip.kind in LOOSE
        made.append(Thing(f"{owner}/{d.id}", d.mesh.moved(pose), way, key, loose))
    return tuple(made)


def _chips(placing: Placing, side: Side, rows: list[Standing], seats: list[Seat]) -> Chips:
    low_x, low_y, high_x, high_y = side.area.bounds
    sunk, spots = [], []
    for row in rows:
        pose, grip = station_pose(row.module.x, row.module.y, row.module.turn), row.option.grip
        sunk += [r.mesh.moved(pose) for r in grip.reliefs] if row.place == 0 else []
        onto = pose @ grip.poses[row.place] @ np.linalg.inv(grip.poses[0])
        for c in grip.contacts:
            if c.kind == "locator":
                at, normal = onto[:3, :3] @ np.asarray(c.at) + onto[:3, 3], onto[:3, :3] @ np.asarray(c.normal)
                spots.append(Spot(f"{row.name}/{c.id}", _vec(at), _vec(normal)))
    things = [d for s in seats for d in s.devices]
    return chips(
        (np.array([low_x, low_y]), np.array([high_x, high_y])),
        [*(s.part.mesh for s in seats), *(d.mesh for d in things)],
        sunk,
        [d.mesh for d in things if not d.loose],
        spots,
        turns_over=placing.kind == "pallet",
    )


def _vec(v: Floats) -> tuple[float, float, float]:
    return float(v[0]), float(v[1]), float(v[2])


def stick_outs(context: Context, design: Design, chosen: dict[int, Option], cycle: int) -> list[dict[str, Any]]:
    """Each tool's shortest stick-out in this very scene, what stops a shorter one, and how far its tip gives way."""
    scene, tasks = scene_of(context, design, chosen, cycle), tasks_of(context, design, chosen, cycle)
    machine, rows = context.machine(design.machine), []
    rasters = context.once(("rasters",), Rasters)
    sides: dict[int, float] = {}
    for option in {id(o): o for o in chosen.values()}.values():
        for cut in option.cuts:
            sides[cut.tool] = max(sides.get(cut.tool, 0.0), cut.load.side)
    for number in sorted({t.tool.number for t in tasks}):
        tool = context.tool(number)
        found = shortest_stick_out(
            scene, tasks, machine, context.shop.floors, tool, rasters=rasters, side=sides.get(number) or None
        )
        stopped = found.stopped_by
        rows.append(
            {
                "tool": number,
                "holder": found.holder,
                "now_mm": found.now,
                "shortest_mm": found.shortest,
                "over_diameter": found.over_diameter,
                "gives_mm": found.gives,
                "gives_now_mm": found.gives_now,
                "side_n": sides.get(number),
                "stopped_by": None if stopped is None else f"{stopped.check} to {stopped.obstacle or 'itself'}",
                "reason_asked": found.needs_reason,
            }
        )
    return rows
