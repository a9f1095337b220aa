"""Clamps that spread in the part's own bores, from below: nothing stands beside or over the part."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np
import shapely

from palletwright.grip.bodies import disc
from palletwright.grip.draft import Draft, Piece
from palletwright.grip.model import Contact
from palletwright.grip.patches import Patch
from palletwright.grip.rounds import Well, turn_stop, turns_alike, upright, wall_about, wells
from palletwright.grip.seats import Seat
from palletwright.grip.sideways import stroke_need
from palletwright.grip.spots import DEEPEST, NOSE
from palletwright.grip.work import Work
from palletwright.shop.model import Clamp
from palletwright.solid.model import Floats
from palletwright.verdict import Margin

FREE = 0.2  # mm by which the closed body is thinner than the bore, so that the part goes over it; common practice
HOURS_BODY = 0.4  # its segments turned to the bore's size in place; common practice, no source
LEAST_WALL = 3.0  # mm of metal about the bore; common practice, no source
SEGMENTS = np.radians([90.0, 210.0, 330.0])
MOST = 3  # pairs of bores that are tried


def expander(work: Work, seats: Sequence[Seat], walls: Sequence[Patch], clamps: Sequence[Clamp]) -> Iterator[Draft]:
    """One clamp that spreads in a bore, kept from turning by a second one, by a stop, or not where that is alike."""
    holes = wells(work)
    if not holes:
        work.fault("expander", "no finished round bore opens at the base", 1.0, "bore")
        return
    fits = [(clamp, [w for w in holes if _fits(work, w, clamp)]) for clamp in clamps]
    for clamp, ready in fits:
        for one, two in sorted(combinations(ready, 2), key=_apart)[:MOST]:
            if -_apart((one, two)) > clamp.footprint[0] + 2.0:
                yield from (_draft(work, seat, clamp, (one, two), None) for seat in seats)
        for well in ready[:1]:
            alike = turns_alike(work.body, well.centre)
            body = disc(*well.middle, clamp.footprint[0] / 2.0)
            stop = None if alike else turn_stop(work, walls, well.centre, well.radius, [body], "expander")
            if stop is None and not alike:
                text = "no second bore and no wall for a stop keep the part from turning about its bore"
                work.fault("expander", text, 1.0, "stop")
                continue
            yield from (_draft(work, seat, clamp, (well,), stop) for seat in seats)


def _apart(pair: tuple[Well, Well]) -> float:
    """Minus the distance (mm) between two bores."""
    return -round(float(np.hypot(*(pair[0].centre - pair[1].centre))), 4)


def _height(clamp: Clamp) -> float:
    """mm over the base at which its segments press: half way up where the catalogue gives no height of its own."""
    return min(clamp.reach_height, clamp.height - NOSE)


def _fits(work: Work, well: Well, clamp: Clamp) -> bool:
    closed, wide = clamp.footprint[0], 2.0 * well.radius
    if not closed + FREE <= wide <= closed + clamp.stroke:
        text = f"{clamp.id} spreads from {closed:g} to {closed + clamp.stroke:g} mm, the bore has {wide:.2f} mm"
        work.fault("expander", text, max(closed + FREE - wide, wide - closed - clamp.stroke))
        return False
    z = _height(clamp)
    if not upright(work, well, (z - NOSE, z + NOSE)):
        work.fault("expander", f"{clamp.id} needs an untouched round wall {z:.0f} mm over the base", z)
        return False
    ring = np.asarray(disc(*well.middle, closed / 2.0).exterior.coords)[:-1, :2]
    metal = shapely.Polygon(ring).intersection(work.over(0.0, clamp.height, exact=True))
    if metal.area > 1e-6:
        work.fault("expander", f"the bore isn't free to {clamp.height:.0f} mm over the base", float(metal.area) ** 0.5)
        return False
    if clamp.access == "above" and _covered(work, ring):
        work.fault("expander", f"{clamp.id} is tightened from above and its bore ends inside the part", 1.0, "bore")
        return False
    body = np.concatenate([np.column_stack([ring, np.full(len(ring), h)]) for h in (-DEEPEST, clamp.height)])
    short = work.blocked(body)
    if short > 1e-9:
        work.fault("expander", f"{clamp.id} in its bore stands in the tools' way", short)
    return short <= 1e-9


def _covered(work: Work, ring: Floats) -> bool:
    return bool(shapely.Polygon(ring).intersection(work.over(0.0, work.height + 1.0)).area > 1e-6)


def _draft(work: Work, seat: Seat, clamp: Clamp, holes: Sequence[Well], stop: tuple[Contact, Piece] | None) -> Draft:
    contacts: list[Contact] = []
    pieces: list[Piece] = []
    for k, well in enumerate(holes):
        name = f"clamp{k + 1}"
        outline = disc(*well.middle, clamp.footprint[0] / 2.0)
        pieces.append(Piece(name, "clamp", clamp.id, outline, clamp.height, None, 0.0, price=clamp.price))
        contacts += _segments(work, clamp, well, f"{k + 1}", name) if k == 0 else _flattened(work, clamp, holes, name)
    if stop is not None:
        contacts.append(stop[0])
        pieces.append(stop[1])
    z = _height(clamp)
    thin = min(wall_about(work, w, z) for w in holes)
    need = stroke_need(work, False)
    left = min(clamp.footprint[0] + clamp.stroke - 2.0 * w.radius for w in holes) + FREE
    alone = len(holes) == 1 and stop is None
    notes = (f"{clamp.id} spreads in the part's own bore",) + (
        ("the part's turn about its bore is held by friction, not located: it looks alike in every turn",)
        if alone
        else ()
    )
    return Draft(
        "expander",
        seat,
        tuple(pieces),
        tuple(contacts),
        "friction",
        len(holes),
        hours=HOURS_BODY * len(holes),
        margins=(
            Margin("stroke", clamp.id, "bore's play", need, left, "mm", frame="station"),
            Margin("wall", "bore", "part", LEAST_WALL, thin, "mm", frame="station"),
        ),
        notes=notes,
        firm=float(np.hypot(*(holes[-1].centre - holes[0].centre))),
        unlocated=("turn about z",) if alone else (),
    )


def _segments(work: Work, clamp: Clamp, well: Well, number: str, device: str) -> list[Contact]:
    """Three segments of one cone: two count as what the part is pressed against, the third as what presses.

    All three press alike, since the cone is centred by them; under a cut the cone doesn't give way.
    """
    rows = []
    for k, angle in enumerate(SEGMENTS):
        way = np.array([np.cos(angle), np.sin(angle)])
        moves = k == 0
        rows.append(_contact(work, clamp, well, way, f"{'C' if moves else 'A'}{number}{'abc'[k]}", device, moves))
    return rows


def _flattened(work: Work, clamp: Clamp, holes: Sequence[Well], device: str) -> list[Contact]:
    """The second one presses across the line between the bores only, so that their distance may vary."""
    line = (holes[1].centre - holes[0].centre) / float(np.hypot(*(holes[1].centre - holes[0].centre)))
    across = np.array([-line[1], line[0]])
    return [
        _contact(work, clamp, holes[1], across, "A2a", device, False),
        _contact(work, clamp, holes[1], -across, "C2a", device, True),
    ]


def _contact(work: Work, clamp: Clamp, well: Well, way: Floats, name: str, device: str, moves: bool) -> Contact:
    at = well.centre + well.radius * way
    return Contact(
        name,
        "clamp" if moves else "locator",
        (float(at[0]), float(at[1]), _height(clamp)),
        (float(way[0]), float(way[1]), 0.0),
        work.material.friction,
        preload=clamp.force if moves else 0.0,
        device=device,
    )
