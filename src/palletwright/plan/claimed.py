"""How many each side holds, and at most how many it could: the layout's claims about a design."""

from __future__ import annotations

from collections import Counter
from typing import Any

from palletwright.layout import claim
from palletwright.plan.arrange import best_fill, sides_of_placing
from palletwright.plan.context import Context
from palletwright.plan.model import Design
from palletwright.plan.options import Option


def claims(context: Context, design: Design, chosen: dict[int, Option]) -> tuple[dict[str, Any], ...]:
    """One row for each side with stations and each operation on it; like sides of one carrier share a row.

    A bound counts modules of the grip that is used: another grip might allow more.
    """
    machine, rows = context.machine(design.machine), []
    for placing in design.placings:
        sides = {s.id: s for s in sides_of_placing(context, placing)}
        here = [s for s in design.stations if s.mount == placing.mount]
        placed = Counter((s.operation, s.side) for s in here for _ in s.parts)
        alike = Counter((operation, count) for (operation, _), count in placed.items())
        named = {(operation, count): side for (operation, side), count in reversed(placed.items())}
        for (operation, count), times in alike.items():
            side = sides[named[operation, count]]
            vise = placing.carrier if placing.kind == "vise" else ""
            got, _ = best_fill(context, machine, design.family, design.sequence, operation, placing.kind, side, vise)
            if got is None or got.option.grip.id != chosen[operation].grip.id or count > got.parts:
                continue
            label = f"{placing.mount} {side.id}" + (f" and {times - 1} like it" if times > 1 else "")
            rows.append(
                claim(got.packing, parts=got.option.parts, placed=count, side=label, operation=10 * (operation + 1))
            )
    return tuple(rows)
