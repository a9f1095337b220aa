"""How many parts of one operation stand on one side, over all its certified grips."""

from __future__ import annotations

from dataclasses import dataclass

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


def clearance_floor(context: Context, machine_id: str) -> float:
    """mm between a tool and anything it doesn't cut: the floor, with setting error where nothing measures tools."""
    machine, floors = context.machine(machine_id), context.shop.floors
    measured = machine.tool_setter or machine.probe
    return floors.cutter / 2 if measured else floors.cutter + floors.tool_setting_error


def fill(context: Context, key: OperationKey, side: Side) -> tuple[Filled | None, tuple[Reason, ...]]:
    """The grip and packing with most parts on `side`; among equals the grip named first (simplest)."""
    minx, miny, maxx, maxy = side.area.bounds
    shape = (round(maxx - minx, 3), round(maxy - miny, 3), round(side.area.area, 1))
    return context.once(("fill", key, shape), lambda: _fill(context, key, side))


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
            lambda option=option: pack(
                option.module,
                side,
                clearance=clearance_floor(context, key.machine),
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
