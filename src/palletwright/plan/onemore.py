"""What would allow more parts a start: one change at a time, planned again with it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from palletwright.plan.context import Context
from palletwright.plan.model import Design, OneMore, Way
from palletwright.shop.model import Carrier, Shop

LONGER = (20.0, 40.0, 60.0, 90.0)
"""mm that a carrier is made longer, in order, until a part more finds room."""


def one_more(context: Context, best: Way) -> tuple[OneMore, ...]:
    """Changes to the best way's carriers, tools and blank, each planned again with its own carriers."""
    from palletwright.plan.evaluate import cycles_of

    design = best.design
    if design is None or len(cycles_of(design)) > 1:
        return ()
    before = round(best.parts_per_start or 0)
    rows = []
    for change, changed in _changes(context, design):
        if context.stopped_early:
            break
        rows.append(_tried(context, changed, design, before, change))
    return tuple(sorted(rows, key=lambda r: -(r.parts_per_start or 0)))


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


def _tried(context: Context, steps: list[tuple[str, Context]], design: Design, before: int, change: str) -> OneMore:
    """The first step that gives more parts with every check passed; else why the last one didn't."""
    from palletwright.plan.arrange import arrangement
    from palletwright.plan.evaluate import examine
    from palletwright.plan.table import pallet_fits

    note = "finds no room either"
    for text, changed in steps:
        machine = changed.machine(design.machine)
        for p in design.placings:
            carrier = next(c for c in changed.shop.carriers if c.id == p.carrier)
            stop = pallet_fits(machine, carrier) if p.kind == "pallet" else ""
            if stop:
                return OneMore(change, None, before, True, stop)
        operations = tuple(o.clamping for o in design.operations)
        access = changed.access(machine)
        offered = access.rotary if design.family == "rotary" else access.fixed
        if design.sequence >= len(offered):
            return OneMore(text, None, before, True, "the operations are no longer the same")
        got, _ = arrangement(changed, machine, design.family, design.sequence, design.placings, operations)
        if got is None or got.parts <= before:
            continue
        examined = examine(changed, got)
        if examined.passed and min(examined.parts) > before:
            return OneMore(text, min(examined.parts), before, True)
        note = "finds room, but the checks in the whole machine don't pass"
    return OneMore(change, None, before, True, note)
