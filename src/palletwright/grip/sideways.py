"""Clamps that push the part sideways against stops: single-acting edge clamps and double-acting wedges."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import shapely

from palletwright.grip.draft import Piece, face_contacts, low_level, piece, wall_contact
from palletwright.grip.model import Contact
from palletwright.grip.patches import Patch
from palletwright.grip.spots import (
    HALF_NOSE,
    NOSE,
    Spot,
    first,
    half_nose,
    outwards,
    positions,
    reach,
    spot,
    stands_clear,
)
from palletwright.grip.work import Work
from palletwright.shop.model import Clamp, Locator
from palletwright.solid.model import Floats
from palletwright.verdict import Margin

OPPOSITE = -np.cos(np.radians(3.0))  # a clamp presses within 3° of straight against its stops
ACROSS = np.cos(np.radians(45.0))  # the single stop's wall turns at least 45° from the pair's
TIPS = 0.5  # mm between a push and its reaction; our own choice
FINISHED_PLAY = 0.2  # mm of stroke for loading a finished part; common practice, no source
KEEP = 2  # walls kept for each direction


@dataclass(frozen=True, eq=False)
class Stops:
    """Two stops on a wall and one on another; `rail` is the one body of the pair where it is one that touches twice."""

    pair: tuple[Spot, Spot]
    rail: Spot | None
    single: Spot

    @property
    def firm(self) -> float:
        """mm between the stops of the pair."""
        return abs(self.pair[1].s - self.pair[0].s)

    def pieces(self) -> tuple[Piece, ...]:
        pair = [self.rail] if self.rail is not None else list(self.pair)
        return tuple(piece(s, f"stop{k + 1}") for k, s in enumerate([*pair, self.single]))


def standing(work: Work) -> list[Patch]:
    """Untouched walls long enough for a nose, longest first, a few for each direction."""
    good = [w for w in work.walls if not w.area.is_empty and w.bounds[2] - w.bounds[0] >= 3.0]
    good = [w for w in good if w.bounds[3] - w.bounds[1] >= 3.0 - 1e-6]
    good.sort(key=lambda w: (-round(w.bounds[2] - w.bounds[0], 3), -round(float(w.origin @ w.normal), 3)))
    kept: list[Patch] = []
    for w in good:
        if sum(float(w.normal @ k.normal) > 0.999 for k in kept) < KEEP:
            kept.append(w)
    return kept[:10]


def against(walls: Sequence[Patch], wall: Patch) -> list[Patch]:
    """Walls that face the other way and lie across the part from it."""
    return [w for w in walls if float(w.normal @ wall.normal) < OPPOSITE]


def stop_items(work: Work, reach_height: float = 0.0) -> list[Locator]:
    """Stops, rails and pins: those that reach as high as the clamp presses first, then small ones first."""
    items = [k for k in work.shop.locators if k.kind in ("stop", "rail", "pin")]
    return sorted(
        items,
        key=lambda k: (
            round(max(0.0, reach_height - reach(k)), 6),
            k.kind == "rail",
            k.footprint[0] * k.footprint[1],
            k.id,
        ),
    )


def levelled(work: Work, stop: Spot, height: float) -> Spot:
    """The stop touched as near to a clamp's height as its own face, a riser and the untouched wall allow.

    A stop's face is upright, so its reaction moves to where the push is; unequal heights would tip the part.
    """
    half = half_nose(stop.item)
    foot_of_face = low_level(stop.wall, stop.s, half, stop.foot, stop.height)
    if foot_of_face is not None and foot_of_face - TIPS <= height <= stop.height + TIPS:
        return stop  # its face touches over and under the push
    low, high = stop.top - stop.item.height + NOSE, stop.top - NOSE
    at = min(max(height, low), max(low, high))
    for wished in dict.fromkeys((height, at)):
        if not bool(stop.wall.holds(shapely.box(stop.s - half, wished - NOSE, stop.s + half, wished + NOSE))):
            continue
        if wished <= high + 1e-9 and wished >= low - 1e-9:
            return replace(stop, height=wished)
        foot = wished - reach(stop.item)
        raised = replace(stop, height=wished, foot=foot, top=foot + stop.item.height)
        if stands_clear(work, raised):
            return raised
    return stop


def tipping(stop: Spot, height: float) -> float:
    """mm by which a push at a height passes over or under what the stop's face touches."""
    low = low_level(stop.wall, stop.s, half_nose(stop.item), stop.foot, stop.height)
    return max(height - stop.height, (stop.height if low is None else low) - height, 0.0)


