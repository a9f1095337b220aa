"""The best with what is locked: every side filled again around the stations that shall stay where they are."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from palletwright.layout import apothems, pack
from palletwright.layout.around import pack_around
from palletwright.layout.model import Packing, Side, Station
from palletwright.plan.arrange import flat_width, sides_of_placing
from palletwright.plan.assign import SlotGroup, best_assignment
from palletwright.plan.capacity import MOST, RASTER, centred
from palletwright.plan.context import Context
from palletwright.plan.evaluate import all_pass, cycles_of, examine_design, parts_per_cycle
from palletwright.plan.model import Design, Placing, StationAt
from palletwright.plan.options import Option

ROUNDS = 8
"""Times that stations in conflict are taken out and the rest is checked again."""

Chosen = dict[int, Option]


@dataclass(frozen=True)
class Refitted:
    """A design filled again, the parts that leave its cycles, at most how many were possible, and whether every
    reach check passed."""

    design: Design
    parts: tuple[int, ...]
    bound: tuple[int, ...]
    passed: bool


@dataclass(frozen=True, eq=False)
class Field:
    """One side of one placing, the stations that stay on it, and what each operation could do there."""

    placing: Placing
    side: Side
    stays: tuple[StationAt, ...]
    packings: dict[int, Packing]


def refit(context: Context, design: Design, chosen: Chosen, locked: frozenset[str]) -> Refitted:
    """The design with every side filled again, `locked` stations where they are, each operation with its grip.

    Stations that conflict in the whole scene are taken out, never a locked one: where only those conflict, `passed`
    is False.

    Raises LookupError where locked stations of several operations share a side.
    """
    stations: list[StationAt] = []
    bounds = []
    for cycle in cycles_of(design):
        placed, bound = _cycle(context, design, chosen, locked, cycle)
        stations += placed
        bounds.append(bound)
    made = replace(design, stations=tuple(stations))
    made, passed = cleared(context, made, chosen, locked)
    parts = parts_per_cycle(made)
    return Refitted(made, parts, tuple(max(b, p) for b, p in zip(bounds, parts, strict=True)), passed)


def _cycle(
    context: Context, design: Design, chosen: Chosen, locked: frozenset[str], cycle: int
) -> tuple[list[StationAt], int]:
    """Stations of one cycle, and at most how many parts could leave it."""
    mounts = {p.mount for p in design.placings if p.cycle == cycle}
    operations = tuple(dict.fromkeys(s.operation for s in design.stations if s.mount in mounts))
    fields = list(_fields(context, design, chosen, locked, operations, cycle))
    alike: dict[str, list[Field]] = {}
    for f in fields:
        own = f"{f.placing.mount}/{f.side.id}" if f.stays else f"{f.placing.carrier} {f.placing.sides}"
        alike.setdefault(own, []).append(f)
    groups = [_group(name, rows, operations, chosen) for name, rows in alike.items()]
    parts, splits = best_assignment(groups, len(operations))
    most = [replace(g, capacity=_bounds(rows[0], operations, chosen))
            for g, rows in zip(groups, alike.values(), strict=True)]  # fmt: skip
    bound = best_assignment(most, len(operations))[0]
    given: dict[int, list[tuple[Field, Packing]]] = {k: [] for k in operations}
    for rows, split in zip(alike.values(), splits, strict=bool(splits)):
        free = list(rows)
        for position, n in split.items():
            for _ in range(n):
                f = free.pop(0)
                given[operations[position]].append((f, f.packings[operations[position]]))
    placed = []
    for k in operations:
        stays = [s for f in fields for s in f.stays if s.operation == k]
        number = next(o.number for o in design.operations if o.clamping == k)
        placed += _stations(k, number, given[k], stays, parts, chosen[k].parts)
    return placed, bound


def _fields(
    context: Context, design: Design, chosen: Chosen, locked: frozenset[str], operations: tuple[int, ...], cycle: int
) -> Iterator[Field]:
    stay = [s for s in design.stations if locked & set(s.parts)]
    for placing in (p for p in design.placings if p.cycle == cycle):
        for side in sides_of_placing(context, placing):
            here = tuple(s for s in stay if (s.mount, s.side) == (placing.mount, side.id))
            kinds = {s.operation for s in here}
            if len(kinds) > 1:
                raise LookupError(f"side {side.id} has locked stations of several operations: lock those of one")
            able = kinds or {k for k in operations if _suits(design, chosen, placing, k)}
            packings = {k: _packed(context, design, chosen[k], side, here) for k in sorted(able)}
            yield Field(placing, side, here, packings)


def _suits(design: Design, chosen: Chosen, placing: Placing, operation: int) -> bool:
    """Whether an operation's grip is made for this kind of carrier; a vise's grip for that very vise."""
    if chosen[operation].kind != placing.kind:
        return False
    own = {p.carrier for s in design.stations for p in design.placings
           if s.operation == operation and p.mount == s.mount}  # fmt: skip
    return placing.kind != "vise" or placing.carrier in own


def _packed(context: Context, design: Design, option: Option, side: Side, here: tuple[StationAt, ...]) -> Packing:
    """One side filled by one grip around what stays on it; without anything that stays, as the planner does."""
    clearance = context.clearance(context.machine(design.machine)) + RASTER
    most = 1 if option.kind == "vise" else MOST // option.parts
    gap, seed, effort = context.shop.floors.solid_gap, context.job.seed, context.job.effort
    if here:
        kept = [(s.x, s.y, s.turn) for s in here]
        found = pack_around(
            option.module, side, kept, clearance=clearance, solid_gap=gap, most=most, seed=seed, effort=effort
        )
        return found
    key = ("refit", option.grip.id, id(option), side.area.wkb, side.pose.tobytes())
    return context.once(
        key,
        lambda: centred(
            pack(option.module, side, clearance=clearance, solid_gap=gap, most=most, seed=seed, effort=effort,
                 explain=False), option, side),
    )  # fmt: skip


def _group(name: str, rows: list[Field], operations: tuple[int, ...], chosen: Chosen) -> SlotGroup:
    first = rows[0].packings
    return SlotGroup(name, len(rows), tuple(first[k].count * chosen[k].parts if k in first else 0 for k in operations))


def _bounds(field: Field, operations: tuple[int, ...], chosen: Chosen) -> tuple[int, ...]:
    return tuple(field.packings[k].bound * chosen[k].parts if k in field.packings else 0 for k in operations)


def _stations(
    operation: int, number: int, given: list[tuple[Field, Packing]], stays: list[StationAt], parts: int, each: int
) -> list[StationAt]:
    """Locked stations first, then others until `parts` parts have a place; names that are free are given anew."""
    rows = list(stays)
    taken = {n for s in stays for n in s.parts}
    names = (n for i in range(1, 10_000) if (n := f"{number}.{i}") not in taken)
    left = parts - len(taken)
    for field, packing in given:
        for spot in _others(field, packing):
            if left <= 0:
                return rows
            own = tuple(next(names) for _ in range(each))
            rows.append(StationAt(own, operation, field.placing.mount, field.side.id, round(spot.x, 6),
                                  round(spot.y, 6), spot.turn))  # fmt: skip
            left -= each
    return rows


def _others(field: Field, packing: Packing) -> tuple[Station, ...]:
    """A packing's stations without the kept ones, which come first in it."""
    return packing.stations[len(field.stays) :]


