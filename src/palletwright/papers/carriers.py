"""Carriers as solids: the blank with its flats, and a hole pattern at every clamp and locator."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from palletwright.errors import Fault, InputError
from palletwright.papers.facts import Facts
from palletwright.papers.live import Rebuilt
from palletwright.plan.model import Placing
from palletwright.shop.model import Carrier
from palletwright.solid.primitives import Block, Cut, Rod, Shape, placed
from palletwright.verdict import Vec

Floats = NDArray[np.float64]

TAP_DRILL = {"M3": 2.5, "M4": 3.3, "M5": 4.2, "M6": 5.0, "M8": 6.8, "M10": 8.5, "M12": 10.2, "M14": 12.0, "M16": 14.0}
"""mm: tap drills of coarse threads, ISO 2306; from memory, unconfirmed."""

RUNOUT = {"M3": 2.8, "M4": 3.8, "M5": 4.2, "M6": 5.1, "M8": 6.2, "M10": 7.3, "M12": 8.3, "M14": 9.3, "M16": 9.3}
"""mm: hole below the full thread, DIN 76-1 e1; from memory, unconfirmed."""

ENGAGED = 1.5
"""Full thread over the screw's diameter in aluminium; 1.0 would do in steel: common practice, no source."""

LOCATOR_SCREW, LOCATOR_DOWEL = "M5", 5.0
"""Screw and dowels (mm, H7) that hold a stop, rail or jaw; the device's own pattern stands above: common practice,
no source."""

WALL = 1.0
"""mm left between two holes, and between a hole and the carrier's edge: from memory, unconfirmed."""


@dataclass(frozen=True, eq=False)
class Hole:
    """One hole of a carrier: centre on the side (x, y mm, side frame), what it takes, diameter and depths in mm.

    `at` and `into` are its mouth and direction in the carrier frame.
    """

    label: str
    side: str
    x: float
    y: float
    diameter: float
    depth: float
    thread: str
    thread_depth: float
    fit: str
    device: str
    at: Vec
    into: Vec


@dataclass(frozen=True, eq=False)
class CarrierModel:
    """A carrier with its holes; `notes` name holes that were left out or stand too close, for a person to settle."""

    placing: Placing
    carrier: Carrier
    holes: tuple[Hole, ...]
    shape: Shape
    notes: tuple[str, ...]


def carrier_model(facts: Facts, cycle: int, placing: Placing, live: Rebuilt) -> CarrierModel:
    """The carrier of one mount as it has to be made for this way."""
    carrier = next(c for c in facts.shop.carriers if c.id == placing.carrier)
    wanted = _holes(facts, cycle, placing, live)
    kept, notes = _apart(wanted, facts, cycle, placing)
    body = blank(carrier, placing)
    shape = Cut(body, tuple(_drilled(h) for h in kept)) if kept else body
    return CarrierModel(placing, carrier, tuple(kept), shape, tuple(notes))


def blank(carrier: Carrier, placing: Placing) -> Shape:
    """The carrier before its holes: a block, or a round with its flats milled."""
    if carrier.kind != "pallet":
        x, y = carrier.length / 2, (carrier.width or carrier.length) / 2
        return Block((-x, -y, 0.0), (x, y, carrier.height))
    radius, apothem = (carrier.blank_diameter or 0.0) / 2, placing.apothem or 0.0
    rod = Rod((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), radius, carrier.length)
    away = Block((-1.0, -radius - 1.0, apothem), (carrier.length + 1.0, radius + 1.0, radius + 1.0))
    return Cut(rod, tuple(placed(away, _about_x(2 * math.pi * k / placing.sides)) for k in range(placing.sides)))


def _about_x(angle: float) -> Floats:
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[1.0, 0, 0, 0], [0, c, -s, 0], [0, s, c, 0], [0, 0, 0, 1.0]])


def _drilled(hole: Hole) -> Rod:
    """What the hole takes away; it begins a little outside so that the face is cut cleanly."""
    start = tuple(a - b for a, b in zip(hole.at, hole.into, strict=True))
    return Rod((start[0], start[1], start[2]), hole.into, hole.diameter / 2, hole.depth + 1.0)


