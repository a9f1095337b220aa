"""Carriers as solids: the blank with its flats, holes for devices and for the mount, relief, marks, broken edges."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from palletwright.papers.facts import Facts
from palletwright.papers.holes import ENDS, Hole, broken_mouths, device_holes, drilled, gap, mount_holes, what
from palletwright.papers.live import Live
from palletwright.papers.marks import Mark, grooves, put_marks, room_for_marks, side_letter
from palletwright.papers.relief import Pocket, RunOut, milled, pockets, run_outs
from palletwright.papers.words import Words
from palletwright.plan.model import Placing
from palletwright.shop.model import Carrier
from palletwright.solid.primitives import Block, Cut, Extrusion, Rod, Shape, placed

Floats = NDArray[np.float64]

WALL = 1.0
"""mm left between two holes, and between a hole and the carrier's edge: from memory, unconfirmed."""

BREAK = 0.5
"""mm by which the long edges of a plate are chamfered and the corners of a pallet turned down: common practice, no
source."""

FLOOR = 3.0
"""mm of carrier left below a relief or a blind hole: common practice, no source."""


@dataclass(frozen=True, eq=False)
class CarrierModel:
    """A carrier with its holes, reliefs and marks; `notes` name what was left out or stands too close, for a person
    to settle. `holes` are those of the devices first, then those of the mount (sides "mount face", "faceplate end",
    "tailstock end"; a sunk screw stands on the side that it is seen from). `unmarked` is the shape before engraving."""

    placing: Placing
    carrier: Carrier
    holes: tuple[Hole, ...]
    shape: Shape
    notes: tuple[str, ...]
    pockets: tuple[Pocket, ...] = ()
    marks: tuple[Mark, ...] = ()
    unmarked: Shape | None = None


def carrier_model(facts: Facts, cycle: int, placing: Placing, live: Live) -> CarrierModel:
    """The carrier of one mount as it has to be made for this way."""
    carrier = next(c for c in facts.shop.carriers if c.id == placing.carrier)
    poses, half = side_poses(facts, placing), half_lengths(carrier, placing)
    stations = _stations(facts, cycle, placing, poses)
    relief, notes = _reliefs(facts, stations, live, carrier, placing)
    taken, off = _on_ends(facts.words, mount_holes(carrier, poses), carrier, placing)
    wanted = _once(
        hole
        for name, side, operation, pose in stations
        for hole in device_holes(
            facts.shop, live.options[operation].grip, name, side, poses[side], pose, steel=carrier.steel
        )
    )
    kept, left = _apart(facts.words, wanted, taken, relief, half)
    holes = _numbered([*kept, *taken])
    marks, unmarked = _marks(facts, cycle, placing, stations, holes, relief, half)
    body = blank(carrier, placing)
    tools: list[Shape] = [*(drilled(h) for h in holes), *(b for h in holes for b in broken_mouths(h))]
    tools += [milled(p, poses[p.side]) for p in relief] + edge_breaks(carrier)
    plain = Cut(body, tuple(tools)) if tools else body
    lines = tuple(g for m in marks for g in grooves(m, poses[m.side]))
    shape = Cut(plain, lines) if lines else plain
    return CarrierModel(
        placing, carrier, tuple(holes), shape, (*off, *notes, *left, *unmarked), tuple(relief), tuple(marks), plain
    )


def _once(holes: Iterable[Hole]) -> list[Hole]:
    """Holes without those of a stop that a station shares with one before it: the same place, size and use."""
    kept: dict[tuple[object, ...], Hole] = {}
    for h in holes:
        place = (h.side, round(h.x, 2) + 0.0, round(h.y, 2) + 0.0)
        kept.setdefault((*place, h.diameter, h.thread, h.fit), h)
    return list(kept.values())


Standing = tuple[str, str, int, Floats]
"""A module's first part, its side, its operation, and T_side_station."""