def level(work: Work, stops: Stops, pair: float, single: float | None, about: str) -> Stops | None:
    """The stops touched at the heights of the clamps across from them; None where they can't be."""
    if stops.rail is None:
        one, two = (levelled(work, s, pair) for s in stops.pair)
        rail = None
    else:
        rail = levelled(work, stops.rail, pair)
        one, two = (replace(s, height=rail.height, foot=rail.foot, top=rail.top) for s in stops.pair)
    last = stops.single if single is None else levelled(work, stops.single, single)
    off = max(tipping(one, pair), tipping(two, pair), 0.0 if single is None else tipping(last, single))
    if off > TIPS:
        work.fault(about, f"{one.item.id} can't touch as high as the clamp presses, and the part would tip", off)
        return None
    return Stops((one, two), rail, last)


Pair = tuple[tuple[Spot, Spot], Spot | None]


def two_stops(work: Work, wall: Patch, items: Sequence[Locator], about: str) -> Pair | None:
    """Two stops as far apart on the wall as they can stand, else one rail that touches at both its ends."""
    for item in items:
        tries = positions(wall, item)
        left = first(work, wall, item, tries, about)
        right = first(work, wall, item, tries[::-1], about) if left is not None else None
        if left is None or right is None:
            continue
        if item.kind != "rail" and right.s - left.s >= item.footprint[0] + 1.0:
            return (left, right), None
    for item in items:
        rail = _rail(work, wall, item, about)
        if rail is not None:
            return rail
    return None


def _rail(work: Work, wall: Patch, item: Locator, about: str) -> Pair | None:
    """A rail (or a wide stop) at the wall's middle that touches at two points, cut to the wall where it is longer."""
    low, _, high, _ = wall.bounds
    length = min(item.footprint[0], high - low)
    half = length / 2.0 - min(HALF_NOSE, length / 6.0)
    if item.kind == "pin" or half < 1.5:
        return None
    body = spot(work, wall, item, (low + high) / 2.0, about, length)
    if body is None:
        return None
    ends = (replace(body, s=body.s - half), replace(body, s=body.s + half))
    h = length / 2.0 - half
    noses = [shapely.box(e.s - h, e.height - NOSE, e.s + h, e.height + NOSE) for e in ends]
    return (ends, body) if wall.holds(np.array(noses)).all() else None


def pairs_of_walls(walls: Sequence[Patch]) -> Iterator[tuple[Patch, Patch]]:
    """(wall for two stops, wall for one), the two standing well across each other."""
    for a, b in product(walls, walls):
        if a is not b and abs(float(a.normal @ b.normal)) < ACROSS:
            yield a, b


def pressed(work: Work, clamp: Clamp, stops: Sequence[Spot], walls: Sequence[Patch], about: str) -> Spot | None:
    """A clamp across from one stop, or between two: its push meets their span, so that neither lifts off."""
    wall = stops[0].wall
    at = sorted(float(s.contact() @ wall.u) for s in stops)
    for other in against(walls, wall):
        if float((other.origin - wall.origin) @ wall.normal) > -1.0:
            continue  # the clamp's wall has to lie on the far side of the part
        tries = positions(other, clamp, 25)
        along = seen_along(wall, other, tries)
        slack = 1.5 if len(at) == 1 else -0.15 * (at[-1] - at[0])
        inside = (along >= at[0] - slack) & (along <= at[-1] + slack)
        middle = (at[0] + at[-1]) / 2.0
        wished = float((wall.point(middle, 0.0) - other.origin) @ other.u)
        tries = tries[inside]
        exact = wished if len(at) == 1 else None
        order = outwards(np.append(tries, exact) if exact is not None else tries, wished)
        found = first(work, other, clamp, order, about)
        if found is not None:
            return found
    return None


