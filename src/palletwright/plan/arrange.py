"""Arrangements: which carriers stand in the machine, and which operation goes on which side."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from shapely.geometry import box

from palletwright.access.model import Clamping
from palletwright.layout import apothems, sides_of
from palletwright.layout.model import Side
from palletwright.plan.assign import SlotGroup, best_assignment
from palletwright.plan.capacity import Filled, fill
from palletwright.plan.context import Context
from palletwright.plan.model import CarrierKind, Design, Family, OperationChoice, Placing, StationAt
from palletwright.plan.options import OperationKey, options
from palletwright.plan.table import pallet_fits, standing
from palletwright.shop.model import Carrier, Machine
from palletwright.verdict import Reason

MOST_PLATES = 4
"""Like plates on one table that are tried."""


@dataclass(frozen=True, eq=False)
class Candidate:
    """An arrangement with its stations, before the checks of the whole scene."""

    design: Design
    parts: int
    bound: int
    filled: tuple[Filled, ...]
    label: str


def seats(clamping: Clamping, kind: CarrierKind) -> tuple[tuple[float, float, float], ...]:
    """Ways the part may sit for one clamping: the given ups on a pallet, its one direction elsewhere."""
    if clamping.axis is not None:
        return clamping.ups if kind == "pallet" else ()
    return clamping.ups[:1] or clamping.directions[:1]


def best_fill(
    context: Context,
    machine: Machine,
    family: Family,
    index: int,
    k: int,
    kind: CarrierKind,
    side: Side,
    vise: str = "",
) -> tuple[Filled | None, list[Reason]]:
    """Operation k on one side: the seat and grip with most parts."""
    clamping = context.sequence(machine, family, index).clampings[k]
    best: Filled | None = None
    why: list[Reason] = []
    for up in seats(clamping, kind):
        got, reasons = fill(context, OperationKey(machine.id, family, index, k, up, kind, vise), side)
        why += reasons
        if got is not None and (best is None or got.parts > best.parts):
            best = got
    return best, why


def pallet_variants(
    context: Context, machine: Machine, family: Family, index: int, operations: tuple[int, ...]
) -> Iterator[tuple[Carrier, int, float]]:
    """Every pallet of the shop that the machine's rotary takes, with side counts and depths of flats to try.

    Flats just as wide as the narrowest and the widest of the operations' modules need, and the widest flats.
    """
    needs = sorted({w for k in operations for w in needed_widths(context, machine, family, index, k)})
    for carrier in context.shop.carriers:
        if carrier.kind != "pallet" or pallet_fits(machine, carrier) or not needs:
            continue
        for sides in carrier.sides or (2, 3, 4, 5, 6):
            tried = {a for need in (needs[0], needs[-1]) for a in apothems(carrier, sides, need)[:1]}
            wide = max(
                apothems(carrier, sides, needs[0]),
                key=lambda a, c=carrier, n=sides: (round(flat_width(c, n, a), 2), -a),  # type: ignore[misc]
                default=None,
            )
            for apothem in sorted(tried | ({wide} if wide is not None else set())):
                yield carrier, sides, apothem


def flat_width(carrier: Carrier, sides: int, apothem: float) -> float:
    """mm of free width of a flat."""
    area = sides_of(carrier, sides, apothem)[0].area.bounds
    return float(area[3] - area[1])


def needed_widths(context: Context, machine: Machine, family: Family, index: int, k: int) -> list[float]:
    """mm across the axis that one operation's modules need on a pallet, the least of each seat."""
    clamping = context.sequence(machine, family, index).clampings[k]
    found = []
    for up in seats(clamping, "pallet"):
        sizes = []
        for option in options(context, OperationKey(machine.id, family, index, k, up, "pallet"))[0]:
            x0, y0, x1, y1 = option.module.outline.bounds
            sizes += [(y1 - y0) if t % 2 == 0 else (x1 - x0) for t in option.module.turns]
        found += [min(sizes)] if sizes else []
    return found