def _stations(facts: Facts, cycle: int, placing: Placing, poses: dict[str, Floats]) -> list[Standing]:
    """Modules of one carrier, squared up: a plan keeps rounded poses."""
    inverse = np.linalg.inv(facts.mounts(cycle)[placing.mount].pose)
    firsts = {s.parts[0] for s in facts.design.stations}
    rows: list[Standing] = []
    for station in facts.stations(cycle):
        if station.mount != placing.mount or station.name not in firsts:
            continue
        # a plate that is split into fields names its sides plate/1, plate/1a …: all lie on its one face
        side = station.side if station.side in poses else next(iter(poses))
        pose = np.linalg.inv(poses[side]) @ inverse @ station.pose
        pose[:3, 3] = pose[:3, 3].round(6) + 0.0
        pose[:3, :3] = _square(pose[:3, :3])
        rows.append((station.name, side, station.operation, pose))
    return rows


def _square(turn: Floats) -> Floats:
    """The plane turn that a rounded one stands for."""
    angle = math.atan2(turn[1, 0], turn[0, 0])
    c, s = math.cos(angle), math.sin(angle)
    near = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    return np.where(np.abs(near) < 1e-7, 0.0, near)


def _reliefs(
    facts: Facts, stations: Sequence[Standing], live: Live, carrier: Carrier, placing: Placing
) -> tuple[list[Pocket], list[str]]:
    w, tools = facts.words, {t.number: t for t in facts.shop.tools}
    outs: dict[int, list[RunOut]] = {}
    notes: list[str] = []
    for operation in sorted({row[2] for row in stations}):
        option = live.options[operation]
        outs[operation], across = run_outs(option.grip, option.cuts, tools)
        notes += [
            w.say("open_across", cut=name, reach=w.length(radius, 1), unit=w.length_unit) for name, radius in across
        ]
    rows: list[Pocket] = []
    thick = carrier.height if carrier.kind != "pallet" else (placing.apothem or 0.0)
    for name, side, operation, pose in stations:
        for pocket in pockets(side, name, pose, outs[operation], len(rows) + 1):
            if pocket.depth > thick - FLOOR:
                deep, room = w.length(pocket.depth, 1), w.length(thick, 1)
                notes.append(
                    w.say("open_deep", label=pocket.label, station=name, depth=deep, thick=room, unit=w.length_unit)
                )
            rows.append(pocket)
    return rows, notes


def _marks(
    facts: Facts,
    cycle: int,
    placing: Placing,
    stations: Sequence[Standing],
    holes: Sequence[Hole],
    relief: Sequence[Pocket],
    half: tuple[float, float],
) -> tuple[list[Mark], list[str]]:
    """Side letters, station numbers and arrows where nothing stands."""
    names = list(side_poses(facts, placing))
    rows, notes = [], []
    drawn = facts.way["scene"]["cycles"][cycle]["sides"]
    for k, side in enumerate(names):
        here = [s for s in stations if s[1] == side]
        cuts = [shapely.Point(h.x, h.y).buffer(h.widest / 2 + WALL + 0.5) for h in holes if h.side == side]
        cuts += [shapely.Polygon(p.outline).buffer(WALL) for p in relief if p.side == side]
        parts: list[shapely.Polygon] = []
        devices: list[shapely.Polygon] = []
        for view in drawn:
            if view["mount"] == placing.mount and (view["side"] == side or len(names) == 1):
                for station in view["stations"]:
                    for body in station["bodies"]:
                        shape = shapely.Polygon(body["rings"][0])
                        (parts if body["id"].startswith("part") else devices).append(shape)
        free = room_for_marks(half, [*cuts, *devices])
        best = free.difference(shapely.union_all(parts)) if parts else free
        told = [(name, float(pose[0, 3]), float(pose[1, 3])) for name, _, _, pose in here]
        made, missing = put_marks(side, side_letter(k), told, free, best)
        rows += made
        notes += [facts.words.say("open_mark", side=side, mark=text) for text in missing]
    return rows, notes


