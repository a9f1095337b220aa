"""Held from below by stock that a later operation takes off: studs in tapped holes, or a tenon in dovetail jaws.

Nothing stands beside or over the part, so that tools reach it from all sides but one. The price is in the blank: each
one is tapped or milled before it can be loaded (`part_seconds`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from palletwright.grip.bodies import disc, outline_between, prism
from palletwright.grip.draft import Draft, Piece
from palletwright.grip.model import Contact
from palletwright.grip.patches import Patch
from palletwright.grip.rounds import crossed
from palletwright.grip.seats import Seat, relief_depth, unsupported
from palletwright.grip.sideways import bolt_diameter
from palletwright.grip.sweeps import hull
from palletwright.grip.work import Work
from palletwright.shop.model import Clamp
from palletwright.solid.bodies import manifold
from palletwright.solid.model import Floats
from palletwright.solid.outline import polygons
from palletwright.verdict import Margin, Vec

SKIN = 1.0  # mm of stock left over a thread or tenon; common practice, no source
TOUCH = 1e-3  # mm by which the finished part may touch the stock's depth
WALL = 2.0  # mm of stock beside a thread; common practice, no source
TENON = 0.6  # share of the jaws' width that the tenon takes; common practice, no source
FLANK = np.radians(60.0)  # a tenon's flanks from its base; common practice (sixty degree dovetails), no source
SHORTEST = 20.0  # mm of tenon in the jaws; common practice, no source
HOURS_MODULE = 0.25  # bore and seat of one module in the carrier; common practice, no source
MOST_POINTS = 24
PAIRS = 2  # choices of places


def waste_area(work: Work, depth: float) -> BaseGeometry:
    """Where the base is stock that isn't part, and solid to `depth` mm over it before and after the operation."""
    base = work.base
    if base is None:
        return shapely.Polygon()
    raw = base.area.difference(base.finished.buffer(1e-3)).difference(unsupported(work))
    raw = shapely.MultiPolygon([g for g in shapely.get_parts(raw.buffer(-0.01)) if g.area > 25.0])
    if raw.is_empty:
        return raw
    slab = manifold(prism(raw, 0.05, depth))
    hollow = slab - work.cut_body
    if not hollow.is_empty():
        raw = raw.difference(polygons(hollow.project()).buffer(1e-3))
    return raw.difference(outline_between(manifold(work.finished), 0.0, depth - TOUCH))


def stud(work: Work, seats: Sequence[Seat], walls: Sequence[Patch], clamps: Sequence[Clamp]) -> Iterator[Draft]:
    """Two studs screwed into the blank, drawn down by modules under it; four where two more find room."""
    for clamp in clamps:
        inner = waste_area(work, clamp.reach_height + SKIN).buffer(-(bolt_diameter(clamp.screw) / 2.0 + WALL))
        if inner.is_empty:
            text = f"{clamp.id} needs {clamp.reach_height + SKIN:.0f} mm of stock below the part that goes later"
            work.fault("stud", text, clamp.reach_height + SKIN)
            continue
        wide = inner.buffer(-max(0.0, clamp.footprint[0] / 2.0 + work.lateral - WALL))
        places = [p for area in (inner, wide) for p in _hull_points(area) if _module_clear(work, clamp, p)]
        pairs = [q for q in combinations(places, 2) if _gap(q) >= max(clamp.footprint) + 1.0]
        pairs.sort(key=lambda q: -round(_gap(q), 3))
        if not pairs:
            work.fault("stud", f"two of {clamp.id} don't find room under the part", max(clamp.footprint))
        for pair in pairs[:PAIRS]:
            yield _studs(work, clamp, pair)
            more = _two_more(clamp, pair, places)
            if more is not None:
                yield _studs(work, clamp, (*pair, *more))


def _hull_points(inner: BaseGeometry) -> list[Floats]:
    """At most `MOST_POINTS` points of the hull's edge that lie on the area."""
    if inner.is_empty:
        return []
    ring = hull(np.asarray(shapely.get_coordinates(inner)))
    edge = shapely.Polygon(ring).exterior if len(ring) > 2 else shapely.LineString(ring)
    shares = np.linspace(0.0, 1.0, MOST_POINTS, endpoint=False)
    middle = [np.asarray(shapely.get_coordinates(edge.interpolate(s, normalized=True)))[0] for s in shares]
    points = [*ring, *middle] if len(ring) <= 12 else middle
    return [p for p in points if shapely.distance(inner, shapely.Point(p)) < 1e-6]


def _gap(pair: Sequence[Floats]) -> float:
    return float(np.hypot(*(pair[0] - pair[1])))


