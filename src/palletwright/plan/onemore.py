"""What would allow more parts a start: one change at a time, planned again with it."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace

from palletwright.plan.arrange import arrangement
from palletwright.plan.context import Context
from palletwright.plan.evaluate import cycles_of, examine
from palletwright.plan.model import Design, OneMore, Placing, Way
from palletwright.plan.table import pallet_fits, standing
from palletwright.shop.model import Carrier, Shop

LONGER = (20.0, 40.0, 60.0, 90.0)
"""mm that a carrier is made longer, in order, until a part more finds room."""


def one_more(context: Context, best: Way) -> tuple[OneMore, ...]:
    """Changes to the best way's carriers, tools and blank, each planned again with its own carriers."""
    design = best.design
    if design is None or len(cycles_of(design)) > 1:
        return ()
    before = round(best.parts_per_start or 0)
    rows: dict[int, OneMore] = {}
    count = sum(1 for _ in _changes(context, design))
    if context.hands is not None:
        needs = [k for k in context.memo if k[0] in ("options", "fill")]
        asked = [(design, before, i) for i in range(count)]
        rows.update(context.hands.run(context, _planned_again, asked, needs))
    for i in range(count):
        if i not in rows and not context.stopped_early:
            rows[i] = _planned_again(context, (design, before, i))
    return tuple(sorted((rows[i] for i in sorted(rows)), key=lambda r: -(r.parts_per_start or 0)))


def _planned_again(context: Context, row: tuple[Design, int, int]) -> OneMore:
    """The change of one number, tried; each is independent of the others."""
    design, before, at = row
    change, steps = next(itertools.islice(_changes(context, design), at, None))
    return _tried(steps, design, before, change)


def _changes(context: Context, design: Design) -> Iterator[tuple[str, list[tuple[str, Context]]]]:
    """Each change as growing steps of a changed context; what it invalidates is forgotten there."""
    for name in dict.fromkeys(p.carrier for p in design.placings):
        carrier = next(c for c in context.shop.carriers if c.id == name)
        yield (
            f"a longer {name}",
            [(f"{name} {d:.0f} mm longer", _with_carrier(context, _longer(carrier, d))) for d in LONGER],
        )
        if carrier.blank_diameter is not None:
            wide = carrier.model_copy(update={"blank_diameter": carrier.blank_diameter + 25.0})
            yield f"a thicker {name}", [(f"{name} from a blank 25 mm thicker", _with_carrier(context, wide))]
    allowance = context.job.blank.allowance
    if context.job.blank.kind == "block" and context.job.blank.size is None and allowance > 1.0:
        blank = context.job.blank.model_copy(update={"allowance": 1.0})
        yield "a closer blank", [("a blank with 1 mm on each face", _with_blank(context, blank))]


def _longer(carrier: Carrier, by: float) -> Carrier:
    return carrier.model_copy(update={"length": carrier.length + by})


def _with_carrier(context: Context, carrier: Carrier) -> Context:
    carriers = tuple(carrier if c.id == carrier.id else c for c in context.shop.carriers)
    shop: Shop = context.shop.model_copy(update={"carriers": carriers})
    memo = {k: v for k, v in context.memo.items() if k[0] != "scene"}
    return replace(context, shop=shop, memo=memo)


def _with_blank(context: Context, blank: object) -> Context:
    from palletwright.solid import stock_mesh

    job = context.job.model_copy(update={"blank": blank})
    stock = stock_mesh(context.solid, job.blank)
    largest = stock_mesh(context.solid, job.blank, side="largest")
    return replace(context, job=job, stock=stock, stock_largest=largest, memo={})


def _tried(steps: list[tuple[str, Context]], design: Design, before: int, change: str) -> OneMore:
    """The first step that gives more parts with every check passed; else why the last one didn't."""
    note = "finds no room either"
    for text, changed in steps:
        placings, stop = _replaced(changed, design)
        if stop:
            return OneMore(change, None, before, True, stop)
        machine = changed.machine(design.machine)
        if design.sequence >= len(changed.variants(machine, design.family)):
            return OneMore(text, None, before, True, "the operations are no longer the same")
        operations = tuple(o.clamping for o in design.operations)
        got, _ = arrangement(changed, machine, design.family, design.sequence, placings, operations)
        if got is None or got.parts <= before:
            continue
        examined = examine(changed, got, measured=False)
        if examined.passed and min(examined.parts) > before:
            return OneMore(text, min(examined.parts), before, True)
        note = "finds room, but the checks in the whole machine don't pass"
    return OneMore(change, None, before, True, note)


def _replaced(context: Context, design: Design) -> tuple[tuple[Placing, ...], str]:
    """The design's carriers stood up again where the changed ones fit, or what stops them."""
    machine = context.machine(design.machine)
    carriers = {c.id: c for c in context.shop.carriers}
    places = {}
    for name in {p.carrier for p in design.placings if p.kind != "pallet"}:
        count = sum(p.carrier == name for p in design.placings)
        places[name] = list(standing(machine, carriers[name], count))
        if len(places[name]) < count:
            return (), f"{name} no longer finds room on the table of {machine.id}"
    rows = []
    for p in design.placings:
        if p.kind == "pallet":
            stop = pallet_fits(machine, carriers[p.carrier])
            if stop:
                return (), stop
            rows.append(p)
        else:
            at, turn = places[p.carrier].pop(0)
            rows.append(replace(p, at=at, turn=turn))
    return tuple(rows), ""
