"""Loading one side in its order: the way in of each part, room for a hand, and the key at its clamps.

Parts that are in already stand in the way of those that follow; every clamp and stop of the side always does. All in
the side's frame: z out of the side, mm. Sizes of hands and keys are common practice with no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from palletwright.grip.bodies import outline_between, prism
from palletwright.solid.bodies import manifold
from palletwright.solid.model import Mesh
from palletwright.verdict import Reason, Vec

FINGER = 18.0  # mm that a gloved finger needs beside the part
FINGER_WIDE = 20.0  # mm along the part's wall
FINGER_DEEP = 20.0  # mm below the part's top that a hand reaches
KEY_LONG = 80.0  # mm from a screw's head up to the arm of its key, and of key in line with a screw from beside
KEY_ARM = 100.0  # mm of arm that swings
LEAST_SWING = 60.0  # degrees that a hexagon key needs before it is set again
SHORT_KEY = 50.0  # mm of free length in front of a screw that is tightened from beside
FAR = 100.0  # mm: more room than this reads as this much
SCRAPE = 1.0  # mm³ that may overlap by rounding on the way in
SHADOW = 500.0  # mm down to which an obstacle's own shadow reaches
WAYS = 8  # directions in which a hand may take the part
Points = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Thing:
    """A body in the side's frame. `tighten_from` and `key` (mm of radius) for clamps; `loose`: off while loading."""

    id: str
    mesh: Mesh
    tighten_from: Vec | None = None
    key: float = 0.0
    loose: bool = False

    @cached_property
    def solid(self) -> Any:
        """The body for booleans."""
        return manifold(self.mesh)

    @cached_property
    def slabs(self) -> list[tuple[Any, float, float]]:
        """(outline, from, to): exact for what is made of upright walls, careful for others."""
        body = self.solid
        levels = np.unique(np.round(self.mesh.vertices[:, 2], 3))
        if len(levels) > 9:
            levels = np.linspace(levels[0], levels[-1], 9)
        made = [(outline_between(body, a + 1e-4, b - 1e-4), float(a), float(b)) for a, b in pairwise(levels)]
        return [row for row in made if not row[0].is_empty]

    @property
    def top(self) -> float:
        return float(self.mesh.vertices[:, 2].max())

    def above(self, height: float) -> Any:
        """Outline of what stands over a height."""
        key = round(height, 3)
        if key not in self._over:
            self._over[key] = shapely.union_all([o for o, _, high in self.slabs if high > height + 1e-6])
        return self._over[key]

    @cached_property
    def _over(self) -> dict[float, Any]:
        return {}

    @cached_property
    def whole(self) -> Any:
        """Outline of all of it."""
        return self.above(-np.inf)


@dataclass(frozen=True, eq=False)
class Seat:
    """One part's place: the part as it is loaded, and the devices that stand there whether it is loaded or not."""

    name: str
    part: Thing
    devices: tuple[Thing, ...]


@dataclass(frozen=True, slots=True)
class Step:
    """One part put in: mm of room for fingers on two opposite sides and what is in their way, what the part meets on
    its straight way down ('' if nothing), and for each clamp its id, mm of free key, and degrees of free swing."""

    name: str
    hand: float
    beside: str
    meets: str
    keys: tuple[tuple[str, float, float], ...]

    @property
    def easy(self) -> bool:
        """Whether a hand and every key have their room and the part goes straight in."""
        return not self.meets and self.hand >= FINGER and all(ok(k) for k in self.keys)


def ok(key: tuple[str, float, float]) -> bool:
    """Whether one clamp's key has room: length and swing."""
    return key[1] >= 0.0 and key[2] >= LEAST_SWING


@dataclass(frozen=True, slots=True)
class Loading:
    """The order that leaves most parts easy to load, its steps, and what isn't easy in it."""

    steps: tuple[Step, ...]
    reasons: tuple[Reason, ...]

    @property
    def order(self) -> tuple[str, ...]:
        return tuple(s.name for s in self.steps)


