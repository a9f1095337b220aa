"""All the ways to hold one shape in one operation, ranked."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Literal

import numpy as np

from palletwright.grip.draft import Draft, Settled, ahead, in_station, settle
from palletwright.grip.edges import edge
from palletwright.grip.expanders import expander
from palletwright.grip.frame import operation_frame
from palletwright.grip.jaws import jaw
from palletwright.grip.model import Grip, GripKind
from palletwright.grip.patches import Patch
from palletwright.grip.screws import screw
from palletwright.grip.seats import Seat, seats
from palletwright.grip.sideways import standing
from palletwright.grip.soft_jaws import soft_jaw
from palletwright.grip.spots import HALF_NOSE, NOSE
from palletwright.grip.straps import strap
from palletwright.grip.sweeps import Sweep
from palletwright.grip.vacuum import vacuum
from palletwright.grip.vees import v_jaw
from palletwright.grip.waste import dovetail, stud
from palletwright.grip.wedges import wedge
from palletwright.grip.work import Work, gather
from palletwright.shop.model import Carrier, Clamp, Floors, Material, Shop
from palletwright.solid.model import Mesh
from palletwright.verdict import Reason, Vec

CarrierKind = Literal["plate", "pallet", "vise"]
LEAST_JAW = 3.0  # mm of wall in jaws; practice.md
HOUR_AREA = 1500.0  # mm² of side that one hour of preparation counts for when ranking; our own choice
SCREW_AREA = 60.0  # mm² for each screw that the loader turns; our own choice
NO_WALLS = {
    "edge": "no two untouched walls across each other, each with another one straight across the part from it",
    "wedge": "no untouched wall straight across the part from a wall with room for two stops",
    "strap": "no two untouched walls across each other with room for three stops",
    "jaw": "no two opposite untouched walls that face each other across the part",
    "soft_jaw": "the untouched outline gives two jaws too little to press on",
}
BLANK_AREA = 400.0  # mm² for each second of preparing each blank, which never ends; our own choice
LIFT_AREA = 10.0  # mm² for each mm of lift; our own choice


def grips(
    before: Mesh,
    after: Mesh,
    stock: Mesh,
    part: Mesh,
    up: Vec,
    directions: Sequence[Vec],
    sweeps: Sequence[Sweep],
    shop: Shop,
    material: Material,
    *,
    tolerance: float,
    floors: Floors,
    carrier_kind: CarrierKind,
    axis: Vec | None = None,
    vise: Carrier | None = None,
    most: int = 8,
) -> tuple[tuple[Grip, ...], tuple[Reason, ...]]:
    """The ways to hold a part in one operation, simplest and densest first, and why other kinds failed.

    Parameters
    ----------
    before, after : closed meshes of the part before and after the operation, part frame, mm
    stock, part : the blank and the finished shape, part frame, mm
    up : unit vector of the part frame that points out of the side
    directions : the operation's directions towards the spindle, part frame
    sweeps : for every cut (direction, tips (n, 3), stack rows (radius, from, to), entry height), part frame, mm
    tolerance : ± mm of the blank's size; clamps stand off raw walls by it, and their stroke has to follow twice it
    axis : part-frame direction of the rotary axis; the station's x lies along it
    vise : the vise whose jaws hold, for `carrier_kind` "vise"
    most : greatest number of grips returned, but the cheapest of every kind is among them whatever their number

    Raises
    ------
    ValueError
        Where `axis` lies along `up`, or `carrier_kind` is "vise" without a vise.
    """
    if carrier_kind == "vise" and vise is None:
        raise ValueError("carrier_kind 'vise' needs the vise itself: pass vise=Carrier(kind='vise', ...)")
    rotation, one, two = operation_frame(before, after, up, axis)
    work = gather((one, two), part, rotation, sweeps, shop, material, floors, tolerance, vise)
    walls, seated = standing(work), seats(work)
    chosen = _chosen(_gathered(work, _drafts(work, walls, seated, carrier_kind)), most)
    held = tuple(in_station(work, made, name) for name, made in chosen)
    return held, _reasons(work, walls, seated, carrier_kind, {made.draft.kind for _, made in chosen})


def _of_kind(shop: Shop, kind: str, keep: int = 3) -> list[Clamp]:
    """The shop's clamps of a kind: smallest first, and the strongest among those kept."""
    clamps = sorted((c for c in shop.clamps if c.kind == kind), key=lambda c: (c.footprint[0] * c.footprint[1], c.id))
    if len(clamps) <= keep:
        return clamps
    strongest = max(clamps, key=lambda c: (c.force, c.id))
    kept = clamps[: keep - 1]
    return kept + ([strongest] if strongest not in kept else [clamps[keep - 1]])


