"""Straps that press on untouched top faces, the part set against stops."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from palletwright.grip.draft import Draft, Piece, vec
from palletwright.grip.model import Contact
from palletwright.grip.patches import Patch
from palletwright.grip.seats import Seat
from palletwright.grip.sideways import Stops, key_radius, located, room_above, stop_sets, stroke_need
from palletwright.grip.spots import SLACK
from palletwright.grip.work import Work
from palletwright.shop.model import Clamp
from palletwright.solid.model import Floats
from palletwright.verdict import Margin

BITE = 6.0  # mm by which a strap's end lies on the part; common practice, no source
LEAST_BITE = 3.0  # mm; common practice, no source
MOST_PLACES = 24


@dataclass(frozen=True, eq=False)
class Bite:
    """A strap's place: contact (x, y, z), its post beside the part, its arm over the edge (operation frame)."""

    at: Floats
    out: Floats
    post: BaseGeometry
    arm: BaseGeometry
    rise: float
    raw: bool


def strap(work: Work, seats: Sequence[Seat], walls: Sequence[Patch], clamps: Sequence[Clamp]) -> Iterator[Draft]:
    """Two straps across from one another on top faces, with three stops for location."""
    for clamp in clamps:
        bites = _bites(work, clamp)
        if len(bites) < 2:
            work.fault(
                "strap",
                f"{clamp.id}: no two untouched top edges wide enough for {LEAST_BITE:.0f} mm of bite",
                LEAST_BITE,
            )
            continue
        pairs = _pairs(work, bites)
        for stops in stop_sets(work, walls, "strap"):
            pair = _free(pairs, stops)
            if pair is None:
                work.fault("strap", f"{clamp.id}: every place on top is taken by a stop or lies outside the seat", 1.0)
                continue
            yield from _with_seats(work, seats, clamp, stops, pair)


def _with_seats(
    work: Work, seats: Sequence[Seat], clamp: Clamp, stops: Stops, pair: tuple[Bite, Bite]
) -> Iterator[Draft]:
    contacts, pieces = located(work, stops), list(stops.pieces())
    need = stroke_need(work, any(b.raw for b in pair))
    margins = [Margin("stroke", clamp.id, "smallest to largest blank", need, clamp.stroke, "mm", frame="station")]
    for k, b in enumerate(pair):
        name, z = f"clamp{k + 1}", float(b.at[2])
        contacts.append(
            Contact(
                f"C{k + 1}",
                "clamp",
                vec(b.at),
                (0.0, 0.0, -1.0),
                work.material.friction,
                preload=clamp.force,
                device=name,
                raw=b.raw,
            )
        )
        pieces.append(
            Piece(name, "clamp", clamp.id, b.post, z + b.rise, price=clamp.price, more=((b.arm, z, z + b.rise),))
        )
        have = room_above(work, np.asarray(b.post.centroid.coords)[0], z + b.rise)
        margins.append(
            Margin("wrench", clamp.id, "part above the clamp", key_radius(clamp.screw), have, "mm", frame="station")
        )
    bad = next((m for m in margins if not m.passed), None)
    if bad is not None:
        work.fault("strap", f"{clamp.id}: {bad.check} needs {bad.need:.2f}, has {bad.have:.2f}", -bad.spare)
        return
    for seat in seats:
        yield Draft(
            "strap", seat, tuple(pieces), tuple(contacts), "friction", 2, margins=tuple(margins), firm=stops.firm
        )


def _bites(work: Work, clamp: Clamp) -> list[Bite]:
    """Places along the outer edges of untouched top faces, under the tools, with room beside the part for the post."""
    result: list[Bite] = []
    for top in work.tops:
        z = float(top.origin[2])
        if top.area.is_empty or z < 1.0:
            continue
        for piece in shapely.get_parts(top.area):
            ring = shapely.geometry.polygon.orient(piece).exterior
            for a, b in zip(ring.coords[:-1], ring.coords[1:], strict=True):
                result += _along(work, clamp, top, piece, np.array(a[:2]), np.array(b[:2]), z)
                if len(result) >= MOST_PLACES:
                    return result
    return result