def loading(seats: Sequence[Seat]) -> Loading:
    """Simulate loading a side in several orders and keep the best: rows and columns, from each corner.

    Parameters
    ----------
    seats : every part's place on the side; a device that serves two parts belongs to either
    """
    met: dict[tuple[int, int], bool] = {}
    tried: list[tuple[Step, ...]] = []
    for order in _orders(seats):
        tried.append(tuple(_step(seats, order, k, met) for k in range(len(order))))
        if all(s.easy for s in tried[-1]):
            break
    if not tried:
        return Loading((), ())
    best = max(tried, key=lambda steps: (sum(s.easy for s in steps), round(sum(min(s.hand, FINGER) for s in steps), 3)))
    return Loading(best, tuple(_told(best)))


def _orders(seats: Sequence[Seat]) -> Iterator[list[int]]:
    """Orders of loading: by rows or columns, from each of the four corners; the first is far to near, left to right."""
    middle = np.array([s.part.mesh.bounds.mean(axis=0)[:2] for s in seats]).reshape(-1, 2)
    seen = set()
    rows = np.round(middle / 10.0)
    for along in (0, 1):
        for far in (-1.0, 1.0):
            for left in (1.0, -1.0):
                if not len(middle):
                    return
                order = np.lexsort((left * rows[:, along], far * rows[:, 1 - along])).tolist()
                if tuple(order) not in seen:
                    seen.add(tuple(order))
                    yield order


def _step(seats: Sequence[Seat], order: Sequence[int], k: int, met: dict[tuple[int, int], bool]) -> Step:
    me = seats[order[k]]
    loaded = [seats[j].part for j in order[:k]]
    others = [d for j, s in enumerate(seats) if j != order[k] for d in s.devices]
    own = [d for d in me.devices if not d.loose]
    still = [*loaded, *others]
    hand, beside = _hand(me.part, [*still, *own])
    meets = ""
    for t in [*still, *own]:
        key = (id(me.part), id(t))
        if key not in met:
            met[key] = _in_the_way(me.part, t)
        meets = meets or (t.id if met[key] else "")
    keys = tuple(_key(d, [*still, me.part, *(o for o in me.devices if o is not d)]) for d in me.devices if d.key > 0.0)
    return Step(me.name, hand, beside, meets, keys)


def _in_the_way(part: Thing, other: Thing) -> bool:
    """Whether a part that comes straight down meets a body: whether it stands in that body's shadow."""
    if not shapely.intersects(part.whole, other.whole) or shapely.area(part.whole.intersection(other.whole)) < 0.5:
        return False
    body = part.solid
    for outline, _, high in other.slabs:
        shadow = outline.intersection(part.whole.buffer(1.0))
        shadow = shapely.MultiPolygon(
            [g for g in shapely.get_parts(shadow) if g.geom_type == "Polygon" and g.area > 0.5]
        )
        if not shadow.is_empty and (manifold(prism(shadow, -SHADOW, high - 1e-3)) ^ body).volume() > SCRAPE:
            return True
    return False