def _drafts(work: Work, walls: Sequence[Patch], seated: Sequence[Seat], carrier_kind: CarrierKind) -> Iterator[Draft]:
    if carrier_kind == "vise":
        yield from jaw(work, walls)
        yield from soft_jaw(work)
        yield from v_jaw(work, walls)
        return
    ways: list[tuple[str, Callable[..., Iterator[Draft]]]] = [
        ("edge", edge),
        ("wedge", wedge),
        ("strap", strap),
        ("screw", screw),
        ("expander", expander),
        ("vacuum", vacuum),
        ("stud", stud),
        ("dovetail", dovetail),
    ]
    for kind, way in ways:
        clamps = _of_kind(work.shop, kind, 12)
        if not clamps:
            work.fault(kind, f"the shop has no clamp of kind {kind}", 0.0, "")
        elif seated:
            yield from way(work, seated, walls, clamps)
    yield from jaw(work, walls)
    yield from soft_jaw(work)
    yield from v_jaw(work, walls)


@dataclass(eq=False)
class _Found:
    """One draft in the order of search, settled when it is first looked at."""

    work: Work
    row: int
    name: str
    plain: Settled
    known: list[Settled | None] = field(default_factory=list)

    @property
    def kind(self) -> GripKind:
        return self.plain.draft.kind

    @property
    def strength(self) -> float:
        """N·mm: what the clamps press with, times how far apart the pair of stops stands (at least a nose's width)."""
        draft = self.plain.draft
        return sum(c.preload for c in draft.contacts) * max(draft.firm, 2 * HALF_NOSE)

    def settled(self) -> Settled | None:
        if not self.known:
            self.known.append(settle(self.work, self.plain))
        return self.known[0]

    def rank(self, made: Settled) -> tuple[bool, float, int]:
        """Failing margins last, then cost, then the order of search."""
        return not all(m.passed for m in made.draft.margins), _cost(made), self.row


def _cost(made: Settled) -> float:
    """mm² of side that the grip takes for one part, its hours, screws and lift counted as room."""
    d = made.draft
    cost = float(np.prod(made.size)) / made.parts + HOUR_AREA * d.hours - d.firm + BLANK_AREA * d.part_seconds
    return round(cost + SCREW_AREA * d.screws / made.parts + LIFT_AREA * made.lift, 2)


def _ranked(rows: Iterable[_Found]) -> Iterator[tuple[_Found, Settled]]:
    """Those that settle, cheapest first: each is settled only once nothing unsettled can be cheaper."""
    heap = [(found.rank(found.plain), False, found) for found in rows]
    heapq.heapify(heap)
    while heap:
        _, done, found = heapq.heappop(heap)
        made = found.settled()
        if made is None:
            continue
        if done:
            yield found, made
        else:
            heapq.heappush(heap, (found.rank(made), True, found))


def _gathered(work: Work, drafts: Iterable[Draft]) -> list[_Found]:
    result: list[_Found] = []
    counts: dict[str, int] = {}
    for draft in drafts:
        counts[draft.kind] = counts.get(draft.kind, 0) + 1
        result.append(_Found(work, len(result), f"{draft.kind}-{counts[draft.kind]}", ahead(work, draft)))
    return result