def _module_clear(work: Work, clamp: Clamp, at: Floats) -> bool:
    """Whether a module under a point is clear of the tools."""
    ring = np.asarray(disc(float(at[0]), float(at[1]), clamp.footprint[0] / 2.0).exterior.coords)[:-1, :2]
    body = np.concatenate([np.column_stack([ring, np.full(len(ring), z)]) for z in (-clamp.height, 0.0)])
    short = work.blocked(body)
    if short > 1e-9:
        work.fault("stud", f"{clamp.id} under the part stands in the tools' way", short)
    return short <= 1e-9


def _two_more(clamp: Clamp, pair: Sequence[Floats], places: Sequence[Floats]) -> tuple[Floats, Floats] | None:
    """Two further places, as far from the line of the pair as they can be, one on each side of it."""
    line = (pair[1] - pair[0]) / _gap(pair)
    off = [crossed(line, p - pair[0]) for p in places]
    most = max(clamp.footprint) + 1.0
    free = [(o, p) for o, p in zip(off, places, strict=True) if min(_gap((p, pair[0])), _gap((p, pair[1]))) >= most]
    left = max(free, key=lambda row: round(row[0], 4), default=None)
    right = min(free, key=lambda row: round(row[0], 4), default=None)
    if left is None or right is None or left[0] <= 0.0 <= -right[0] or _gap((left[1], right[1])) < most:
        return None
    return (left[1], right[1]) if right[0] < 0.0 < left[0] else None


def _studs(work: Work, clamp: Clamp, places: Sequence[Floats]) -> Draft:
    radius = bolt_diameter(clamp.screw) / 2.0
    line = (places[1] - places[0]) / _gap(places)
    across = np.array([-line[1], line[0]])
    ways: list[tuple[Floats, ...]] = [(line, -line, across, -across), (across, -across)]
    contacts: list[Contact] = []
    pieces: list[Piece] = []
    for k, at in enumerate(places):
        name = f"clamp{k + 1}"
        pieces.append(
            Piece(
                name,
                "clamp",
                clamp.id,
                disc(float(at[0]), float(at[1]), clamp.footprint[0] / 2.0),
                0.0,
                None,
                -clamp.height,
                price=clamp.price,
            )
        )
        contacts += [
            _collar(work, at - radius * way, way, f"A{k + 1}{'abcd'[j]}", name)
            for j, way in enumerate(ways[k] if k < len(ways) else ())
        ]
        down = _flat(at, 0.0)
        contacts.append(
            Contact(f"C{k + 1}", "clamp", down, (0.0, 0.0, -1.0), (0.0, 0.0), preload=clamp.force, device=name)
        )
    ring = (radius + clamp.footprint[0] / 2.0) / 2.0
    sides = (line, across, -line, -across) if len(places) == 2 else (line + across, -line - across)
    rests = [p + ring * s / float(np.hypot(*s)) for p in places for s in sides]
    return _held_below(work, clamp, "stud", rests, pieces, contacts, len(places), HOURS_MODULE * len(places))


def _flat(at: Floats, z: float) -> Vec:
    return float(at[0]), float(at[1]), z


def _level(way: Floats) -> Vec:
    return float(way[0]), float(way[1]), 0.0


def _collar(work: Work, at: Floats, way: Floats, name: str, device: str) -> Contact:
    """One side of a stud's centring collar: the part can't move against `way`."""
    return Contact(name, "locator", _flat(at, 0.0), _level(way), work.material.friction, device=device)


def dovetail(work: Work, seats: Sequence[Seat], walls: Sequence[Patch], clamps: Sequence[Clamp]) -> Iterator[Draft]:
    """A tenon below the blank in dovetail jaws, along x or y, as long as the stock and the jaws allow."""
    for clamp in clamps:
        area = waste_area(work, clamp.reach_height + SKIN)
        made = False
        for along in (np.array([1.0, 0.0]), np.array([0.0, 1.0])):
            found = _tenon(area, clamp, along, np.asarray(work.before.centroid[:2]))
            if found is None:
                continue
            draft = _in_dovetail(work, clamp, along, *found)
            made = made or draft is not None
            if draft is not None:
                yield draft
        if not made:
            text = (
                f"{clamp.id} needs {clamp.reach_height + SKIN:.0f} mm of stock below the part that goes later, "
                f"{clamp.footprint[1]:.0f} mm wide"
            )
            work.fault("dovetail", text, clamp.reach_height + SKIN)


