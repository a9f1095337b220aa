"""How many parts of one operation stand on one side, over all its certified grips."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

from palletwright.layout.model import Packing, Side
from palletwright.plan.context import Context
from palletwright.plan.options import OperationKey, Option, options
from palletwright.verdict import Reason

TRIED = 4
"""Grips of one operation that are packed on one side; the grip room gives them densest and simplest first."""


@dataclass(frozen=True, eq=False)
class Filled:
    """The best that one operation does on one side."""

    parts: int
    option: Option
    packing: Packing

    @property
    def bound(self) -> int:
        return self.packing.bound * self.option.parts


def fill(context: Context, key: OperationKey, side: Side) -> tuple[Filled | None, tuple[Reason, ...]]:
    """The grip and packing with most parts on `side`; among equals the grip named first (simplest)."""
    minx, miny, maxx, maxy = side.area.bounds
    shape = (round(maxx - minx, 3), round(maxy - miny, 3), round(side.area.area, 1))
    work = context.work_key(context.machine(key.machine), key.family, key.sequence, key.clamping)
    return context.once(("fill", work, key.up, key.kind, key.vise, shape), lambda: _fill(context, key, side))


def _fill(context: Context, key: OperationKey, side: Side) -> tuple[Filled | None, tuple[Reason, ...]]:
    from palletwright.layout import pack

    found, reasons = options(context, key)
    best: Filled | None = None
    why = list(reasons)
    for option in found[:TRIED]:
        if best is not None and _at_most(option, side) <= best.parts:
            continue
        packing = context.timed(
            "layout",
            partial(
                pack,
                option.module,
                side,
                clearance=context.clearance(context.machine(key.machine)),
                solid_gap=context.shop.floors.solid_gap,
                seed=context.job.seed,
                effort=context.job.effort,
            ),
        )
        parts = packing.count * option.parts
        why += packing.reasons if not packing.count else ()
        if parts and (best is None or parts > best.parts):
            best = Filled(parts, option, packing)
    return best, tuple(why)


def _at_most(option: Option, side: Side) -> int:
    """Parts by plain area: never below what fits when modules don't share anything."""
    return int(side.area.area / max(option.module.outline.area, 1.0)) * option.parts