def turned_radius(carrier: Carrier, placing: Placing) -> float:
    """mm, radius of a pallet's round: its blank's, or less where the corners between flats are turned down."""
    radius, apothem = (carrier.blank_diameter or 0.0) / 2, placing.apothem or 0.0
    if placing.sides < 3:
        return radius
    return min(radius, round(apothem / math.cos(math.pi / placing.sides) - BREAK, 3))


def half_lengths(carrier: Carrier, placing: Placing) -> tuple[float, float]:
    """mm, half the length and half the width of a side's whole face."""
    from palletwright.layout.sides import flat_width

    if carrier.kind == "pallet":
        radius = turned_radius(carrier, placing)
        return carrier.length / 2, flat_width(radius, placing.apothem or 0.0, placing.sides) / 2
    return carrier.length / 2, (carrier.width or carrier.length) / 2


def blank(carrier: Carrier, placing: Placing) -> Shape:
    """The carrier before its holes: a block, or a round with its flats milled."""
    if carrier.kind != "pallet":
        x, y = carrier.length / 2, (carrier.width or carrier.length) / 2
        return Block((-x, -y, 0.0), (x, y, carrier.height))
    radius, apothem = turned_radius(carrier, placing), placing.apothem or 0.0
    rod = Rod((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), radius, carrier.length)
    away = Block((-1.0, -radius - 1.0, apothem), (carrier.length + 1.0, radius + 1.0, radius + 1.0))
    return Cut(rod, tuple(placed(away, _about_x(2 * math.pi * k / placing.sides)) for k in range(placing.sides)))


def blank_volume(carrier: Carrier, placing: Placing) -> float:
    """mm³ of `blank`, by formula; of a plate without its broken edges (eight corners of c³/6 apart)."""
    if carrier.kind != "pallet":
        x, y, z = carrier.length, carrier.width or carrier.length, carrier.height
        return x * y * z - sum(4 * BREAK**2 / 2 * side for side in (x, y, z))
    radius, a = turned_radius(carrier, placing), placing.apothem or 0.0
    half = half_lengths(carrier, placing)[1]
    n = max(placing.sides, 1)
    arc = 2 * math.pi - n * 2 * math.atan2(half, a)
    return carrier.length * (n * half * a + radius**2 / 2 * max(arc, 0.0))


def edge_breaks(carrier: Carrier) -> list[Shape]:
    """Chamfers along the twelve edges of a plate; a pallet's corners are turned down with its round."""
    if carrier.kind == "pallet":
        return []
    size = np.array([carrier.length, carrier.width or carrier.length, carrier.height])
    rows: list[Shape] = []
    c = BREAK
    for axis in range(3):
        u, v = (axis + 1) % 3, (axis + 2) % 3
        for su in (-1.0, 1.0):
            for sv in (-1.0, 1.0):
                # a little beyond the edge, so that the cut is clean
                ring = ((su * c, -2 * sv * c), (su * c, sv * c), (-2 * su * c, sv * c))
                pose = np.zeros((4, 4))
                pose[u, 0], pose[v, 1], pose[axis, 2], pose[3, 3] = 1.0, 1.0, 1.0, 1.0
                pose[:3, 3] = [0.0, 0.0, size[2] / 2]
                pose[u, 3] += su * size[u] / 2
                pose[v, 3] += sv * size[v] / 2
                rows.append(placed(Extrusion(_wound(ring), -size[axis] / 2 - 1.0, size[axis] / 2 + 1.0), pose))
    return rows


