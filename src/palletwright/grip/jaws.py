"""Two faces pressed together: a vise's hard jaws on opposite walls."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product

import numpy as np
import shapely

from palletwright.grip.draft import Draft, Piece, low_level, piece, vec, wall_contact
from palletwright.grip.model import Contact
from palletwright.grip.patches import Patch
from palletwright.grip.seats import Seat, patch_points, relief_depth, support_points
from palletwright.grip.sideways import OPPOSITE, pairs_of_walls, stop_items, stroke_need
from palletwright.grip.spots import DEEPEST, HALF_NOSE, NOSE, SLACK, box_outline, first, outwards, positions
from palletwright.grip.work import Work
from palletwright.shop.model import Clamp
from palletwright.solid.model import Floats
from palletwright.verdict import Margin

GRIPS = (12.0, 10.0, 8.0, 6.0, 5.0, 4.0, 3.0)  # mm of wall in the jaws; practice.md: 3 mm is the least grip stock


def jaw(work: Work, walls: Sequence[Patch]) -> Iterator[Draft]:
    """The vise's jaws on two opposite walls, on parallels, with a stop at the part's end where one can stand."""
    vise, points = work.vise, support_points(work)
    if vise is None or points is None:
        return
    hard = jaw_clamp(work, low=False)
    thick = hard.footprint[1] if hard else 20.0
    height, wide = vise.jaw_height or 40.0, vise.jaw_width or vise.width or 100.0
    for a, b in product(walls, walls):
        if a is b or float(a.normal @ b.normal) > OPPOSITE:
            continue
        width = float((a.origin - b.origin) @ a.normal)
        if width <= 1.0:
            continue
        room = (vise.opening or 1e9) - width - 2.0 * work.tolerance
        if room < 0:
            work.fault("jaw", f"{vise.id} opens {vise.opening:.0f} mm, the largest part is {-room:.1f} mm wider", -room)
            continue
        made = _in_jaws(work, a, b, height, wide, thick)
        if made is None:
            continue
        grip, contacts = made
        yield from _vise_drafts(work, walls, (a, b), (height, wide, thick), grip, contacts, points, room)


def jaw_clamp(work: Work, low: bool) -> Clamp | None:
    jaws = [c for c in work.shop.clamps if c.kind == "jaw"]
    return min(jaws, key=lambda c: (c.height if low else c.price, c.id), default=None)


def _in_jaws(
    work: Work, a: Patch, b: Patch, height: float, wide: float, thick: float
) -> tuple[float, tuple[Floats, Floats, Floats, Floats]] | None:
    """The deepest grip under the tools and where the four contacts lie: two on the fixed jaw, two on the other."""
    low = max(a.area.bounds[0], -b.area.bounds[2])
    high = min(a.area.bounds[2], -b.area.bounds[0])
    middle, half = (low + high) / 2.0, min((high - low) / 2.0, wide / 2.0)
    if half < 2.0:
        return None
    for grip in (g for g in GRIPS if g <= height):
        short = 0.0
        for wall, s in ((a, middle), (b, -middle)):
            flat = box_outline(wall, s, wide, thick)
            corners = np.concatenate([np.column_stack([flat, np.full(4, z)]) for z in (-DEEPEST, grip)])
            part = work.over(work.bottom, grip)
            if shapely.area(shapely.Polygon(flat).buffer(-SLACK).intersection(part)) > 1e-6:
                short = max(short, 0.1)
            short = max(short, work.blocked(corners))
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


def _vise_drafts(
    work: Work,
    walls: Sequence[Patch],
    pair: tuple[Patch, Patch],
    size: tuple[float, float, float],
    grip: float,
    at: tuple[Floats, Floats, Floats, Floats],
    points: Floats,
    room: float,
) -> Iterator[Draft]:
    vise = work.vise
    assert vise is not None
    height, wide, thick = size
    force = vise.jaw_force or 15000.0
    contacts: list[Contact] = []
    pieces: list[Piece] = []
    for wall, name, kind, places in (
        (pair[0], "fixed-jaw", "locator", at[:2]),
        (pair[1], "moving-jaw", "clamp", at[2:]),
    ):
        centre = float((places[0] + places[1]) @ wall.u) / 2.0
        outline = shapely.Polygon(box_outline(wall, centre, wide, thick))
        pieces.append(
            Piece(
                name,
                "clamp" if kind == "clamp" else "locator",
                vise.id,
                outline,
                grip,
                None,
                grip - height,
                vec(wall.normal) if kind == "clamp" else (0.0, 0.0, 1.0),
            )
        )
        for k, p in enumerate(places):
            s, z = float((p - wall.origin) @ wall.u), float(p[2])
            low = low_level(wall, s, min(HALF_NOSE, wide / 8.0), grip - height, z)
            levels = (z,) if low is None else (z, low)
            for level in levels:
                contacts.append(
                    Contact(
                        f"{'C' if kind == 'clamp' else 'A'}{k + 1}{'' if level == z else '-low'}",
                        "clamp" if kind == "clamp" else "locator",
                        vec(wall.point(s, level)),
                        vec(-wall.normal),
                        work.material.friction,
                        preload=force / 2.0 / len(levels) if kind == "clamp" else 0.0,
                        device=name,
                        raw=wall.raw_at(s, level),
                    )
                )
    notes: tuple[str, ...] = ()
    end = _end_stop(work, walls, pair[0], pieces)
    if end is not None:
        contacts.append(end[0])
        pieces.append(end[1])
    else:
        notes = ("no wall for a stop along the jaws: the part's place along them isn't located",)
    margins = (
        Margin("opening", vise.id, "largest part", 0.0, room, "mm", frame="station"),
        Margin(
            "stroke",
            vise.id,
            "smallest to largest blank",
            stroke_need(work, contacts[0].raw),
            room + 2.0,
            "mm",
            frame="station",
            note="a vise's screw closes over its whole opening",
        ),
    )
    seat = Seat(points, relief_depth(work), 0.0, None, under="parallels", more=patch_points(work, points))
    yield Draft(
        "jaw",
        seat,
        tuple(pieces),
        tuple(contacts),
        "friction",
        1,
        margins=margins,
        notes=notes,
        carrier_kinds=("vise",),
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
