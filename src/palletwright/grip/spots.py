"""Places on a wall where a clamp or a stop can stand: on untouched metal, under the tools, clear of the part."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from palletwright.grip.patches import Patch
from palletwright.grip.work import Work
from palletwright.shop.model import Clamp, Locator
from palletwright.solid.model import Floats

NOSE = 1.5  # mm: half the height of the band that a nose or stop needs on the wall; common practice, no source
HALF_NOSE = 4.0  # mm: most half-width of it; common practice, no source
DEEPEST = 40.0  # mm: how far a body is taken to reach below the base while its seat isn't known yet
SLACK = 1e-3  # mm: bodies touch what they press without counting as a collision


@dataclass(frozen=True, eq=False)
class Spot:
    """A clamp or stop at a wall: contact at (s, height) of the wall; `foot` is its own seat's level over the base.

    `top` is the body's top over the base. The body stands at the largest blank; its stroke follows to the smallest.
    """

    wall: Patch
    item: Clamp | Locator
    s: float
    height: float
    foot: float
    top: float
    along: float

    @property
    def away(self) -> float:
        return self.item.footprint[1]

    def footprint(self) -> BaseGeometry:
        """The body's outline in the operation frame (mm)."""
        return shapely.Polygon(box_outline(self.wall, self.s, self.along, self.away))

    def corners(self, low: float) -> Floats:
        """(8, 3) corners of the body from `low` to its top."""
        flat = box_outline(self.wall, self.s, self.along, self.away)
        return np.concatenate([np.column_stack([flat, np.full(4, z)]) for z in (low, self.top)])

    def contact(self) -> Floats:
        return self.wall.point(self.s, self.height)


def box_outline(wall: Patch, s: float, along: float, away: float, off: float = 0.0) -> Floats:
    """(4, 2) counter-clockwise: a box at s along the wall, from `off` to `away` mm out of it."""
    at, u, n = (wall.origin + s * wall.u)[:2], wall.u[:2], wall.normal[:2]
    one, two = at - along / 2.0 * u, at + along / 2.0 * u
    return np.array([one + off * n, one + away * n, two + away * n, two + off * n])


def reach(item: Clamp | Locator) -> float:
    """mm from the device's own seat to its contact: a stop touches just under its top."""
    return item.reach_height if isinstance(item, Clamp) else max(item.height - NOSE, item.height / 2.0)


def half_nose(item: Clamp | Locator) -> float:
    """mm of half-width that the contact needs; a pin touches along a line."""
    if isinstance(item, Locator) and item.kind == "pin":
        return 1.0
    return min(HALF_NOSE, item.footprint[0] / 2.0)


def spot(
    work: Work, wall: Patch, item: Clamp | Locator, s: float, about: str, along: float | None = None
) -> Spot | None:
    """The best height for a device at s (mm along the wall), or None with the shortfall kept in `work.faults`.

    The device's own height over the seat is preferred; higher costs a riser, lower a raised seat.
    """
    key = (wall.id, item.id, round(s, 6), along)
    if key not in work.spots:
        work.spots[key] = _search(work, wall, item, s, about, along or item.footprint[0])
    found = work.spots[key]
    assert found is None or isinstance(found, Spot)
    return found


def _search(work: Work, wall: Patch, item: Clamp | Locator, s: float, about: str, along: float) -> Spot | None:
    heights = _heights(wall, item, s)
    if not len(heights):
        return None
    limit = work.ceiling(box_outline(wall, s, along, item.footprint[1])) - item.height + reach(item)
    inside = shapely.Polygon(box_outline(wall, s, along - 2 * SLACK, item.footprint[1] - SLACK, SLACK))
    for height in heights:
        if height > limit + 1e-9:
            continue
        foot = float(height) - reach(item)
        made = Spot(wall, item, s, float(height), foot, foot + item.height, along)
        short = work.blocked_aside(made.corners(-DEEPEST))
        if short > 1e-9:
            limit = height - short
        elif not _meets(work.over(work.bottom, made.top), inside):
            return made
    if heights.max() > limit + 1e-9:
        low = float(wall.bounds[1]) + NOSE
        work.fault(about, f"{item.id} stands in the tools' way: its body would have to be lower", low - limit)
    return None


def _meets(part: BaseGeometry, outline: BaseGeometry) -> bool:
    return bool(shapely.intersects(part, outline)) and shapely.area(shapely.intersection(outline, part)) > 1e-6


def stands_clear(work: Work, made: Spot) -> bool:
    """Whether the body is clear of the tools and of the part."""
    inside = shapely.Polygon(box_outline(made.wall, made.s, made.along - 2 * SLACK, made.away - SLACK, SLACK))
    if made.top > work.ceiling(box_outline(made.wall, made.s, made.along, made.away)) + 1e-9:
        return False
    return not _meets(work.over(work.bottom, made.top), inside) and work.blocked_aside(made.corners(-DEEPEST)) <= 1e-9


def _heights(wall: Patch, item: Clamp | Locator, s: float) -> Floats:
    """Contact heights (mm) at which the nose lies wholly on untouched metal, best first."""
    low, high = wall.bounds[1] + NOSE, wall.bounds[3] - NOSE
    if not high >= low:
        return np.zeros(0)
    natural = reach(item)
    tries = np.unique(np.append(np.linspace(low, high, 9), np.clip(natural, low, high)))
    h = half_nose(item)
    noses = shapely.box(s - h, tries - NOSE, s + h, tries + NOSE)
    good = tries[wall.holds(noses)]
    cost = np.where(good < natural, 1.5, 1.0) * np.abs(good - natural)
    return np.asarray(good[np.argsort(np.round(cost, 9), kind="stable")])


def positions(wall: Patch, item: Clamp | Locator, count: int = 13) -> Floats:
    """(k,) candidate s along the wall, ascending (mm)."""
    low, _, high, _ = wall.bounds
    h = half_nose(item)
    if high - low < 2 * h:
        return np.zeros(0)
    start, end = low + h + 1e-6, high - h - 1e-6
    return np.asarray(start + (end - start) / (count - 1) * np.arange(count, dtype=np.float64))


def first(work: Work, wall: Patch, item: Clamp | Locator, tries: Iterable[float], about: str) -> Spot | None:
    """The first of the positions at which the device can stand."""
    for s in tries:
        found = spot(work, wall, item, float(s), about)
        if found is not None:
            return found
    return None


def outwards(tries: Floats, middle: float) -> list[float]:
    """Positions ordered from a middle outwards."""
    order = np.argsort(np.round(np.abs(tries - middle), 6), kind="stable")
    return [float(tries[k]) for k in order]