def _wound(ring: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Counter-clockwise."""
    area = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(ring, [*ring[1:], ring[0]], strict=True))
    return tuple(ring) if area > 0 else tuple(reversed(ring))


def _about_x(angle: float) -> Floats:
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[1.0, 0, 0, 0], [0, c, -s, 0], [0, s, c, 0], [0, 0, 0, 1.0]])


def side_poses(facts: Facts, placing: Placing) -> dict[str, Floats]:
    """T_carrier_side of each side of a carrier."""
    return side_poses_of(next(c for c in facts.shop.carriers if c.id == placing.carrier), placing)


def side_poses_of(carrier: Carrier, placing: Placing) -> dict[str, Floats]:
    """T_carrier_side of each side."""
    from palletwright.layout.sides import sides_of

    if placing.kind == "pallet":
        return {s.id: s.pose for s in sides_of(carrier, placing.sides, placing.apothem)}
    return {s.id: s.pose for s in sides_of(carrier)}


def _apart(
    w: Words, rows: Sequence[Hole], taken: Sequence[Hole], relief: Sequence[Pocket], half: tuple[float, float]
) -> tuple[list[Hole], list[str]]:
    """Holes that keep clear of each other, of the mount's holes, of relief and of the edge; the others are named."""
    kept: list[Hole] = []
    notes: list[str] = []
    for hole in rows:
        reach = hole.widest / 2 + WALL
        if abs(hole.x) > half[0] - reach or abs(hole.y) > half[1] - reach:
            notes.append(w.say("open_off", device=hole.device, hole=what(hole), side=hole.side))
            continue
        near = next((h for h in [*taken, *kept] if h.side == hole.side and gap(h, hole) < WALL), None)
        if near is not None and what(near) == what(hole) and math.dist((near.x, near.y), (hole.x, hole.y)) < 0.05:
            continue  # two stations share the device
        if near is not None:
            whose = face_name(w, near.side) if near.device == "mount" and near.side in ENDS.values() else near.device
            notes.append(w.say("open_meets", device=hole.device, hole=what(hole), other=what(near), whose=whose))
            continue
        here = [p for p in relief if p.side == hole.side]
        spot = shapely.Point(hole.x, hole.y).buffer(hole.widest / 2)
        pocket = next((p for p in here if spot.intersects(shapely.Polygon(p.outline, p.islands))), None)
        if pocket is not None:
            notes.append(w.say("open_relief", device=hole.device, hole=what(hole), label=pocket.label))
        kept.append(hole)
    return kept, notes


def _on_ends(w: Words, holes: Sequence[Hole], carrier: Carrier, placing: Placing) -> tuple[list[Hole], list[str]]:
    """The mount's holes that a pallet's section leaves room for, and those that it doesn't."""
    if carrier.kind != "pallet":
        return list(holes), []
    section = cross_section(carrier, placing)
    kept, notes = [], []
    for h in holes:
        y, z = h.at[1:]
        if section.contains(shapely.Point(y, z).buffer(h.diameter / 2 + WALL)):
            kept.append(h)
        else:
            spot = {"y": w.length(y), "z": w.length(z)}
            notes.append(w.say("open_end", hole=what(h), side=face_name(w, h.side), **spot))
    return kept, notes


def cross_section(carrier: Carrier, placing: Placing) -> shapely.Polygon:
    """y and z of a pallet's section, side 1 up."""
    radius, a, n = turned_radius(carrier, placing), placing.apothem or 0.0, placing.sides
    ring = shapely.Point(0.0, 0.0).buffer(radius, quad_segs=64)
    for k in range(n):
        slab = shapely.box(-4 * radius, -4 * radius, 4 * radius, a)
        turned = shapely.affinity.rotate(slab, 2 * math.pi * k / n, origin=(0, 0), use_radians=True)
        ring = ring.intersection(turned)
    return ring


def face_name(w: Words, side: str) -> str:
    """A side's own name; a mounting face's in the papers' language."""
    end = next((key for key, name in ENDS.items() if name == side), None)
    return side if end is None else w.say(f"face_{end}")


def _numbered(holes: Sequence[Hole]) -> list[Hole]:
    return [replace(h, label=f"H{k}") for k, h in enumerate(holes, start=1)]