def _tenon(area: BaseGeometry, clamp: Clamp, along: Floats, centre: Floats) -> tuple[Floats, float] | None:
    """(middle (x, y), length) mm of the longest tenon whose jaws lie wholly under stock, near the centre of mass."""
    if area.is_empty:
        return None
    half_wide = clamp.footprint[1] / 2.0
    for length in np.linspace(clamp.footprint[0], SHORTEST, 6):
        half = np.array([length / 2.0, half_wide]) if along[0] else np.array([half_wide, length / 2.0])
        for at in (centre, np.asarray(area.centroid.coords)[0]):
            if shapely.covers(area, shapely.box(*(at - half), *(at + half))):
                return np.asarray(at), float(length)
    return None


def _in_dovetail(work: Work, clamp: Clamp, along: Floats, at: Floats, length: float) -> Draft | None:
    """Flank contacts press inwards and down; the shoulders beside the tenon stand on the jaws."""
    across = np.array([-along[1], along[0]])
    half = np.array([clamp.footprint[0], clamp.footprint[1]]) / 2.0
    half = half if along[0] else half[::-1]
    outline = shapely.box(*(at - half), *(at + half))
    short = work.blocked_outline(outline, -clamp.height, 0.0)
    if short > 1e-9:
        work.fault("dovetail", f"{clamp.id} under the part stands in the tools' way", short)
        return None
    depth, wide = clamp.reach_height, TENON * clamp.footprint[1]
    inset = length / 2.0 - 3.0
    flat = (wide - depth / np.tan(FLANK)) / 2.0  # mm from the middle to a flank's half height
    contacts = []
    for name, kind, side in (("A", "locator", 1.0), ("C", "clamp", -1.0)):
        normal = -side * np.sin(FLANK) * across
        for k, way in enumerate((1.0, -1.0)):
            place = at + side * flat * across + way * inset * along
            contacts.append(
                Contact(
                    f"{name}{k + 1}",
                    "locator" if kind == "locator" else "clamp",
                    _flat(place, depth / 2.0),
                    (float(normal[0]), float(normal[1]), -float(np.cos(FLANK))),
                    work.material.friction,
                    preload=clamp.force / 2.0 if kind == "clamp" else 0.0,
                    device="jaws",
                )
            )
    end = at + (length / 2.0) * along
    contacts.append(
        Contact("B1", "locator", _flat(end, depth / 2.0), _level(-along), work.material.friction,
                device="jaws")
    )  # fmt: skip
    shoulders = [
        at + sa * inset * along + sb * (clamp.footprint[1] + wide) / 4.0 * across
        for sa, sb in ((1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0))
    ]
    jaws = [Piece("jaws", "clamp", clamp.id, outline, 0.0, None, -clamp.height, price=clamp.price)]
    return _held_below(work, clamp, "dovetail", shoulders, jaws, contacts, 1, HOURS_MODULE)


def _held_below(
    work: Work,
    clamp: Clamp,
    kind: str,
    rests: Sequence[Floats],
    pieces: Sequence[Piece],
    contacts: Sequence[Contact],
    count: int,
    hours: float,
) -> Draft:
    """What both have in common: the part stands on the modules, and each blank is prepared for them."""
    points = np.array([_flat(r, 0.0) for r in rests])
    first = _widest_three(points[:, :2])
    more = tuple(_flat(points[k], 0.0) for k in range(len(points)) if k not in first)[:5]
    seat = Seat(
        points[list(first)], relief_depth(work), clamp.height, None, under=clamp.id, apart=False, more=more,
        ground=pieces[0].id,
    )  # fmt: skip
    seconds = clamp.blank_seconds * (count if kind == "stud" else 1)
    what = (
        f"{count} threads {clamp.screw}, {clamp.reach_height:g} mm deep, are tapped in its base"
        if kind == "stud"
        else f"a tenon {TENON * clamp.footprint[1]:.0f} mm wide and {clamp.reach_height:g} mm high is milled below it"
    )
    return Draft(
        "stud" if kind == "stud" else "dovetail",
        seat,
        tuple(pieces),
        tuple(contacts),
        "stop",
        count,
        hours=hours,
        margins=(Margin("stroke", clamp.id, "prepared blank", 0.2, clamp.stroke, "mm", frame="station"),),
        notes=(f"each blank is prepared first, {seconds:.0f} s: {what}",),
        part_seconds=seconds,
        firm=float(np.hypot(*(np.ptp(points[:, :2], axis=0)))),
    )


def _widest_three(points: Floats) -> tuple[int, int, int]:
    """Three of (n, 2) points that span the greatest triangle."""
    best, most = (0, 1, 2), -1.0
    for a, b, c in combinations(range(len(points)), 3):
        area = round(abs(crossed(points[b] - points[a], points[c] - points[a])), 6)
        if area > most:
            best, most = (a, b, c), area
    return best
