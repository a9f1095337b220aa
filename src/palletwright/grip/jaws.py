"""Two faces pressed together: a vise's hard jaws, or a pair of jaws on a plate, on opposite walls."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Literal

import numpy as np
import shapely

from palletwright.grip.draft import Draft, Piece, low_level, piece, vec, wall_contact
from palletwright.grip.model import Contact
from palletwright.grip.patches import Patch
from palletwright.grip.seats import Seat, patch_points, relief_depth, support_points
from palletwright.grip.sideways import OPPOSITE, bolt_diameter, pairs_of_walls, stop_items, stroke_need
from palletwright.grip.spots import DEEPEST, HALF_NOSE, NOSE, SLACK, box_outline, first, outwards, positions
from palletwright.grip.work import Work
from palletwright.shop.model import Clamp
from palletwright.solid.model import Floats
from palletwright.verdict import Margin

LEAST_WIDE = 2.5  # least width of a jaw over its screw's diameter: room for the thread; common practice, no source
GRIPS = (12.0, 10.0, 8.0, 6.0, 5.0, 4.0, 3.0)  # mm of wall in the jaws; practice.md: 3 mm is the least grip stock


@dataclass(frozen=True, eq=False)
class Bench:
    """What closes on the part: a vise, or the shop's own pair of jaws on a plate, cut to the part's length (mm, N).

    `least` is the narrowest that such a jaw is cut to.
    """

    name: str
    height: float
    wide: float
    thick: float
    force: float
    opening: float | None
    price: float
    vise: bool
    least: float = 0.0


def benches(work: Work) -> list[Bench]:
    """The vise, or the lowest two pairs of jaws that the shop has for plates."""
    vise, hard = work.vise, jaw_clamp(work, low=False)
    if vise is not None:
        height, wide = vise.jaw_height or 40.0, vise.jaw_width or vise.width or 100.0
        thick = hard.footprint[1] if hard else 20.0
        return [Bench(vise.id, height, wide, thick, vise.jaw_force or 15000.0, vise.opening or 1e9, 0.0, True)]
    own = sorted((c for c in work.shop.clamps if c.kind == "jaw"), key=lambda c: (c.height, c.id))[:2]
    return [
        Bench(c.id, c.height, c.footprint[0], c.footprint[1], c.force, None, c.price / 2.0, False, least_wide(c))
        for c in own
    ]


def jaw(work: Work, walls: Sequence[Patch]) -> Iterator[Draft]:
    """Jaws on two opposite walls, with a stop at the part's end where one can stand."""
    points = support_points(work)
    if points is None:
        return
    for bench, a, b in product(benches(work), walls, walls):
        if a is b or float(a.normal @ b.normal) > OPPOSITE:
            continue
        width = float((a.origin - b.origin) @ a.normal)
        if width <= 1.0:
            continue
        room = np.inf if bench.opening is None else bench.opening - width - 2.0 * work.tolerance
        if room < 0:
            text = f"{bench.name} opens {bench.opening:.0f} mm, the largest part is {-room:.1f} mm wider"
            work.fault("jaw", text, -room)
            continue
        wide = bench.wide if bench.vise else min(bench.wide, max(_overlap(a, b)[1], bench.least))
        made = _in_jaws(work, a, b, bench.height, wide, bench.thick)
        if made is None:
            continue
        grip, contacts = made
        yield from _jaw_drafts(work, walls, (a, b), replace(bench, wide=wide), grip, contacts, points, room)


def _overlap(a: Patch, b: Patch) -> tuple[float, float]:
    """(middle, length) mm along `a` of what two opposite walls have in common."""
    low = max(a.area.bounds[0], -b.area.bounds[2])
    high = min(a.area.bounds[2], -b.area.bounds[0])
    return (low + high) / 2.0, high - low


def least_wide(clamp: Clamp) -> float:
    """mm: the narrowest that a jaw is cut to and still takes its screw."""
    return LEAST_WIDE * bolt_diameter(clamp.screw)


def jaw_clamp(work: Work, low: bool) -> Clamp | None:
    jaws = [c for c in work.shop.clamps if c.kind == "jaw"]
    return min(jaws, key=lambda c: (c.height if low else c.price, c.id), default=None)


def _in_jaws(
    work: Work, a: Patch, b: Patch, height: float, wide: float, thick: float
) -> tuple[float, tuple[Floats, Floats, Floats, Floats]] | None:
    """The deepest grip under the tools and where the four contacts lie: two on the fixed jaw, two on the other."""
    middle, length = _overlap(a, b)
    half = min(length, wide) / 2.0
    if half < 2.0:
        return None
    for grip in (g for g in GRIPS if g <= height):
        short, met = 0.0, 0.0
        for wall, s in ((a, middle), (b, -middle)):
            flat = box_outline(wall, s, wide, thick)
            corners = np.concatenate([np.column_stack([flat, np.full(4, z)]) for z in (-DEEPEST, grip)])
            part = work.over(work.bottom, grip)
            own = float(shapely.area(shapely.Polygon(flat).buffer(-SLACK).intersection(part)))
            met = max(met, own**0.5 if own > 1e-6 else 0.0)
            short = max(short, work.blocked(corners))
        if met > 0.0:
            work.fault("jaw", f"jaws {wide:.0f} mm wide would meet the part beside the wall that they press on", met)
            continue
        if short > 1e-9:
            work.fault("jaw", f"jaws {grip:.0f} mm over the seat stand in the tools' way", short)
            continue
        for z in (grip - NOSE, grip / 2.0, NOSE):
            inset = min(half * 0.9, half - 1.0)
            spots = [(a, middle - inset), (a, middle + inset), (b, -middle - inset), (b, -middle + inset)]
            if all(_covered(w, s, z) for w, s in spots):
                return grip, tuple(w.point(s, z) for w, s in spots)  # type: ignore[return-value]
        work.fault("jaw", f"the walls are cut within {grip:.0f} mm of the seat", 2 * NOSE)
    return None


