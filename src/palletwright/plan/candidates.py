"""Candidates: every arrangement worth checking, ranked by an estimate that needs no scene."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from palletwright.flow import StationLoad, combined, timing
from palletwright.plan.ahead import options_ahead
from palletwright.plan.arrange import Candidate, arrangement, pallet_variants, plate_variants, seats
from palletwright.plan.context import Context
from palletwright.plan.model import CarrierKind, Design, Family, Placing, TurnedDown
from palletwright.plan.options import OperationKey, options
from palletwright.plan.table import standing
from palletwright.plan.wouldhold import least_lack, would_hold
from palletwright.shop.model import Machine
from palletwright.verdict import Reason

SEQUENCES = 1
"""Sequences of each family that are laid out at effort 1, times the effort."""


ASKED = 10
"""Sequences of each family, with and without grip stock, whose grips are looked for at effort 1, times the effort."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A quick judgement of a candidate: money per part that the choice of carriers moves, and the parts per start."""

    money: float
    parts_per_start: float


def families(context: Context, machine: Machine) -> Iterator[tuple[Family, int]]:
    """Every sequence of clampings for this machine that can be held throughout; rotary ones only with an axis.

    Of the depths of grip stock under one sequence only the least that can be held is taken.
    """
    held: list[tuple[Family, object]] = []
    kinds: tuple[Family, ...] = ("rotary", "fixed") if machine.rotary is not None else ("fixed",)
    for family in kinds:
        for i, variant in enumerate(context.variants(machine, family)):
            if i >= ASKED * context.job.effort:
                break
            who = (family, variant.sequence)
            taken = sum(f == family for f, _ in held) >= SEQUENCES * context.job.effort
            if not taken and who not in held and holds_throughout(context, machine, family, i):
                held.append(who)
                yield family, i


def holds_throughout(context: Context, machine: Machine, family: Family, index: int) -> bool:
    """Whether every clamping of a sequence has a grip that holds, on some kind of carrier."""
    count = len(context.sequence(machine, family, index).clampings)
    keys = [list(ways_to_hold(context, machine, family, index, k)) for k in range(count)]
    for k in range(count):
        if k < 2:
            options_ahead(context, keys[0] if k == 0 else [key for row in keys[1:] for key in row])
        if not any(options(context, key)[0] for key in keys[k]):
            return False
    return True


UNHELD = 4
"""Reasons that are told of one operation which nothing holds."""


def unheld(context: Context, machine: Machine) -> Iterator[TurnedDown]:
    """Why no sequence of a machine can be held throughout: its operations that nothing holds, with what was tried."""
    kinds: tuple[Family, ...] = ("rotary", "fixed") if machine.rotary is not None else ("fixed",)
    for family in kinds:
        if context.variants(machine, family):
            yield from _unheld_in(context, machine, family, 0)
        else:
            yield TurnedDown(f"{machine.id}, {family} spindle", "no order of clampings cuts every feature")


def _unheld_in(context: Context, machine: Machine, family: Family, index: int) -> Iterator[TurnedDown]:
    for k, clamping in enumerate(context.sequence(machine, family, index).clampings):
        judged = {key: options(context, key) for key in ways_to_hold(context, machine, family, index, k)}
        if any(found for found, _ in judged.values()):
            continue
        seen = " or ".join(_towards(d) for d in clamping.directions)
        label = f"{machine.id}, {family} spindle, operation {10 * (k + 1)} from {seen}"
        rows = {r.text: (key.kind, r) for key, (_, why) in judged.items() for r in why}
        if not rows:
            yield TurnedDown(label, "no carrier of the shop suits it")
        for kind, r in list(rows.values())[:UNHELD]:
            yield TurnedDown(f"{label}, {kind}", f"{r.about}: {r.text}", r.amount, r.unit)
        near = min(judged, key=lambda key: least_lack(judged[key][1]), default=None)
        if near is not None:
            for r in would_hold(context, near, judged[near][1]):
                yield TurnedDown(f"{label}, {near.kind}", f"{r.about}: {r.text}", r.amount, r.unit)


def _towards(direction: tuple[float, float, float]) -> str:
    """A direction as +x … -z where it is one of those, else its numbers."""
    for name, at in (("x", 0), ("y", 1), ("z", 2)):
        if abs(abs(direction[at]) - 1.0) < 1e-6:
            return f"{'+' if direction[at] > 0 else '-'}{name}"
    return "(" + ", ".join(f"{v:.2f}" for v in direction) + ")"


def ways_to_hold(context: Context, machine: Machine, family: Family, index: int, k: int) -> Iterator[OperationKey]:
    """One clamping on every kind of carrier of the shop, in every seat."""
    vise = next((c.id for c in context.shop.carriers if c.kind == "vise"), "")
    owned = {c.kind for c in context.shop.carriers}
    clamping = context.sequence(machine, family, index).clampings[k]
    kinds: tuple[CarrierKind, ...] = ("pallet",) if clamping.axis is not None else ("plate", "vise")
    for kind in (k for k in kinds if k in owned):
        for up in seats(clamping, kind):
            yield OperationKey(machine.id, family, index, k, up, kind, vise if kind == "vise" else "")


def plates_placings(
    carrier: str, places: tuple[tuple[tuple[float, float], int], ...], split: int
) -> tuple[Placing, ...]:
    """Placings of like plates at their places."""
    return tuple(
        Placing(f"{carrier}#{i + 1}", "plate", carrier, 1, None, at, turn, 0, split)
        for i, (at, turn) in enumerate(places)
    )


