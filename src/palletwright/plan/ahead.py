"""What the run's other hands work out before it is asked for: grips, fills, checks."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import replace
from typing import Any

from palletwright.layout.model import Side
from palletwright.plan.arrange import Candidate
from palletwright.plan.capacity import Choice, chosen, fill_key
from palletwright.plan.context import Context
from palletwright.plan.evaluate import Examined, examine
from palletwright.plan.options import OperationKey, options, options_key


def options_ahead(context: Context, keys: Iterable[OperationKey]) -> None:
    """Grips of several operations at once."""
    _ahead(context, {options_key(context, k): k for k in keys}, options, ())


def fills_ahead(context: Context, asked: Iterable[tuple[OperationKey, Side]]) -> None:
    """The best choice for several operations and sides at once."""
    rows = {fill_key(context, key, side): (key, side) for key, side in asked}
    needs = list({options_key(context, key): None for key, _ in rows.values()})
    _ahead(context, rows, _chosen, needs)


def _chosen(context: Context, row: tuple[OperationKey, Side]) -> Choice:
    return chosen(context, *row)


def _ahead(
    context: Context, rows: dict[Hashable, Any], work: Callable[[Context, Any], Any], needs: Sequence[Hashable]
) -> None:
    missing = {k: row for k, row in rows.items() if k not in context.memo}
    if context.hands is None or len(missing) < 2:
        return
    keys = list(missing)
    for i, answer in context.hands.run(context, work, list(missing.values()), needs):
        context.memo[keys[i]] = answer


def examined_all(context: Context, candidates: Sequence[Candidate]) -> list[Examined]:
    """The whole-scene checks of several candidates, in their order."""
    found: dict[int, Examined] = {}
    if context.hands is not None and len(candidates) > 1:
        for i, examined in context.hands.run(context, examine, candidates):
            own = {
                c.clamping: f.option for c, f in zip(candidates[i].design.operations, candidates[i].filled, strict=True)
            }
            found[i] = replace(examined, options=own)
    return [found[i] if i in found else examine(context, c) for i, c in enumerate(candidates)]