def _covered(wall: Patch, s: float, z: float) -> bool:
    return bool(wall.holds(shapely.box(s - 1.0, z - NOSE, s + 1.0, z + NOSE)))


def _jaw_drafts(
    work: Work,
    walls: Sequence[Patch],
    pair: tuple[Patch, Patch],
    bench: Bench,
    grip: float,
    at: tuple[Floats, Floats, Floats, Floats],
    points: Floats,
    room: float,
) -> Iterator[Draft]:
    contacts: list[Contact] = []
    pieces: list[Piece] = []
    for wall, places in zip(pair, (at[:2], at[2:]), strict=True):
        pieces.append(_jaw_piece(wall, bench, grip, places, moving=wall is pair[1]))
        contacts += _jaw_contacts(work, wall, bench, grip, places, moving=wall is pair[1])
    notes: tuple[str, ...] = ()
    end = _end_stop(work, walls, pair[0], pieces)
    if end is not None:
        contacts.append(end[0])
        pieces.append(end[1])
    else:
        notes = ("no wall for a stop along the jaws: the part's place along them isn't located",)
    seat = Seat(points, relief_depth(work), 0.0, None, under="parallels", more=patch_points(work, points))
    yield Draft(
        "jaw",
        seat if bench.vise else replace(seat, under="machined pad"),
        tuple(pieces),
        tuple(contacts),
        "friction",
        1,
        margins=_jaw_margins(work, bench, contacts[0].raw, room),
        notes=notes if bench.vise else (*notes, f"{bench.name} cut to {bench.wide:.0f} mm"),
        carrier_kinds=("vise",) if bench.vise else ("plate", "pallet"),
        firm=float(np.linalg.norm(at[1] - at[0])),
    )


def _jaw_piece(wall: Patch, bench: Bench, grip: float, places: Sequence[Floats], moving: bool) -> Piece:
    """The body of one jaw, its middle between its two contacts."""
    centre = float((places[0] + places[1]) @ wall.u) / 2.0
    outline = shapely.Polygon(box_outline(wall, centre, bench.wide, bench.thick))
    away = vec(wall.normal) if moving else (0.0, 0.0, 1.0)
    name, foot = "moving-jaw" if moving else "fixed-jaw", grip - bench.height
    kind: Literal["clamp", "locator"] = "clamp" if moving else "locator"
    return Piece(name, kind, bench.name, outline, grip, None, foot, away, bench.price)


def _jaw_contacts(
    work: Work, wall: Patch, bench: Bench, grip: float, places: Sequence[Floats], moving: bool
) -> list[Contact]:
    """Two contacts of one jaw, each at two levels where its face is high enough; the force is shared evenly."""
    result = []
    for k, p in enumerate(places):
        s, z = float((p - wall.origin) @ wall.u), float(p[2])
        low = low_level(wall, s, min(HALF_NOSE, bench.wide / 8.0), grip - bench.height, z)
        levels = (z,) if low is None else (z, low)
        for level in levels:
            result.append(
                Contact(
                    f"{'C' if moving else 'A'}{k + 1}{'' if level == z else '-low'}",
                    "clamp" if moving else "locator",
                    vec(wall.point(s, level)),
                    vec(-wall.normal),
                    work.material.friction,
                    preload=bench.force / 2.0 / len(levels) if moving else 0.0,
                    device="moving-jaw" if moving else "fixed-jaw",
                    raw=wall.raw_at(s, level),
                )
            )
    return result


def _jaw_margins(work: Work, bench: Bench, raw: bool, room: float) -> tuple[Margin, ...]:
    """Opening and stroke; a pair of jaws on a plate is set to the part, so only a vise can be too narrow."""
    need = stroke_need(work, raw)
    if not bench.vise:
        have = next((c.stroke for c in work.shop.clamps if c.id == bench.name), 0.0)
        return (Margin("stroke", bench.name, "smallest to largest blank", need, have, "mm", frame="station"),)
    return (
        Margin("opening", bench.name, "largest part", 0.0, room, "mm", frame="station"),
        Margin(
            "stroke",
            bench.name,
            "smallest to largest blank",
            need,
            room + 2.0,
            "mm",
            frame="station",
            note="a vise's screw closes over its whole opening",
        ),
    )


def _end_stop(work: Work, walls: Sequence[Patch], fixed: Patch, jaws: Sequence[Piece]) -> tuple[Contact, Piece] | None:
    """A stop on a wall across the jaws, clear of both."""
    for a, b in pairs_of_walls(walls):
        if a is not fixed:
            continue
        for item in stop_items(work):
            tries = positions(b, item)
            found = first(work, b, item, outwards(tries, float(tries.mean())), "jaw") if len(tries) else None
            if found is None or any(p.outline.intersection(found.footprint()).area > 1e-6 for p in jaws):
                continue
            return wall_contact(work, found, "B1", "stop1"), piece(found, "stop1")
    return None