def _along(work: Work, clamp: Clamp, top: Patch, piece: BaseGeometry, a: Floats, b: Floats, z: float) -> list[Bite]:
    edge = b - a
    length = float(np.hypot(*edge))
    if length < 4.0:
        return []
    t = edge / length
    out = np.array([t[1], -t[0]])
    result = []
    for share in (0.5, 0.2, 0.8):
        made = _bite(work, clamp, top, piece, a + share * edge, t, out, z)
        if made is not None:
            result.append(made)
    return result


def _bite(
    work: Work, clamp: Clamp, top: Patch, piece: BaseGeometry, at: Floats, t: Floats, out: Floats, z: float
) -> Bite | None:
    rise = max(clamp.height - clamp.reach_height, 4.0)
    half = clamp.footprint[0] / 2.0
    for bite in (BITE, LEAST_BITE):
        pad = _slab(at, t, out, min(half, 3.0), -bite, -0.05)
        if not piece.buffer(1e-6).covers(pad):
            continue
        arm = _slab(at, t, out, half, -bite, SLACK)
        post = _slab(at, t, out, half, SLACK, clamp.footprint[1] - bite)
        both = _slab(at, t, out, half, -bite, clamp.footprint[1] - bite)
        flat = np.asarray(both.exterior.coords)[:-1, :2]
        corners = np.concatenate([np.column_stack([flat, np.full(4, h)]) for h in (z, z + rise)])
        low = np.column_stack([np.asarray(post.exterior.coords)[:-1, :2], np.full(4, -40.0)])
        short = max(work.blocked(corners), work.blocked(np.concatenate([low, corners[4:][[1, 2]]])))
        if short > 1e-9:
            work.fault("strap", f"{clamp.id} on the top face at {z:.1f} mm stands in the tools' way", short)
            continue
        below = work.over(work.bottom, z + rise)
        above = work.over(z + SLACK, z + rise) if z + 2 * SLACK < work.height else shapely.Polygon()
        if shapely.area(post.intersection(below)) > 1e-6 or shapely.area(arm.intersection(above)) > 1e-6:
            continue
        point = at - out * bite / 2.0
        return Bite(np.array([*point, z]), out, post, arm, rise, top.raw_at(*point))
    return None


def _slab(at: Floats, t: Floats, out: Floats, half: float, low: float, high: float) -> BaseGeometry:
    return shapely.Polygon(
        [at - half * t + low * out, at - half * t + high * out, at + half * t + high * out, at + half * t + low * out]
    )


def _pairs(work: Work, bites: Sequence[Bite]) -> list[tuple[Bite, Bite]]:
    """Two places over the base that don't meet, those whose middle lies nearest to the centre of mass first."""
    seat = shapely.union_all([b.area for b in ([work.base] if work.base else work.bases)]).convex_hull.buffer(1e-6)
    over = [b for b in bites if seat.covers(shapely.Point(b.at[:2]))]
    rated = []
    for a, b in combinations(over, 2):
        if float(a.out @ b.out) > 0.5 and float(np.hypot(*(a.at - b.at)[:2])) < 20.0:
            continue
        off = round(float(np.hypot(*((a.at + b.at)[:2] / 2.0 - work.before.centroid[:2]))), 3)
        rated.append((off, a, b))
    rated.sort(key=lambda r: r[0])
    return [(a, b) for _, a, b in rated if not _meet([a.post, a.arm], [b.post, b.arm])]


def _meet(ones: Sequence[BaseGeometry], twos: Sequence[BaseGeometry]) -> bool:
    return any(
        shapely.intersects(a, b) and shapely.area(shapely.intersection(a, b)) > 1e-6 for a, b in product(ones, twos)
    )


def _free(pairs: Sequence[tuple[Bite, Bite]], stops: Stops) -> tuple[Bite, Bite] | None:
    """The first pair whose posts are clear of the stops."""
    taken = [p.outline for p in stops.pieces()]
    return next((p for p in pairs if not _meet([p[0].post, p[1].post], taken)), None)
