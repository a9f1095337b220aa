"""Edge clamps: single-acting, each pushes the part sideways against a stop across from it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from palletwright.grip.draft import Draft, piece
from palletwright.grip.patches import Patch
from palletwright.grip.seats import Seat
from palletwright.grip.sideways import (
    TIPS,
    Pair,
    Stops,
    against,
    level,
    located,
    pairs_of_walls,
    pressed,
    push,
    seen_along,
    stop_items,
    stroke,
    two_stops,
    wrench,
)
from palletwright.grip.spots import Spot, first, outwards, positions, spot
from palletwright.grip.work import Work
from palletwright.shop.model import Clamp, Locator


def edge(work: Work, seats: Sequence[Seat], walls: Sequence[Patch], clamps: Sequence[Clamp]) -> Iterator[Draft]:
    """Edge clamps against the pair of stops, one or one across from each, and one or none against the single stop.

    Stops just high enough for the clamp first, then the tallest that clear the tools: their faces hold against
    tipping.
    """
    for clamp in clamps:
        kinds = [_Against(work, walls, clamp, stop_items(work, clamp.reach_height))]
        kinds += [_Against(work, walls, clamp, tallest(work))]
        for a, b in pairs_of_walls(walls):
            seen: set[tuple[object, ...]] = set()
            for found in kinds:
                for stops, mains, cross in found.choices(a, b):
                    key = (*stops.pair, stops.rail, stops.single, *mains, cross)
                    if key not in seen:
                        seen.add(key)
                        yield from _levelled(work, seats, clamp, stops, mains, cross)


@dataclass(frozen=True, eq=False)
class _Against:
    """One clamp against stops from one list: what a wall has room for is worked out once for every wall."""

    work: Work
    walls: Sequence[Patch]
    clamp: Clamp
    items: Sequence[Locator]
    known: dict[tuple[str, int], Any] = field(default_factory=dict)

    def _once(self, what: str, wall: Patch, make: Callable[[], Any]) -> Any:
        if (what, wall.id) not in self.known:
            self.known[what, wall.id] = make()
        return self.known[what, wall.id]

    def _pair(self, wall: Patch) -> tuple[Pair, Spot | None, tuple[Spot, Spot] | None] | None:
        """Two stops at a wall, one clamp between them or two across from them."""
        pair = two_stops(self.work, wall, self.items, "edge")
        if pair is None:
            return None
        main = pressed(self.work, self.clamp, pair[0], self.walls, "edge")
        both = twin(self.work, self.clamp, pair[0], self.walls, "edge")
        return None if main is None and both is None else (pair, main, both)

    def choices(self, a: Patch, b: Patch) -> Iterator[tuple[Stops, tuple[Spot, ...], Spot | None]]:
        """(stops, clamps against the pair at `a`, clamp against the single stop at `b` if one can stand)."""
        found = self._once("pair", a, lambda: self._pair(a))
        if found is None:
            return
        pair, main, both = found
        facing = lambda: next(_facing(self.work, b, self.items, self.clamp, self.walls), (None, None))  # noqa: E731
        single, cross = self._once("facing", b, facing)
        if single is not None:
            for mains in ((main,) if main else (), both or ()):
                yield Stops(pair[0], pair[1], single), mains, cross
        if both is None:
            return
        lone = single or self._once("lone", b, lambda: _lone(self.work, b, self.items))
        if lone is not None:
            yield Stops(pair[0], pair[1], lone), both, None


def tallest(work: Work) -> list[Locator]:
    """Stops by height, the tallest first."""
    items = [k for k in work.shop.locators if k.kind == "stop"]
    return sorted(items, key=lambda k: (-k.height, k.footprint[0] * k.footprint[1], k.id))


def _lone(work: Work, wall: Patch, items: Sequence[Locator]) -> Spot | None:
    """A single stop that nothing presses against: the part is set to it by hand."""
    for item in items:
        tries = positions(wall, item)
        found = first(work, wall, item, outwards(tries, float(tries.mean())), "edge") if len(tries) else None
        if found is not None:
            return found
    return None


def twin(
    work: Work, clamp: Clamp, stops: Sequence[Spot], walls: Sequence[Patch], about: str
) -> tuple[Spot, Spot] | None:
    """Two clamps side by side on the wall across from a pair of stops, as far apart as the stops' span allows."""
    wall = stops[0].wall
    low, high = sorted(float(s.contact() @ wall.u) for s in stops)
    for other in against(walls, wall):
        if float((other.origin - wall.origin) @ wall.normal) > -1.0:
            continue
        tries = positions(other, clamp, 25)
        along = seen_along(wall, other, tries)
        tries = tries[(along >= low - 1.5) & (along <= high + 1.5)]
        if not len(tries) or tries[-1] - tries[0] < clamp.footprint[0] + 1.0:
            continue
        one, two = (first(work, other, clamp, order, about) for order in (tries, tries[::-1]))
        if one is not None and two is not None and two.s - one.s >= clamp.footprint[0] + 1.0:
            return one, two
    return None


def _levelled(
    work: Work, seats: Sequence[Seat], clamp: Clamp, stops: Stops, mains: tuple[Spot, ...], cross: Spot | None
) -> Iterator[Draft]:
    """The grip with its stops at the clamps' heights, where they can be."""
    if not mains or abs(mains[0].height - mains[-1].height) > TIPS:
        return
    made = level(work, stops, mains[0].height, cross.height if cross is not None else None, "edge")
    if made is not None:
        yield from _drafts(work, seats, clamp, made, (*mains, *([cross] if cross is not None else [])), cross is None)


def _facing(
    work: Work, wall: Patch, items: Sequence[Locator], clamp: Clamp, walls: Sequence[Patch]
) -> Iterator[tuple[Spot, Spot]]:
    """Single stops with a clamp straight across."""
    for item in items:
        tries = positions(wall, item)
        for s in outwards(tries, float(tries.mean())) if len(tries) else []:
            single = spot(work, wall, item, s, "edge")
            cross = pressed(work, clamp, [single], walls, "edge") if single is not None else None
            if single is not None and cross is not None:
                yield single, cross


def _drafts(
    work: Work, seats: Sequence[Seat], clamp: Clamp, stops: Stops, at: tuple[Spot, ...], along: bool
) -> Iterator[Draft]:
    """Drafts of one choice of places; `along`: nothing but friction holds the part along the pair's wall."""
    margins = [stroke(work, clamp, [*at, *stops.pair, stops.single])]
    margins += [m for s in at if (m := wrench(work, s, clamp)) is not None]
    bad = next((m for m in margins if not m.passed), None)
    if bad is not None:
        work.fault(
            "edge", f"{clamp.id}: {bad.check} to {bad.obstacle} needs {bad.need:.2f}, has {bad.have:.2f}", -bad.spare
        )
        return
    pieces = [*stops.pieces(), *(piece(s, f"clamp{k + 1}") for k, s in enumerate(at))]
    presses = [c for k, s in enumerate(at) for c in push(work, s, clamp, f"C{k + 1}", f"clamp{k + 1}")]
    contacts = (*located(work, stops), *presses)
    for seat in seats:
        yield Draft(
            "edge",
            seat,
            tuple(pieces),
            contacts,
            "friction" if along else "stop",
            len(at),
            margins=tuple(margins),
            firm=stops.firm,
            notes=("set against the single stop by hand: friction holds it there",) if along else (),
        )