def plate_variants(
    context: Context, machine: Machine
) -> Iterator[tuple[Carrier, tuple[tuple[tuple[float, float], int], ...]]]:
    """Every plate of the shop in one to four copies that find room on the table."""
    for carrier in context.shop.carriers:
        if carrier.kind == "plate":
            places = standing(machine, carrier, MOST_PLATES)
            for n in range(1, len(places) + 1):
                yield carrier, places[:n]


def split_side(side: Side, parts: int) -> tuple[Side, ...]:
    """A side shared into equal fields along its longer way, each with half the gap kept free at the seam."""
    if parts == 1:
        return (side,)
    x0, y0, x1, y1 = side.area.bounds
    along_x = x1 - x0 >= y1 - y0
    edges = np.linspace(x0 if along_x else y0, x1 if along_x else y1, parts + 1)
    fields = []
    for i in range(parts):
        lo, hi = edges[i] + (2.0 if i else 0.0), edges[i + 1] - (2.0 if i < parts - 1 else 0.0)
        field = box(lo, y0, hi, y1) if along_x else box(x0, lo, x1, hi)
        centre = ((lo + hi) / 2, (y0 + y1) / 2) if along_x else ((x0 + x1) / 2, (lo + hi) / 2)
        pose = side.pose.copy()
        pose[:3, 3] = side.pose[:3, :3] @ np.array([*centre, 0.0]) + side.pose[:3, 3]
        area = side.area.intersection(field)
        from shapely.affinity import translate

        fields.append(Side(f"{side.id}{'abcd'[i]}", translate(area, -centre[0], -centre[1]), pose))
    return tuple(fields)


def sides_of_placing(context: Context, placing: Placing) -> tuple[Side, ...]:
    """The sides of one carrier as placed, in its own frame."""
    carrier = next(c for c in context.shop.carriers if c.id == placing.carrier)
    if placing.kind == "pallet":
        return tuple(sides_of(carrier, placing.sides, placing.apothem))
    sides = tuple(sides_of(carrier))
    return tuple(f for s in sides for f in split_side(s, placing.split))


def arrangement(
    context: Context,
    machine: Machine,
    family: Family,
    index: int,
    placings: tuple[Placing, ...],
    operations: tuple[int, ...],
) -> tuple[Candidate | None, list[Reason]]:
    """Fill one choice of carriers with the operations that belong in one cycle, as evenly as possible."""
    groups, fills, why = _capacities(context, machine, family, index, placings, operations)
    parts, splits = best_assignment(groups, len(operations))
    label = _label(context, machine, family, index, placings)
    if parts == 0:
        empty = [operations[k] for k in range(len(operations)) if not any(g.capacity[k] for g in groups)]
        short = ", ".join(f"operation {10 * (k + 1)}" for k in empty) or "some operation"
        return None, [*why, Reason(label, f"finds no room for {short} beside the others")]
    stations, used = _stations(context, placings, groups, fills, splits, operations, parts)
    choices = []
    for position, k in enumerate(operations):
        option = used[position].option
        clamping = context.sequence(machine, family, index).clampings[k]
        choices.append(OperationChoice(10 * (k + 1), k, option.up, option.kind, option.grip.id, clamping.axis))
    kept = tuple(p for p in placings if any(s.mount == p.mount for s in stations))
    design = Design(machine.id, family, index, tuple(choices), kept, stations, 1)
    bound = best_assignment(
        [replace(g, capacity=tuple(_bounds(fills, i, g, len(operations)))) for i, g in enumerate(groups)],
        len(operations),
    )[0]
    return Candidate(design, parts, max(bound, parts), used, label), why


def _bounds(fills: dict[tuple[int, int], Filled], i: int, group: SlotGroup, operations: int) -> list[int]:
    return [fills[i, k].bound if (i, k) in fills else 0 for k in range(operations)]


def asked_of(
    context: Context,
    machine: Machine,
    family: Family,
    index: int,
    placings: tuple[Placing, ...],
    operations: tuple[int, ...],
) -> Iterator[tuple[OperationKey, Side]]:
    """Every operation, seat and side that an arrangement of these carriers would fill."""
    for carrier, kind, members in _grouped(placings):
        side = sides_of_placing(context, members[0])[0]
        for k in operations:
            for up in seats(context.sequence(machine, family, index).clampings[k], kind):
                yield OperationKey(machine.id, family, index, k, up, kind, carrier if kind == "vise" else ""), side