def one_cycle(context: Context, machine: Machine, family: Family, index: int) -> Iterator[tuple[Placing, ...]]:
    """Choices of carriers that could hold every operation of the part in one cycle."""
    sequence = context.sequence(machine, family, index)
    on_pallet = [k for k, c in enumerate(sequence.clampings) if c.axis is not None]
    others = len(sequence.clampings) - len(on_pallet)
    pallets: list[tuple[Placing, ...]] = [
        (Placing("rotary", "pallet", c.id, n, a, (0.0, 0.0)),)
        for c, n, a in pallet_variants(context, machine, family, index, tuple(range(len(sequence.clampings))))
    ]
    plates: list[tuple[Placing, ...]] = []
    for carrier, places in plate_variants(context, machine):
        for split in {1, *(range(2, min(others, 4) + 1) if len(places) < max(others, 1) else ())}:
            if others == 0 or len(places) * split <= 4 * others:
                plates.append(plates_placings(carrier.id, places, split))
    if not on_pallet:
        yield from plates
    for pallet in pallets:
        yield pallet
        if others:
            for plate in plates:
                if len(plate) * plate[0].split <= 2 * others:
                    yield (*pallet, *plate)


def vise_placings(context: Context, machine: Machine) -> tuple[Placing, ...]:
    """As many of the shop's own vises of one kind as stand on the table."""
    best: tuple[Placing, ...] = ()
    for carrier in context.shop.carriers:
        if carrier.kind != "vise" or not carrier.owned or carrier.width is None:
            continue
        places = standing(machine, carrier, carrier.how_many)
        if len(places) > len(best):
            best = tuple(
                Placing(f"{carrier.id}#{i + 1}", "vise", carrier.id, 1, None, at, turn)
                for i, (at, turn) in enumerate(places)
            )
    return best


def joined(context: Context, parts: list[Candidate]) -> Candidate:
    """Candidates of single operations, one cycle after another, as one design of several cycles."""
    placings, stations, choices, filled = [], [], [], []
    for c, part in enumerate(parts):
        names = {p.mount: f"{p.mount}/{c + 1}" for p in part.design.placings}
        placings += [replace(p, mount=names[p.mount], cycle=c) for p in part.design.placings]
        stations += [replace(s, mount=names[s.mount]) for s in part.design.stations]
        choices += list(part.design.operations)
        filled += list(part.filled)
    first = parts[0].design
    design = Design(
        first.machine, first.family, first.sequence, tuple(choices), tuple(placings), tuple(stations), first.sets
    )
    starts = sum(1.0 / p.parts for p in parts)
    return Candidate(design, max(1, round(1 / starts)), 0, tuple(filled), "; then ".join(p.label for p in parts))


def operation_by_operation(
    context: Context, machine: Machine, family: Family, index: int, owned: bool
) -> tuple[Candidate | None, list[Reason]]:
    """Every operation in a cycle of its own. `owned`: the shop's vises and plates only, no capital."""
    sequence = context.sequence(machine, family, index)
    chosen: list[Candidate] = []
    why: list[Reason] = []
    for k in range(len(sequence.clampings)):
        best: Candidate | None = None
        for placings in single(context, machine, family, index, k, owned):
            got, reasons = arrangement(context, machine, family, index, placings, (k,))
            why += reasons if got is None else []
            if got is not None and (best is None or got.parts > best.parts):
                best = got
        if best is None:
            return None, why
        chosen.append(best)
    return joined(context, chosen), why


def single(
    context: Context, machine: Machine, family: Family, index: int, k: int, owned: bool
) -> Iterator[tuple[Placing, ...]]:
    """Carriers that could hold one operation alone."""
    carriers = {c.id: c for c in context.shop.carriers}
    if context.sequence(machine, family, index).clampings[k].axis is None:
        vises = vise_placings(context, machine)
        if vises:
            yield vises
        for carrier, places in plate_variants(context, machine):
            if not owned or (carrier.owned and len(places) <= carrier.how_many):
                yield plates_placings(carrier.id, places, 1)
    for c, n, a in pallet_variants(context, machine, family, index, (k,)):
        if not owned or carriers[c.id].owned:
            yield (Placing("rotary", "pallet", c.id, n, a, (0.0, 0.0)),)


def estimate(context: Context, candidate: Candidate) -> Estimate:
    """Machine and labour money per part from cutting time, tool changes, indexing and loading, with two sets."""
    design, rates = candidate.design, context.shop.rates
    machine = context.machine(design.machine)
    timings = []
    for cycle in sorted({p.cycle for p in design.placings}):
        mounts = {p.mount: p for p in design.placings if p.cycle == cycle}
        seconds, loads, tools, angles, counts = 0.0, [], set(), 0, []
        for choice, filled in zip(design.operations, candidate.filled, strict=True):
            here = [s for s in design.stations if s.mount in mounts and s.operation == choice.clamping]
            if not here:
                continue
            parts = sum(len(s.parts) for s in here)
            counts.append(parts)
            seconds += parts * sum(c.seconds + 4.0 for c in filled.option.cuts)
            tools |= {c.tool for c in filled.option.cuts}
            angles += len({s.side for s in here})
            loads.append(StationLoad(choice.clamping, parts, max(1, filled.option.grip.screws), 6.0))
        index = machine.rotary.index_time if machine.rotary else 0.0
        seconds += len(tools) * (machine.chip_to_chip + index * max(0, angles - 1))
        timings.append(timing(seconds, loads, min(counts), 2, rates))
    total = combined(timings)
    hours = total.start_seconds / 3600 / total.parts_per_start
    money = hours * machine.rate + total.attended_minutes_per_part / 60 * rates.operator
    return Estimate(money, total.parts_per_start)


def turned_down(reason: Reason, label: str) -> TurnedDown:
    """A reason as a row of what was turned down."""
    return TurnedDown(label, f"{reason.about}: {reason.text}", reason.amount, reason.unit)