def _chosen(rows: Sequence[_Found], most: int) -> list[tuple[str, Settled]]:
    """The cheapest of every kind, the strongest of every kind, other footprints, then what is left, cheapest first."""
    chosen: dict[int, tuple[_Found, Settled]] = {}
    seen: set[tuple[object, ...]] = set()

    def take(ways: Iterable[tuple[_Found, Settled] | None], anew: bool = True) -> None:
        for way in ways:
            if len(chosen) == most:
                return
            if way is not None and not (anew and _look(way[1]) in seen):
                chosen[way[0].row] = way
                seen.add(_look(way[1]))

    of: dict[str, list[_Found]] = {}
    for found in rows:
        of.setdefault(found.kind, []).append(found)
    cheapest = [way for kind in of.values() for way in islice(_ranked(kind), 1)]
    cheapest.sort(key=lambda way: way[0].rank(way[1]))
    most = max(most, len(cheapest))
    take(cheapest)
    firm_first = sorted((way[0].kind for way in cheapest), key=lambda kind: kind != "edge")
    take(_strongest(of[kind]) for kind in firm_first)
    take(_ranked(rows))
    take(_ranked(rows), anew=False)
    return [(found.name, made) for found, made in sorted(chosen.values(), key=lambda way: way[0].rank(way[1]))]


def _strongest(rows: Sequence[_Found]) -> tuple[_Found, Settled] | None:
    """The cheapest of the strongest that settle."""
    for strength in sorted({round(f.strength, 3) for f in rows}, reverse=True):
        way = next(_ranked([f for f in rows if round(f.strength, 3) == strength]), None)
        if way is not None:
            return way
    return None


def _look(made: Settled) -> tuple[object, ...]:
    """What two grips must differ in to count as different: kind, devices, room on the side, lift."""
    room = np.round(2.0 * made.size) / 2.0
    return made.draft.kind, tuple(sorted(p.catalogue for p in made.draft.pieces)), *room, round(made.lift, 1)


def _reasons(
    work: Work,
    walls: Sequence[Patch],
    seated: Sequence[Seat],
    carrier_kind: CarrierKind,
    held: set[GripKind],
) -> tuple[Reason, ...]:
    result = [r for k, r in work.faults.items() if k not in held and (k != "rest" or not held)]
    if not seated and carrier_kind != "vise":
        result.append(
            Reason(
                "seat",
                "no flat untouched face opposite the side's normal carries the part: its centre of "
                "mass lies outside every such face; another direction, or jaws",
                None,
            )
        )
    in_vise = ("jaw", "soft_jaw", "v_jaw")
    on_plate = ("edge", "wedge", "strap", "screw", "soft_jaw", "v_jaw", "expander", "vacuum", "stud", "dovetail")
    ways = in_vise if carrier_kind == "vise" else on_plate
    if seated:
        result += [Reason(k, NO_WALLS.get(k, "no place found")) for k in ways if k not in held and k not in work.faults]
    whole = [w for w in work.walls if w.whole.bounds and w.whole.bounds[3] - w.whole.bounds[1] >= 2 * NOSE]
    need = _grip_stock(work, carrier_kind)
    if whole and not held and need > 0:
        cut = "cuts every side wall down to the base" if not walls else "leaves too low a strip of the side walls"
        result.append(
            Reason(
                "walls",
                f"this operation {cut}: {need:.1f} mm more of grip stock below the part would let clamps hold it under "
                "the tools, or cut the outline from another direction",
                round(need, 2),
                "mm",
            )
        )
    elif not whole:
        result.append(Reason("walls", "the shape has no flat side wall square to its base", None))
    return tuple(result)


def _grip_stock(work: Work, carrier_kind: CarrierKind) -> float:
    """mm more below the base that the lowest jaw or edge clamp needs to hold under this operation's tools."""
    low = min((s.lowest for s in work.swept if s.direction[2] > 0.99), default=np.inf)
    if carrier_kind == "vise":
        return LEAST_JAW + work.vertical - low
    rise = min((c.height - c.reach_height for c in work.shop.clamps if c.kind == "edge"), default=0.0)
    return NOSE + max(rise, 0.0) + work.vertical - low