def _hand(part: Thing, others: Sequence[Thing]) -> tuple[float, str]:
    """The most room (mm) that two fingers have on opposite sides of the part's top, and what limits it."""
    low = part.top - FINGER_DEEP
    shape = part.above(low)
    tall = [(t.id, t.above(low)) for t in others if t.top > low]
    tall = [(i, s) for i, s in tall if shapely.distance(s, shape) < FINGER]
    if not tall:
        return FAR, ""
    best: tuple[float, str] = (-1.0, "")
    for angle in np.radians(np.arange(WAYS // 2) * 360.0 / WAYS):
        way = np.array([np.cos(angle), np.sin(angle)])
        gaps = [_gap(shape, sign * way, tall) for sign in (1.0, -1.0)]
        least = min(gaps)
        best = max(best, least, key=lambda g: g[0])
    return best


def _gap(shape: Any, way: Points, tall: Sequence[tuple[str, Any]]) -> tuple[float, str]:
    """mm from the part's outermost edge along `way` to the next body within a finger's width."""
    points = shapely.get_coordinates(shape)
    across = np.array([-way[1], way[0]])
    start = float((points @ way).max())
    at = float(np.mean(points[points @ way > start - 1.0] @ across))
    half = FINGER_WIDE / 2.0
    corners = ((start, -half), (start, half), (start + FAR, half), (start + FAR, -half))
    strip = shapely.Polygon([s * way + (at + w) * across for s, w in corners])
    found = [
        (float((shapely.get_coordinates(shapely.intersection(s, strip)) @ way).min()) - start, i)
        for i, s in tall
        if shapely.intersects(s, strip) and not shapely.intersection(s, strip).is_empty
    ]
    return min(found, default=(FAR, ""))


def _key(clamp: Thing, others: Sequence[Thing]) -> tuple[str, float, float]:
    """(id, mm of key free beyond what it needs, degrees that its arm may swing)."""
    way = np.asarray(clamp.tighten_from)
    return _from_above(clamp, others) if way[2] > 0.7 else _from_beside(clamp, others, way)


def _from_above(clamp: Thing, others: Sequence[Thing]) -> tuple[str, float, float]:
    """The key stands on the screw, in the middle of the clamp; its arm swings over what is lower."""
    centre = np.asarray(clamp.whole.centroid.coords)[0]
    point = shapely.Point(centre)
    near = [t.above(clamp.top) for t in others if t.top > clamp.top]
    room = min((float(shapely.distance(s, point)) for s in near), default=FAR)
    arm = clamp.top + KEY_LONG
    tall = shapely.union_all([t.above(arm) for t in others if t.top > arm])
    return clamp.id, min(room, FAR) - clamp.key, _swing(centre, tall)


def _swing(centre: Points, tall: Any) -> float:
    """Degrees of the longest arc in which an arm is free of an outline."""
    if tall.is_empty or shapely.distance(tall, shapely.Point(centre)) > KEY_ARM:
        return 360.0
    turns = np.radians(np.arange(72) * 5.0)
    ends = centre + KEY_ARM * np.column_stack([np.cos(turns), np.sin(turns)])
    arms = shapely.linestrings(np.stack([np.broadcast_to(centre, ends.shape), ends], axis=1))
    free = ~shapely.dwithin(tall, arms, 4.0)
    best = run = 0
    for good in np.concatenate([free, free]):
        run = run + 1 if good else 0
        best = max(best, run)
    return 360.0 if best >= 72 else max(best - 1, 0) * 5.0


def _from_beside(clamp: Thing, others: Sequence[Thing], way: Points) -> tuple[str, float, float]:
    """The key comes along `way` at the clamp's middle height; its arm turns square to it, up and away from the side."""
    flat = way[:2] / float(np.hypot(*way[:2]))
    points = shapely.get_coordinates(clamp.whole)
    start = float((points @ flat).max())
    centre = np.asarray(clamp.whole.centroid.coords)[0]
    height = float(clamp.mesh.vertices[:, 2].mean())
    begin = centre + (start - float(centre @ flat) + 0.5) * flat
    line = shapely.LineString([begin, begin + FAR * flat]).buffer(clamp.key, cap_style="flat")
    met = [
        float((shapely.get_coordinates(hit) @ flat).min()) - start
        for t in others
        for outline, low, high in t.slabs
        if low < height + clamp.key and high > height - clamp.key
        and not (hit := shapely.intersection(outline, line)).is_empty
    ]  # fmt: skip
    return clamp.id, min(met, default=FAR) - SHORT_KEY, 180.0


def _told(steps: Sequence[Step]) -> Iterator[Reason]:
    """What isn't easy, worst first, one line a kind."""
    tight = [s for s in steps if s.hand < FINGER]
    if tight:
        worst = min(tight, key=lambda s: (s.hand, s.name))
        text = (
            f"{len(tight)} of {len(steps)} parts leave fingers less than {FINGER:g} mm on two opposite sides, "
            f"{worst.name} the least, beside {worst.beside}: take them by the top, with a lifter"
        )
        yield Reason("loading", text, round(FINGER - worst.hand, 1), "mm")
    met = [s for s in steps if s.meets]
    if met:
        text = f"{len(met)} of {len(steps)} parts don't go straight in: {met[0].name} meets {met[0].meets} from above"
        yield Reason("loading", text, float(len(met)), "parts")
    keys = [(s.name, k) for s in steps for k in s.keys if not ok(k)]
    if keys:
        name, (clamp, spare, swing) = min(keys, key=lambda row: (row[1][1], row[1][2], row[0]))
        text = f"{len(keys)} clamps have no room for their key once the parts before are in: {clamp} of {name}" + (
            f" lacks {-spare:.1f} mm" if spare < 0 else f" swings {swing:.0f}° of {LEAST_SWING:.0f}°"
        )
        yield Reason("loading", text, float(len(keys)), "clamps")
