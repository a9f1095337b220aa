"""Two vees about a round part: nothing is milled for it, unlike soft jaws."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from palletwright.grip.bodies import section
from palletwright.grip.draft import Draft, Piece, vec
from palletwright.grip.model import Contact
from palletwright.grip.patches import Patch
from palletwright.grip.rounds import fitted_circle, turn_stop, turns_alike
from palletwright.grip.seats import Seat, patch_points, relief_depth, support_points
from palletwright.grip.sideways import stroke_need
from palletwright.grip.soft_jaws import EVEN, SLIT, Ring, upright
from palletwright.grip.spots import DEEPEST, NOSE
from palletwright.grip.work import Work
from palletwright.shop.model import Clamp
from palletwright.solid.model import Floats
from palletwright.verdict import Margin

VEE_GRIPS = (20.0, 12.0, 8.0, 6.0, 5.0, 4.0, 3.0)  # mm of wall in the vees, tried in this order
HALF = np.radians(45.0)  # half of a vee's angle; common practice (ninety degree vees), no source
NEAR = 12.0  # degrees within which the round wall has to be there about the place where a flank touches


@dataclass(frozen=True, eq=False)
class Round:
    """A round wall: centre (x, y), radius, and the points of the outline that lie on it (mm)."""

    centre: Floats
    radius: float
    ring: Ring


def v_jaw(work: Work, walls: Sequence[Patch]) -> Iterator[Draft]:
    """A fixed and a moving vee of 90° about a round outline, closing along x or y."""
    vees = sorted((c for c in work.shop.clamps if c.kind == "v_jaw"), key=lambda c: (c.footprint[0], c.id))
    if not vees:
        work.fault("v_jaw", "the shop has no clamp of kind v_jaw", 0.0, "")
        return
    points = support_points(work)
    for grip in (g for g in VEE_GRIPS if points is not None and g < work.height):
        found = _round(work, grip)
        if found is None:
            continue
        made = [
            draft
            for closing in (np.array([0.0, 1.0]), np.array([1.0, 0.0]))
            for vee in vees
            if points is not None and (draft := _draft(work, walls, vee, found, closing, grip, points)) is not None
        ]
        yield from made
        if made:
            return


def _round(work: Work, grip: float) -> Round | None:
    edge = upright(work, grip)
    if edge is None:
        work.fault("v_jaw", f"no untouched upright wall on the outline of the lowest {grip:.0f} mm", grip)
        return None
    outline, ring = edge
    circle = fitted_circle(ring.at[:, :2])
    if circle is None or abs(float(np.hypot(*(shapely.get_coordinates(outline) - circle[0]).T).max()) - circle[1]) > (
        0.1 + work.before.chord_error
    ):
        work.fault("v_jaw", "the outline below the tools isn't round", 1.0, "round wall")
        return None
    return Round(circle[0], circle[1], ring)


def _vee(of: Round, vee: Clamp, closing: Floats, sign: float) -> BaseGeometry:
    """One vee's outline: its flanks touch the circle, its mouth stops short of the other vee's."""
    apex, half = of.radius * np.sqrt(2.0), vee.footprint[0] / 2.0
    mouth = min(half, apex - SLIT / 2.0)
    back = apex + vee.footprint[1]
    across = np.array([-closing[1], closing[0]])
    rows = [(apex, 0.0), (apex - mouth, mouth), (apex - mouth, half), (back, half), (back, -half)]
    rows += [(apex - mouth, -half), (apex - mouth, -mouth)]
    return shapely.Polygon([of.centre + sign * a * closing + b * across for a, b in rows])


def _draft(
    work: Work,
    walls: Sequence[Patch],
    vee: Clamp,
    of: Round,
    closing: Floats,
    grip: float,
    points: Floats,
) -> Draft | None:
    touch = of.radius / np.sqrt(2.0)
    if touch > vee.footprint[0] / 2.0 - 1.0 or grip > vee.height:
        text = f"{vee.id} ({vee.footprint[0]:g} mm wide) is too small for a round of {2 * of.radius:.0f} mm"
        work.fault("v_jaw", text, max(touch - vee.footprint[0] / 2.0 + 1.0, grip - vee.height))
        return None
    if work.vise is not None and not _opens(work, of):
        return None
    bodies = [_vee(of, vee, closing, sign) for sign in (1.0, -1.0)]
    if not _clear(work, vee, bodies, grip):
        return None
    flanks = [_flank(work, of, closing, side, way) for side in (1.0, -1.0) for way in (1.0, -1.0)]
    if any(f is None for f in flanks):
        work.fault("v_jaw", "the round wall is cut where a vee would touch", 1.0, "round wall")
        return None
    stop, alike = None, turns_alike(work.body, of.centre)
    if not alike:
        stop = turn_stop(work, walls, of.centre, of.radius, bodies, "v_jaw")
        if stop is None:
            work.fault("v_jaw", "no wall for a stop keeps the round part from turning in the vees", 1.0, "stop")
            return None
    return _drafted(work, vee, of, closing, grip, points, bodies, [f for f in flanks if f is not None], stop)


def _opens(work: Work, of: Round) -> bool:
    """Whether the vise opens as wide as the round wall with its two vees' flanks."""
    assert work.vise is not None
    room = (work.vise.opening or np.inf) - 2.0 * of.radius * np.sqrt(2.0) - 2.0 * work.tolerance
    if room < 0:
        work.fault("v_jaw", f"{work.vise.id} opens {work.vise.opening:.0f} mm, too little for vees about it", -room)
    return bool(room >= 0)


