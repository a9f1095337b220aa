"""The chain past the part for every mount of a design, and what falls loose when its operations end."""

from __future__ import annotations

from palletwright.holding import ChainReport, PlacedCut, chain_of, loose_pieces
from palletwright.plan.context import Context
from palletwright.plan.model import Design
from palletwright.plan.options import Option, moved_points
from palletwright.plan.scenes import scene_of
from palletwright.plan.stand import Standing, cut_angle, mount_of, standings
from palletwright.scene import Scene, turning
from palletwright.verdict import Reason

STEEL, ALUMINIUM = 7850.0, 2700.0
"""kg/m³; textbook values."""


def chains_of(context: Context, design: Design, chosen: dict[int, Option], cycle: int) -> tuple[ChainReport, ...]:
    """What holds each carrier of one cycle in the machine, under every cut at every station on it."""
    machine = context.machine(design.machine)
    scene = scene_of(context, design, chosen, cycle)
    rows = standings(context, design, chosen, cycle)
    reports = []
    for placing in (p for p in design.placings if p.cycle == cycle):
        here = [r for r in rows if r.mount.mount == placing.mount]
        carrier = next(c for c in context.shop.carriers if c.id == placing.carrier)
        reports.append(
            chain_of(
                machine,
                scene,
                mount_of(machine, placing).id,
                carrier,
                [c for r in here for c in _placed_cuts(context, design, r)],
                _densities(context, scene),
                grips=list({id(r.option.grip): r.option.grip for r in here}.values()),
                clamps=context.shop.clamps,
                floors=context.shop.floors,
            )
        )
    return tuple(reports)


def _placed_cuts(context: Context, design: Design, row: Standing) -> list[PlacedCut]:
    """The cuts of one part as the machine stands for each: tips turned to their index angle."""
    mount = mount_of(context.machine(design.machine), row.mount)
    made = []
    for cut in row.option.cuts:
        angle = cut_angle(mount, row, cut)
        tips = moved_points(turning(mount, angle) @ row.machine_part, cut.tips)
        made.append(PlacedCut(cut.id, row.name, tips, cut.load, angle))
    return made


def _densities(context: Context, scene: Scene) -> dict[str, float]:
    """kg/m³ by body kind; carriers of steel are told apart by the mounts' own list."""
    steel = {c.id for c in context.shop.carriers if c.steel}
    heavy = any(m.carrier in steel for m in scene.mounts)
    metal = STEEL if heavy else ALUMINIUM
    return {"part": context.material.density, "carrier": metal, "vise": STEEL, "clamp": STEEL, "locator": STEEL}


def loose_of(context: Context, design: Design) -> tuple[Reason, ...]:
    """Pieces that fall free at the end of each operation, named by operation."""
    machine = context.machine(design.machine)
    rows = []
    for choice in design.operations:
        before, after = context.in_process(machine, design.family, design.sequence, choice.clamping)
        key = ("loose", context.work_key(machine, design.family, design.sequence, choice.clamping))
        found = context.once(key, lambda b=before, a=after: loose_pieces(b, a, context.solid.mesh))  # type: ignore[misc]
        rows += [Reason(f"operation {choice.number}: {r.about}", r.text, r.amount, r.unit) for r in found]
    return tuple(rows)
