"""Carrier models as files: STEP of each carrier and of what stands on it, read back and counted, and GLB to look at."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from palletwright.papers.carriers import CarrierModel
from palletwright.papers.facts import Facts
from palletwright.papers.live import Rebuilt
from palletwright.papers.views import GREYS
from palletwright.solid import glb_bytes, read_step, write_step
from palletwright.solid.primitives import Block, Shape, placed

SAME = 1e-6
"""mm within which a hole that was read back is where it was drawn."""


def write_carrier(model: CarrierModel, path: Path) -> None:
    """The carrier as STEP, read back: as many round holes of each size at the same places.

    Raises RuntimeError when the file that was read back differs: a fault of ours.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    write_step(path, [(model.carrier.id, model.shape)], timeout=300)
    found = holes_in(path)
    missing = [h.label for h in model.holes if not any(_same(f, h) for f in found)]
    if missing or len(found) != len(model.holes):
        text = f"{path.name}: {len(model.holes)} holes drawn, {len(found)} read back"
        raise RuntimeError(text + (f", missing {', '.join(missing[:5])}" if missing else ""))


def holes_in(path: Path) -> list[tuple[float, np.ndarray, np.ndarray]]:
    """Radius, a point of the axis and the axis of every round hole of a STEP file, mm."""
    solid = read_step(path)
    return [
        (f.radius, np.asarray(f.point), np.asarray(f.axis)) for f in solid.faces if f.kind == "cylinder" and f.hollow
    ]


def _same(found: tuple[float, np.ndarray, np.ndarray], hole) -> bool:  # type: ignore[no-untyped-def]
    radius, origin, axis = found
    away = np.asarray(hole.at) - origin
    off = np.linalg.norm(away - (away @ axis) * axis)
    return abs(radius - hole.diameter / 2) < SAME and float(off) < SAME and abs(abs(axis @ hole.into) - 1) < 1e-9


def write_assembly(facts: Facts, cycle: int, model: CarrierModel, live: Rebuilt, path: Path) -> None:
    """The carrier with the envelope (bounding block) of every clamp and locator, named by station, as STEP."""
    inverse = np.linalg.inv(facts.mounts(cycle)[model.placing.mount].pose)
    shapes: list[tuple[str, Shape]] = [(model.carrier.id, model.shape)]
    firsts = {s.parts[0] for s in facts.design.stations}
    for station in facts.stations(cycle):
        if station.mount != model.placing.mount or station.name not in firsts:
            continue
        for device in live.options[station.operation].grip.devices:
            low, high = (tuple(float(v) for v in c) for c in device.mesh.bounds)
            block = Block((low[0], low[1], low[2]), (high[0], high[1], high[2]))
            shapes.append((f"{station.name}/{device.id} ({device.catalogue})", placed(block, inverse @ station.pose)))
    write_step(path, shapes, timeout=300)


def scene_glb(facts: Facts, cycle: int) -> bytes:
    """Every body of the cycle in the machine, for a viewer."""
    rows = []
    for body in facts.bodies(cycle):
        grey = int(GREYS[body["kind"]][1:3], 16) / 255
        mesh = facts.meshes[body["mesh"]].moved(np.reshape(body["pose"], (4, 4)))
        rows.append((body["id"], mesh, (grey, grey, grey, 1.0)))
    return glb_bytes(rows)
