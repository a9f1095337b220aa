"""Screws through the part's own holes, located by stops or by pins in the holes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from palletwright.grip.bodies import disc, section
from palletwright.grip.draft import Draft, Piece
from palletwright.grip.model import Contact
from palletwright.grip.patches import Patch
from palletwright.grip.rounds import circles, ring_about
from palletwright.grip.seats import Seat
from palletwright.grip.sideways import bolt_diameter, located, stop_sets, stroke_need
from palletwright.grip.work import Work
from palletwright.shop.model import Clamp
from palletwright.solid.model import Floats
from palletwright.verdict import Margin, Vec

CLEARANCE = 0.3  # mm of a screw in its hole, least; common practice (fine series 0.2 to 0.5), from memory, unconfirmed
HOURS_PIN = 0.5  # a pin turned to the hole's size; common practice, no source
SLEEVE = 4.0  # mm of sleeve in the hole; common practice, no source
PRICE_PIN = 6.0  # currency of the shop; common practice, no source
HEAD_SIDES = 24


@dataclass(frozen=True, eq=False)
class Bore:
    """A through hole along z that this operation leaves alone: centre (x, y), least radius, its seat for a head."""

    centre: Floats
    radius: float
    seat: float
    room: float
    raw: bool


def bores(work: Work) -> list[Bore]:
    """Round holes from the base up to a flat face that carries a screw head; `room` is the head's greatest radius."""
    if work.base is None:
        return []
    mouths = circles(work.base.area, work.before.chord_error)
    result = []
    for centre, radius in mouths:
        for top in sorted(work.tops, key=lambda t: float(t.origin[2])):
            found = next(
                (
                    (c, r)
                    for c, r in circles(top.area, work.before.chord_error)
                    if float(np.hypot(*(c - centre))) < 0.05 and r >= radius - 0.05
                ),
                None,
            )
            if found is None or not _open(work, centre, radius, float(top.origin[2])):
                continue
            ring = next(
                g
                for g in shapely.get_parts(top.area)
                if g.buffer(0.1).contains(shapely.Point(centre[0] + found[1], centre[1]))
            )
            room = float(shapely.distance(shapely.Point(centre), ring.exterior))
            result.append(
                Bore(centre, found[1], float(top.origin[2]), room, top.raw_at(centre[0] + found[1] + 0.2, centre[1]))
            )
            break
    return result


def _open(work: Work, centre: Floats, radius: float, top: float) -> bool:
    """Whether the hole is free of metal from the base to the top."""
    metal = work.over(0.0, top)
    return bool(shapely.area(metal.intersection(shapely.Point(centre).buffer(0.9 * radius))) < 1e-6)


def screw(work: Work, seats: Sequence[Seat], walls: Sequence[Patch], clamps: Sequence[Clamp]) -> Iterator[Draft]:
    """Two screws through own holes, or one where there is no second; stops outside, else pins in the holes."""
    holes = bores(work)
    if not holes:
        work.fault(
            "screw", "no finished through hole along the side's normal ends at a flat face for a head", 1.0, "hole"
        )
        return
    sets = list(stop_sets(work, walls, "screw"))[:4]
    for clamp in clamps:
        fit = [b for b in holes if _fits(work, b, clamp)]
        if not fit:
            continue
        pair = _apart(fit)
        for stops in sets:
            for seat in seats:
                yield _draft(work, seat, clamp, pair, tuple(located(work, stops)), stops.pieces(), 0.0)
        pins = _pins(work, pair) if len(pair) == 2 else None
        if pins is not None:
            for seat in seats:
                yield _draft(work, seat, clamp, pair, pins[0], pins[1], 2 * HOURS_PIN)


def _apart(fit: Sequence[Bore]) -> tuple[Bore, ...]:
    if len(fit) == 1:
        return (fit[0],)
    return max(combinations(fit, 2), key=lambda p: round(float(np.hypot(*(p[0].centre - p[1].centre))), 4))


def _fits(work: Work, bore: Bore, clamp: Clamp) -> bool:
    size = bolt_diameter(clamp.screw)
    widest = clamp.widest_hole if clamp.widest_hole is not None else size * 1.25
    head = clamp.footprint[0] / 2.0
    if 2 * bore.radius < size + CLEARANCE or 2 * bore.radius > widest:
        short = max(size + CLEARANCE - 2 * bore.radius, 2 * bore.radius - widest)
        work.fault("screw", f"{clamp.id} ({clamp.screw}) doesn't fit a hole of {2 * bore.radius:.2f} mm", short)
        return False
    if bore.room < head:
        work.fault("screw", f"{clamp.id}'s head finds no flat room around its hole", head - bore.room)
        return False
    short = work.blocked(_head(bore, clamp))
    if short > 1e-9:
        work.fault("screw", f"{clamp.id}'s head stands in the tools' way", short)
    return short <= 1e-9


def _head_height(clamp: Clamp) -> float:
    """mm of head over its bearing face: the clamp's height over its contact, else one screw diameter (ISO 4762)."""
    rise = clamp.height - clamp.reach_height
    return rise if rise > 0.5 else bolt_diameter(clamp.screw)