def _clear(work: Work, vee: Clamp, bodies: Sequence[BaseGeometry], grip: float) -> bool:
    """Whether the vees are clear of the part beside its round wall, and of the tools."""
    part = work.over(work.bottom, grip)
    for body in bodies:
        met = float(shapely.area(body.intersection(part)))
        if met > 0.05 * grip:
            work.fault("v_jaw", f"{vee.id} would meet the part beside its round wall", met**0.5)
            return False
        short = work.blocked_outline(body, -DEEPEST, grip)
        if short > 1e-9:
            work.fault("v_jaw", f"vees {grip:.0f} mm over the seat stand in the tools' way", short)
            return False
    return True


def _flank(work: Work, of: Round, closing: Floats, side: float, way: float) -> int | None:
    """Which point of the outline a flank touches; None where the round wall isn't there."""
    across = np.array([-closing[1], closing[0]])
    wanted = np.cos(HALF) * side * closing + np.sin(HALF) * way * across
    off = of.ring.at[:, :2] - of.centre
    near = np.abs(np.hypot(*off.T) - of.radius) < max(0.02, 2 * work.before.chord_error)
    turn = np.degrees(np.arccos(np.clip(of.ring.normals @ wanted, -1.0, 1.0)))
    k = int(np.argmin(np.where(near, np.round(turn, 4), np.inf)))
    return k if near[k] and turn[k] <= NEAR else None


def _drafted(
    work: Work,
    vee: Clamp,
    of: Round,
    closing: Floats,
    grip: float,
    points: Floats,
    bodies: Sequence[BaseGeometry],
    flanks: Sequence[int],
    stop: tuple[Contact, Piece] | None,
) -> Draft:
    vise = work.vise
    force = (vise.jaw_force if vise is not None else None) or vee.force
    levels = _levels(work, of, flanks, grip)
    contacts = [
        _contact(work, of.ring, k, z, j >= 2, f"{'A' if j < 2 else 'C'}{j % 2 + 1}{'' if i == 0 else '-low'}", press)
        for press in (force / (2.0 * np.cos(HALF)) / len(levels),)
        for j, k in enumerate(flanks)
        for i, z in enumerate(levels)
    ]
    height = (vise.jaw_height if vise is not None else None) or vee.height
    name, foot = vee.id if vise is None else vise.id, grip - max(height, grip)
    away = (float(-closing[0]), float(-closing[1]), 0.0)
    price = vee.price / 2.0
    pieces = [
        Piece("fixed-v", "locator", name, bodies[0], grip, None, foot, price=price),
        Piece("moving-v", "clamp", name, bodies[1], grip, None, foot, away, price),
    ]
    notes = [f"held in two vees of 90° ({vee.id})"]
    if stop is not None:
        contacts.append(stop[0])
        pieces.append(stop[1])
    else:
        notes.append("round outline: the part's turn about its axis is held by friction, not located")
    need = stroke_need(work, contacts[0].raw)
    seat = Seat(
        points, relief_depth(work), 0.0, None, under="parallels" if vise is not None else "machined pad",
        more=patch_points(work, points),
    )  # fmt: skip
    return Draft(
        "v_jaw",
        seat,
        tuple(pieces),
        tuple(contacts),
        "friction",
        1,
        margins=(Margin("stroke", name, "smallest to largest blank", need, vee.stroke, "mm", frame="station"),),
        notes=tuple(notes),
        unlocated=() if stop is not None else ("turn about z",),
        carrier_kinds=("vise",) if vise is not None else ("plate", "pallet"),
    )


def _levels(work: Work, of: Round, flanks: Sequence[int], grip: float) -> tuple[float, ...]:
    """Heights at which a flank touches: high, and low as well where the wall is upright down there."""
    high = float(of.ring.at[flanks[0], 2])
    if high - NOSE < 3.0:
        return (high,)
    for body in (work.body, work.cut_body):
        rims = shapely.union_all([g.exterior for g in shapely.get_parts(section(body, NOSE))])
        if (shapely.distance(rims, shapely.points(of.ring.at[list(flanks), :2])) > EVEN).any():
            return (high,)
    return high, NOSE


def _contact(work: Work, ring: Ring, k: int, z: float, moves: bool, name: str, press: float) -> Contact:
    n = ring.normals[k]
    return Contact(
        name,
        "clamp" if moves else "locator",
        vec(np.array([*ring.at[k, :2], z])),
        (-float(n[0]), -float(n[1]), 0.0),
        work.material.friction,
        preload=press if moves else 0.0,
        device="moving-v" if moves else "fixed-v",
        raw=not _finished(work, ring.at[k, :2], z),
    )


def _finished(work: Work, at: Floats, z: float) -> bool:
    """Whether a point of the round wall lies on the finished part, within what facets depart from it."""
    rims = [r for g in shapely.get_parts(work.finished_at(z)) for r in (g.exterior, *g.interiors)]
    return any(float(shapely.distance(r, shapely.Point(at))) < 0.05 + 2 * work.before.chord_error for r in rims)
