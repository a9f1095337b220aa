"""Carrier models as files: STEP of each carrier and of what stands on it, read back and counted, and GLB to look at."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from palletwright.papers.carriers import CarrierModel, blank_volume, side_poses_of
from palletwright.papers.crossings import shared_volume
from palletwright.papers.facts import Facts
from palletwright.papers.holes import bores
from palletwright.papers.live import Live
from palletwright.papers.marks import DEPTH, groove_area
from palletwright.papers.relief import Pocket
from palletwright.papers.views import GREYS
from palletwright.solid import Measured, glb_bytes, write_measured
from palletwright.solid.primitives import Block, RoundWall, Shape, placed
from palletwright.verdict import Vec

Floats = NDArray[np.float64]

SAME = 1e-6
"""mm within which a hole that was read back is where it was drawn."""

VOLUME = 2e-6
"""Share of the volume by which a carrier that was read back may differ from what blank, holes, reliefs and marks add
up to: what their chamfers share at a plate's corners, and rounding."""


def write_models(facts: Facts, cycle: int, model: CarrierModel, live: Live, folder: Path) -> None:
    """`carrier.step`, and `assembly.step` with the carrier as it is before engraving, both read back.

    Raises RuntimeError when what was read back differs from what was drawn: a fault of ours.
    """
    parts = assembly(facts, cycle, model, live)
    files = [(folder / "carrier.step", [(model.carrier.id, model.shape)]), (folder / "assembly.step", parts)]
    (alone, *more), together = write_measured(files)
    faults = differences(model, alone) + differences(replace(model, marks=()), together[0])
    if more or len(together) != len(parts):
        faults.append(f"{len(parts)} bodies drawn, {len(together)} read back")
    if faults:
        raise RuntimeError(f"{model.carrier.id}: " + "; ".join(faults[:5]))


def differences(model: CarrierModel, solid: Measured) -> list[str]:
    """In what a solid isn't the carrier: holes by place, axis and size, relief bores, volume."""
    wanted = [(r, h.at, h.into, h.label) for h in model.holes for r in bores(h)]
    wanted += [_bore(model, p) for p in model.pockets if p.diameter is not None]
    faults = [f"{row[3]} is missing" for row in wanted if not any(_same(wall, *row[:3]) for wall in solid.walls)]
    extra = [wall for wall in solid.walls if not any(_same(wall, *row[:3]) for row in wanted)]
    if extra:
        faults.append(f"{len(extra)} round walls too many")
    expected = expected_volume(model)
    low, high = 0.0, 0.0
    if abs(solid.volume - expected) > VOLUME * expected:
        # where two of them meet, the formula takes away twice what they share
        low, high = shared_volume(model)
    if not low - VOLUME * expected <= solid.volume - expected <= high + VOLUME * expected:
        faults.append(f"volume {solid.volume:.1f} mm³, by formula {expected + low:.1f} to {expected + high:.1f}")
    return faults


def expected_volume(model: CarrierModel) -> float:
    """mm³ of a carrier by formula: blank less holes, reliefs and marks; where two of them meet it is too little."""
    taken = sum(h.volume for h in model.holes) + sum(p.area * p.depth for p in model.pockets)
    taken += sum(groove_area(m) * DEPTH for m in model.marks)
    # a through hole's own chamfered edge is counted once, at its mouth
    return blank_volume(model.carrier, model.placing) - taken


def _bore(model: CarrierModel, pocket: Pocket) -> tuple[float, Vec, Vec, str]:
    side = side_pose(model, pocket.side)
    at = side @ np.array([*pocket.centre, 0.0, 1.0])
    return (pocket.diameter or 0.0) / 2, _vec(at), _vec(-side[:3, 2]), pocket.label


def side_pose(model: CarrierModel, side: str) -> Floats:
    """T_carrier_side."""
    return side_poses_of(model.carrier, model.placing)[side]


def _vec(v: Floats) -> Vec:
    return float(v[0]), float(v[1]), float(v[2])


def _same(found: RoundWall, wanted: float, at: Vec, into: Vec) -> bool:
    axis = np.asarray(found.axis)
    away = np.asarray(at) - np.asarray(found.point)
    off = np.linalg.norm(away - (away @ axis) * axis)
    return (
        abs(found.radius - wanted) < SAME and float(off) < SAME and abs(abs(float(axis @ np.asarray(into))) - 1) < 1e-9
    )


def assembly(facts: Facts, cycle: int, model: CarrierModel, live: Live) -> list[tuple[str, Shape]]:
    """The carrier, not engraved, with the envelope (bounding block) of every clamp and locator, named by station."""
    inverse = np.linalg.inv(facts.mounts(cycle)[model.placing.mount].pose)
    shapes: list[tuple[str, Shape]] = [(model.carrier.id, model.unmarked or model.shape)]
    firsts = {s.parts[0] for s in facts.design.stations}
    for station in facts.stations(cycle):
        if station.mount != model.placing.mount or station.name not in firsts:
            continue
        for device in live.options[station.operation].grip.devices:
            low, high = (tuple(float(v) for v in c) for c in device.mesh.bounds)
            block = Block((low[0], low[1], low[2]), (high[0], high[1], high[2]))
            shapes.append((f"{station.name}/{device.id} ({device.catalogue})", placed(block, inverse @ station.pose)))
    return shapes


def scene_glb(facts: Facts, cycle: int) -> bytes:
    """Every body of the cycle in the machine, for a viewer."""
    rows = []
    for body in facts.bodies(cycle):
        grey = int(GREYS[body["kind"]][1:3], 16) / 255
        mesh = facts.meshes[body["mesh"]].moved(np.reshape(body["pose"], (4, 4)))
        rows.append((body["id"], mesh, (grey, grey, grey, 1.0)))
    return glb_bytes(rows)