def _head(bore: Bore, clamp: Clamp) -> Floats:
    ring = np.asarray(disc(float(bore.centre[0]), float(bore.centre[1]), clamp.footprint[0] / 2.0).exterior.coords)[:-1]
    return np.concatenate(
        [np.column_stack([ring, np.full(len(ring), z)]) for z in (bore.seat, bore.seat + _head_height(clamp))]
    )


def _draft(
    work: Work,
    seat: Seat,
    clamp: Clamp,
    holes: Sequence[Bore],
    where: Sequence[Contact],
    pieces: Sequence[Piece],
    hours: float,
) -> Draft:
    contacts, bodies = list(where), list(pieces)
    spread = stroke_need(work, any(b.raw for b in holes))
    margins = [
        Margin(
            "stroke",
            clamp.id,
            "smallest to largest blank",
            spread,
            max(clamp.stroke, spread),
            "mm",
            frame="station",
            note="a screw follows the part by its thread",
        )
    ]
    for k, bore in enumerate(holes):
        name = f"clamp{k + 1}"
        outline = disc(float(bore.centre[0]), float(bore.centre[1]), clamp.footprint[0] / 2.0)
        bodies.append(
            Piece(name, "clamp", clamp.id, outline, bore.seat + _head_height(clamp), bore.seat, price=clamp.price)
        )
        mean = (bore.radius + clamp.footprint[0] / 2.0) / 2.0
        for j, angle in enumerate(np.radians([90.0, 210.0, 330.0])):
            at = bore.centre + mean * np.array([np.cos(angle), np.sin(angle)])
            contacts.append(
                Contact(
                    f"C{k + 1}{'abc'[j]}",
                    "clamp",
                    (float(at[0]), float(at[1]), bore.seat),
                    (0.0, 0.0, -1.0),
                    work.material.friction,
                    preload=clamp.force / 3.0,
                    device=name,
                    raw=bore.raw,
                )
            )
    positive = hours > 0  # pins in the holes hold both ways; stops outside hold one way only
    return Draft(
        "screw",
        seat,
        tuple(bodies),
        tuple(contacts),
        "stop" if positive else "friction",
        len(holes),
        hours=hours,
        margins=tuple(margins),
        notes=("located by pins turned to the part's own holes",) if positive else (),
    )


Pins = tuple[tuple[Contact, ...], tuple[Piece, ...]]


def _pins(work: Work, pair: Sequence[Bore]) -> Pins | None:
    """A round sleeve in the first hole (both ways in x and y) and a flattened one in the second (across the line)."""
    one, two = pair
    line = (two.centre - one.centre) / float(np.hypot(*(two.centre - one.centre)))
    across = np.array([-line[1], line[0]])
    high = min(SLEEVE, 0.6 * one.seat, 0.6 * two.seat)
    cut = section(work.body, high / 2.0)
    contacts, pieces = [], []
    for bore, name, ways in ((one, "1", (line, -line, across, -across)), (two, "2", (across, -across))):
        ring = ring_about(cut, bore.centre)
        if ring is None:
            return None
        for k, way in enumerate(ways):
            at, normal = _met(ring, bore.centre, way)
            contacts.append(
                Contact(
                    f"P{name}{'abcd'[k]}",
                    "locator",
                    (float(at[0]), float(at[1]), high / 2.0),
                    normal,
                    work.material.friction,
                    device=f"pin-{name}",
                )
            )
        radius = float(shapely.distance(shapely.Point(bore.centre), ring)) * float(np.cos(np.pi / 24))
        outline = disc(float(bore.centre[0]), float(bore.centre[1]), radius - 0.01)
        pieces.append(Piece(f"pin-{name}", "locator", "turned sleeve", outline, high, price=PRICE_PIN))
    return tuple(contacts), tuple(pieces)


def _met(ring: BaseGeometry, centre: Floats, way: Floats) -> tuple[Floats, Vec]:
    """Where a ray from inside meets a ring, and the normal there that leaves the ring's middle."""
    points = np.asarray(ring.coords)[:, :2]
    a, edge = points[:-1] - centre, np.diff(points, axis=0)
    cross = way[0] * edge[:, 1] - way[1] * edge[:, 0]
    safe = np.where(np.abs(cross) < 1e-12, 1e-12, cross)
    along = (a[:, 0] * edge[:, 1] - a[:, 1] * edge[:, 0]) / safe
    share = (a[:, 0] * way[1] - a[:, 1] * way[0]) / safe
    hits = np.flatnonzero((along > 0) & (share >= -1e-9) & (share <= 1 + 1e-9))
    k = hits[np.argmin(along[hits])]
    normal = np.array([edge[k, 1], -edge[k, 0]]) / float(np.hypot(*edge[k]))
    normal = normal if float(normal @ way) > 0 else -normal
    return centre + along[k] * way, (float(normal[0]), float(normal[1]), 0.0)
