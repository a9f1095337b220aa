"""What stops one module more, in millimetres and by cause."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
import shapely

from palletwright.layout.blocked import _back
from palletwright.layout.board import NONE, Board, Placed, greedy
from palletwright.layout.model import Module
from palletwright.verdict import Reason

NUDGE = 0.05  # mm that two modules are moved together to see what they touch
LONGEST = 400.0  # mm of extra length that is tried


def what_stops_one_more(
    board: Board, best: Placed, bound: int, bound_name: str, goal: int, module: Module, area: Any
) -> tuple[Reason, ...]:
    """Reasons: the bound, the extra length or width that one more would need, and what the modules touch."""
    if len(best) == 0:
        return (too_large(module, area),)
    reasons = [proof_of(len(best), bound, bound_name)]
    if goal < bound and len(best) >= goal:
        reasons.append(Reason("limit", f"no more than {goal} were asked for", float(goal), "modules"))
    for axis, word in ((0, "longer"), (1, "wider")):
        need = _extra(board, best, axis)
        if need is not None:
            text = f"a side {need:.2f} mm {word} would take {len(best) + 1}"
            reasons.append(Reason("one more", text, need, "mm"))
    touched = contacts(board, best)
    for cause, count in sorted(touched.items(), key=lambda c: (-c[1], c[0])):
        reasons.append(
            Reason(
                f"spacing: {cause}", f"{cause} set the distance of {count} neighbouring pairs", float(count), "pairs"
            )
        )
    return tuple(reasons)


def proof_of(count: int, bound: int, bound_name: str) -> Reason:
    """How many modules were placed, at most how many are possible, and by which bound."""
    return Reason("bound", f"{count} placed, at most {bound} possible by {bound_name}", float(bound), "modules")


def too_large(module: Module, area: Any) -> Reason:
    """How much the side is short of one module."""
    x0, y0, x1, y1 = module.outline.bounds
    ax0, ay0, ax1, ay1 = area.bounds
    size = sorted((x1 - x0, y1 - y0))
    have = sorted((ax1 - ax0, ay1 - ay0))
    short = max(size[0] - have[0], size[1] - have[1])
    return Reason(
        "side",
        f"one module needs {x1 - x0:.2f} × {y1 - y0:.2f} mm; the side is {max(short, 0.0):.2f} mm short",
        short,
        "mm",
    )


def _extra(board: Board, best: Placed, axis: int) -> float | None:
    """Least extra length found at which module-by-module placing, or a step beyond the best, takes one more."""

    def takes(extra: float) -> bool:
        rooms = {t: _stretched(r, axis, extra) for t, r in board.rooms.items()}
        wider = Board(rooms, board.table)
        weights = (1.0, 0.001, 0.0) if axis == 0 else (0.001, 1.0, 0.0)
        if len(greedy(wider, best, weights, board.turns, len(best) + 1, "")) > len(best):
            return True
        return len(greedy(wider, NONE, weights, board.turns, len(best) + 1, "")) > len(best)

    high = 0.0
    for high in (10.0, 40.0, 120.0, LONGEST):
        if takes(high):
            break
    else:
        return None
    low = 0.0
    while high - low > 0.05:
        middle = (low + high) / 2
        low, high = (low, middle) if takes(middle) else (middle, high)
    return round(high, 2)


def _stretched(shape: Any, axis: int, extra: float) -> Any:
    """The room with everything beyond its middle moved out by `extra` mm."""
    if shape.is_empty:
        return shape
    x0, y0, x1, y1 = shape.bounds
    cut = (x0 + x1) / 2 if axis == 0 else (y0 + y1) / 2

    def moved(xy: Any) -> Any:
        out = xy.copy()
        out[:, axis] += np.where(xy[:, axis] >= cut - 1e-9, extra, 0.0)
        return out

    stretched = shapely.transform(shape, moved)
    return stretched.envelope if shape.geom_type != "Polygon" or not stretched.is_valid else stretched


def contacts(board: Board, best: Placed) -> Counter[str]:
    """How many neighbouring pairs each cause holds apart: what they'd meet if moved together a little."""
    found: Counter[str] = Counter()
    for i in range(len(best)):
        for j in range(i + 1, len(best)):
            shift = best.at[j] - best.at[i]
            relative = (int(best.turn[j]) - int(best.turn[i])) % 4
            moves = np.array([[np.sign(shift[0]) * NUDGE, 0.0], [0.0, np.sign(shift[1]) * NUDGE]])
            local = _back(shift - moves, int(best.turn[i]))
            for cause, sets in board.table.causes.items():
                if shapely.contains_xy(sets[relative], local[:, 0], local[:, 1]).any():
                    found[cause] += 1
    return found