def cleared(context: Context, design: Design, chosen: Chosen, locked: frozenset[str]) -> tuple[Design, bool]:
    """The design without stations that are in conflict in the whole scene, locked ones excepted; and whether it passes.

    What has become more than the other operations of its cycle can follow is left out too.
    """
    for _ in range(ROUNDS):
        design = evened(design, locked)
        examined = examine_design(context, design, chosen, measured=False)
        if all_pass(examined.reaches):
            return design, min(examined.parts, default=0) > 0
        pairs = [pair for r in examined.reaches for pair in r.conflicts]
        out = _worst(design, pairs, locked)
        if out is None:
            return design, False
        design = replace(design, stations=tuple(s for s in design.stations if s is not out))
    return design, False


def _worst(design: Design, pairs: list[tuple[str, str]], locked: frozenset[str]) -> StationAt | None:
    """The station in most conflicts that isn't locked."""
    free = [s for s in design.stations if not locked & set(s.parts)]
    tally = {s: sum(bool({a, b} & set(s.parts)) for a, b in pairs) for s in free}
    worst = max(free, key=lambda s: (tally[s], s.parts), default=None)
    return worst if worst is not None and tally[worst] else None


def evened(design: Design, locked: frozenset[str]) -> Design:
    """The design without free stations beyond what the operation with the fewest parts of its cycle can follow."""
    least = dict(zip(cycles_of(design), parts_per_cycle(design), strict=True))
    cycle = {p.mount: p.cycle for p in design.placings}
    room: dict[int, int] = {}
    kept = []
    for station in sorted(design.stations, key=lambda s: not locked & set(s.parts)):
        room.setdefault(station.operation, least[cycle[station.mount]])
        if room[station.operation] > 0 or locked & set(station.parts):
            kept.append(station)
            room[station.operation] -= len(station.parts)
    return replace(design, stations=tuple(s for s in design.stations if s in kept))


def with_sides(context: Context, design: Design, chosen: Chosen, mount: str, sides: int) -> tuple[Placing, ...]:
    """The placings a pallet may become with another number of sides: flats as narrow as its modules need, and the
    widest.

    Raises LookupError where the carrier doesn't take that number or no module finds room on such flats.
    """
    placing = next((p for p in design.placings if p.mount == mount), None)
    if placing is None or placing.kind != "pallet":
        raise LookupError(f"{mount} has no sides to choose: it isn't a pallet")
    carrier = next(c for c in context.shop.carriers if c.id == placing.carrier)
    allowed = carrier.sides or (2, 3, 4, 5, 6)
    if sides not in allowed:
        raise LookupError(f"{carrier.id} can have {', '.join(map(str, allowed))} sides, not {sides}")
    needs = sorted(
        min((y1 - y0) if t % 2 == 0 else (x1 - x0) for t in o.module.turns)
        for o in chosen.values()
        if o.kind == "pallet"
        for x0, y0, x1, y1 in [o.module.outline.bounds]
    )
    found = {a for need in needs for a in apothems(carrier, sides, need)[:1]}
    wide = max(apothems(carrier, sides, needs[0]), key=lambda a: (round(flat_width(carrier, sides, a), 2), -a),
               default=None)  # fmt: skip
    found |= {wide} if wide is not None else set()
    if not found:
        raise LookupError(f"{carrier.id} with {sides} sides has no flat as wide as {needs[0]:.0f} mm")
    return tuple(replace(placing, sides=sides, apothem=a) for a in sorted(found))
