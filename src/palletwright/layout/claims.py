"""What a packing claims of one side, as plain data: how many stand there, at most how many could."""

from __future__ import annotations

from typing import Any

from palletwright.layout.model import Packing


def claim(packing: Packing, *, parts: int, placed: int, side: str, operation: int) -> dict[str, Any]:
    """One side's row: `n placed, at most m possible`, counted in parts.

    Parameters
    ----------
    packing : what `pack` found for this side and the module used on it
    parts : parts that one module holds
    placed : parts that the design stands there (it may use fewer than there is room for)
    side, operation : which side, and the operation's number
    """
    found, bound = packing.count * parts, packing.bound * parts
    if placed > found:
        raise ValueError(f"{side}: {placed} parts placed, but only {found} were packed")
    text = f"{placed} placed, at most {bound} possible"
    if packing.proven:
        text += ", proven" if placed == bound else f", proven; room for {found}, the operations share the sides evenly"
    elif placed < found:
        text += f"; room for {found} was found"
    by = next((r.text.partition(" by ")[2] for r in packing.reasons if r.about == "bound"), "")
    return {
        "operation": operation,
        "side": side,
        "placed": placed,
        "room_for": found,
        "bound": bound,
        "proven": packing.proven,
        "bound_by": by,
        "pattern": packing.pattern,
        "text": text,
    }