def _holes(facts: Facts, cycle: int, placing: Placing, live: Rebuilt) -> list[Hole]:
    """Every device's holes, side by side, labelled in the order of the stations."""
    clamps = {c.id: c for c in facts.shop.clamps}
    inverse = np.linalg.inv(facts.mounts(cycle)[placing.mount].pose)
    rows: list[Hole] = []
    firsts = {s.parts[0] for s in facts.design.stations}
    for station in facts.stations(cycle):
        if station.mount != placing.mount or station.name not in firsts:
            continue
        pose, side = inverse @ station.pose, inverse @ station.pose
        for device in live.options[station.operation].grip.devices:
            screw = clamps[device.catalogue].screw if device.catalogue in clamps else LOCATOR_SCREW
            low, high = device.mesh.bounds
            centre, span = (low + high)[:2] / 2, (high - low)[:2]
            name = f"{station.name}/{device.id}"
            rows.append(_tapped(len(rows), station.side, pose, centre, screw, name))
            if device.kind == "locator":
                along = np.array([1.0, 0.0]) if span[0] >= span[1] else np.array([0.0, 1.0])
                for sign in (-1, 1):
                    spot = centre + sign * max(0.32 * float(span.max()), 6.0) * along
                    rows.append(_reamed(len(rows), station.side, side, spot, name))
    return rows


def _tapped(k: int, side: str, pose: Floats, spot: Floats, screw: str, device: str) -> Hole:
    if screw not in TAP_DRILL:
        allowed = ", ".join(TAP_DRILL)
        raise InputError([Fault("shop", "clamps.screw", screw, f"has no tap drill in our table ({device})", allowed)])
    size = float(screw.removeprefix("M"))
    thread = ENGAGED * size
    return _hole(k, side, pose, spot, TAP_DRILL[screw], thread + RUNOUT[screw], screw, thread, "", device)


def _reamed(k: int, side: str, pose: Floats, spot: Floats, device: str) -> Hole:
    return _hole(k, side, pose, spot, LOCATOR_DOWEL, 2.0 * LOCATOR_DOWEL, "", 0.0, "H7", device)


def _hole(
    k: int,
    side: str,
    pose: Floats,
    spot: Floats,
    diameter: float,
    depth: float,
    thread: str,
    thread_depth: float,
    fit: str,
    device: str,
) -> Hole:
    at = pose @ np.array([spot[0], spot[1], 0.0, 1.0])
    into = -pose[:3, 2]
    return Hole(
        f"H{k + 1}",
        side,
        float(spot[0]),
        float(spot[1]),
        diameter,
        depth,
        thread,
        thread_depth,
        fit,
        device,
        (float(at[0]), float(at[1]), float(at[2])),
        (float(into[0]) + 0.0, float(into[1]) + 0.0, float(into[2]) + 0.0),
    )


def side_poses(facts: Facts, placing: Placing) -> dict[str, Floats]:
    """T_carrier_side of each side of a carrier."""
    from palletwright.layout.sides import sides_of

    carrier = next(c for c in facts.shop.carriers if c.id == placing.carrier)
    if placing.kind == "pallet":
        return {s.id: s.pose for s in sides_of(carrier, placing.sides, placing.apothem)}
    return {s.id: s.pose for s in sides_of(carrier)}


def _apart(rows: list[Hole], facts: Facts, cycle: int, placing: Placing) -> tuple[list[Hole], list[str]]:
    """Holes with their places in the side frame; those too near to another or to the edge are left out and named."""
    from dataclasses import replace

    poses = side_poses(facts, placing)
    half = _half(facts, placing)
    kept: list[Hole] = []
    notes: list[str] = []
    for hole in rows:
        # a plate that is split into fields names its sides plate/1, plate/1a …: all lie on its one face
        pose = poses.get(hole.side, next(iter(poses.values())))
        x, y, _, _ = np.linalg.inv(pose) @ np.array([*hole.at, 1.0])
        here = replace(hole, x=round(float(x), 6), y=round(float(y), 6), label=f"H{len(kept) + 1}")
        reach = here.diameter / 2 + WALL
        if abs(here.x) > half[0] - reach or abs(here.y) > half[1] - reach:
            notes.append(f"{here.device}: {_what(here)} lies off side {here.side}: left out")
            continue
        near = next((h for h in kept if h.side == here.side and _gap(h, here) < WALL), None)
        if near is not None:
            notes.append(f"{here.device}: {_what(here)} meets {near.label} of {near.device}: left out")
            continue
        kept.append(here)
    return kept, notes


def _half(facts: Facts, placing: Placing) -> tuple[float, float]:
    from palletwright.layout.sides import flat_width

    carrier = next(c for c in facts.shop.carriers if c.id == placing.carrier)
    if placing.kind == "pallet":
        radius = (carrier.blank_diameter or 0.0) / 2
        return carrier.length / 2, flat_width(radius, placing.apothem or 0.0, placing.sides) / 2
    return carrier.length / 2, (carrier.width or carrier.length) / 2


def _gap(a: Hole, b: Hole) -> float:
    return math.hypot(a.x - b.x, a.y - b.y) - (a.diameter + b.diameter) / 2


def _what(hole: Hole) -> str:
    return hole.thread or f"Ø{hole.diameter:g} {hole.fit}"
