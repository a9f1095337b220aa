"""How well each cut of a way is held by itself, so that the weakest cut is seen beside the others."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from palletwright.plan.context import Context
from palletwright.plan.model import Design, OperationChoice
from palletwright.plan.options import Option, certified


def held_by_cut(context: Context, design: Design, chosen: dict[int, Option]) -> list[dict[str, Any]]:
    """Holding factor of every cut, weakest first; one without a factor isn't held at any load."""
    rows = [r for choice in design.operations for r in _rows(context, design, choice, chosen[choice.clamping])]
    return sorted(rows, key=lambda r: -1.0 if r["factor"] is None else r["factor"])


def _rows(context: Context, design: Design, choice: OperationChoice, option: Option) -> Iterator[dict[str, Any]]:
    machine = context.machine(design.machine)
    before, _ = context.in_process(machine, design.family, design.sequence, choice.clamping)
    for cut in option.cuts:
        report = certified(context, option.grip, (cut,), before)
        yield {
            "operation": choice.number,
            "cut": cut.id,
            "tool": cut.tool,
            "factor": report.holding_factor,
            "floor": report.floor,
            "worst": report.worst_load,
            "gives_first": report.gives_first,
        }