def seen_along(wall: Patch, other: Patch, tries: Floats) -> Floats:
    """Positions of another wall, measured along a wall (mm)."""
    return np.asarray(float(other.origin @ wall.u) + float(other.u @ wall.u) * tries)


def push(work: Work, at: Spot, clamp: Clamp, name: str, device: str) -> tuple[Contact, ...]:
    """The contacts of a sideways clamp: its push, and what its down angle pulls the part onto the seat.

    The pull is friction between nose and wall, so it is at most µ times the push, and shares the push's cone.
    """
    angle = np.radians(clamp.down_angle)
    side = clamp.force * float(np.cos(angle))
    down = min(clamp.force * float(np.sin(angle)), work.material.friction[0] * side)
    base = wall_contact(work, at, name, device, side)
    if down <= 0:
        return (base,)
    pull = replace(base, id=f"{name}-down", normal=(0.0, 0.0, -1.0), friction=(0.0, 0.0), preload=down)
    return (base, pull)


def stroke(work: Work, clamp: Clamp, spots: Sequence[Spot]) -> Margin:
    """From the smallest to the largest blank, the clamp's stroke has to follow."""
    need = stroke_need(work, any(s.wall.raw_at(s.s, s.height) for s in spots))
    return Margin("stroke", clamp.id, "smallest to largest blank", need, clamp.stroke, "mm", frame="station")


def stroke_need(work: Work, raw: bool) -> float:
    """mm between the smallest and the largest part that a clamp has to follow."""
    return max(2.0 * work.tolerance, FINISHED_PLAY) if raw else FINISHED_PLAY


def wrench(work: Work, at: Spot, clamp: Clamp) -> Margin | None:
    """Room for the key over the clamp's screw: mm from the screw's axis to the part above the clamp."""
    if clamp.access != "above":
        return None
    need = key_radius(clamp.screw)
    centre = at.wall.point(at.s, 0.0) + at.away / 2.0 * at.wall.normal
    have = room_above(work, centre[:2], at.top)
    return Margin("wrench", clamp.id, "part above the clamp", need, have, "mm", frame="station")


def room_above(work: Work, centre: Floats, top: float) -> float:
    """mm from a vertical line to the part above a height; 1000 where nothing is there."""
    if top >= work.height:
        return 1000.0
    above = work.over(top, work.height + 1.0)
    return 1000.0 if above.is_empty else float(shapely.distance(above, shapely.Point(centre)))


def bolt_diameter(screw: str) -> float:
    """Nominal diameter (mm) of a metric screw's name such as M8 or M8x1.25."""
    digits = "".join(c if c.isdigit() or c == "." else " " for c in screw).split()
    return float(digits[0]) if digits else 8.0


def key_radius(screw: str) -> float:
    """mm of radius that the key of a metric screw needs: hexagon key, common practice, no source."""
    return 0.5 * bolt_diameter(screw) + 1.0


def stop_sets(work: Work, walls: Sequence[Patch], about: str, reach_height: float = 0.0) -> Iterator[Stops]:
    """The 2-1 of 3-2-1 on every two walls that stand across each other."""
    items = stop_items(work, reach_height)
    for a, b in pairs_of_walls(walls):
        pair = two_stops(work, a, items, about)
        for item in items if pair is not None else []:
            tries = positions(b, item)
            single = first(work, b, item, outwards(tries, float(tries.mean())), about) if len(tries) else None
            if single is not None and pair is not None:
                yield Stops(*pair, single)
                break


def located(work: Work, stops: Stops) -> list[Contact]:
    """Contacts of the three stops."""
    second, third = ("stop1", "stop2") if stops.rail is not None else ("stop2", "stop3")
    return [
        *face_contacts(work, stops.pair[0], "A1", "stop1"),
        *face_contacts(work, stops.pair[1], "A2", second),
        *face_contacts(work, stops.single, "B1", third),
    ]