def _capacities(
    context: Context,
    machine: Machine,
    family: Family,
    index: int,
    placings: tuple[Placing, ...],
    operations: tuple[int, ...],
) -> tuple[list[SlotGroup], dict[tuple[int, int], Filled], list[Reason]]:
    """Like sides grouped (a pallet's flats, equal plates), with what each operation finds on one of them."""
    groups: list[SlotGroup] = []
    fills: dict[tuple[int, int], Filled] = {}
    why: list[Reason] = []
    for carrier, kind, members in _grouped(placings):
        sides = sides_of_placing(context, members[0])
        capacity = []
        for position, k in enumerate(operations):
            vise = carrier if kind == "vise" else ""
            got, reasons = best_fill(context, machine, family, index, k, kind, sides[0], vise)
            why += reasons
            capacity.append(got.parts if got else 0)
            if got:
                fills[len(groups), position] = got
        groups.append(SlotGroup(carrier, len(sides) * len(members), tuple(capacity)))
    return groups, fills, why


def _grouped(placings: tuple[Placing, ...]) -> list[tuple[str, CarrierKind, list[Placing]]]:
    rows: dict[tuple[str, CarrierKind], list[Placing]] = {}
    for placing in placings:
        rows.setdefault((placing.carrier, placing.kind), []).append(placing)
    return [(carrier, kind, members) for (carrier, kind), members in rows.items()]


def _stations(
    context: Context,
    placings: tuple[Placing, ...],
    groups: list[SlotGroup],
    fills: dict[tuple[int, int], Filled],
    splits: tuple[dict[int, int], ...],
    operations: tuple[int, ...],
    parts: int,
) -> tuple[tuple[StationAt, ...], tuple[Filled, ...]]:
    """Stations of every operation, trimmed to `parts` each, and the fill that each operation uses.

    An operation that stands on two kinds of carriers keeps the one grip of its larger share, so that one
    programme and one kind of station serve it.
    """
    placed: list[StationAt] = []
    used: dict[int, Filled] = {}
    free = {i: _free_sides(context, members) for i, (_, _, members) in enumerate(_grouped(placings))}
    for position in range(len(operations)):
        rows = sorted(
            ((splits[i].get(position, 0), i) for i in range(len(groups)) if splits[i].get(position, 0)),
            key=lambda r: -r[0] * groups[r[1]].capacity[position],
        )
        left = parts
        for n, i in rows:
            filled = fills[i, position]
            if used.setdefault(position, filled).option is not filled.option:
                continue
            for _ in range(n):
                mount, side = free[i].pop(0)
                for spot in filled.packing.stations:
                    if left <= 0:
                        break
                    names = tuple(
                        f"{10 * (operations[position] + 1)}.{parts - left + j + 1}" for j in range(filled.option.parts)
                    )
                    placed.append(
                        StationAt(
                            names, operations[position], mount, side, round(spot.x, 6), round(spot.y, 6), spot.turn
                        )
                    )
                    left -= filled.option.parts
    return tuple(placed), tuple(used[p] for p in range(len(operations)))


def _free_sides(context: Context, members: list[Placing]) -> list[tuple[str, str]]:
    return [(p.mount, s.id) for p in members for s in sides_of_placing(context, p)]


def _label(context: Context, machine: Machine, family: Family, index: int, placings: tuple[Placing, ...]) -> str:
    rows: dict[str, int] = {}
    for p in placings:
        name = f"{p.carrier} with {p.sides} sides" if p.kind == "pallet" else p.carrier
        rows[name] = rows.get(name, 0) + 1
    things = " + ".join(f"{n} x {name}" if n > 1 else name for name, n in rows.items())
    count = len(context.sequence(machine, family, index).clampings)
    return f"{things} on {machine.id}, {count} operation{'s' if count != 1 else ''}"
