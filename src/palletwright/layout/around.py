"""As many more modules on a side as find room beside those that somebody wants to stay where they are."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from palletwright.layout.blocked import table
from palletwright.layout.board import NONE, Board, Placed, left_free
from palletwright.layout.bounds import outline_centre, upper_bound
from palletwright.layout.limits import proof_of
from palletwright.layout.model import Module, Packing, Side, Station
from palletwright.layout.packing import search
from palletwright.layout.polygons import room, turned


def pack_around(
    module: Module,
    side: Side,
    kept: Sequence[tuple[float, float, int]],
    *,
    clearance: float,
    solid_gap: float,
    pitch: float = 0.25,
    most: int | None = None,
    seed: int = 1,
    effort: int = 1,
) -> Packing:
    """Place more copies of `module` beside those at `kept`, which are never moved.

    What may still stand is the room of the side without what the kept ones block, so that the same search serves. The
    kept ones are taken as they are: whether they are clear of one another is for the check of the whole scene.

    Parameters
    ----------
    kept : x, y (mm, side frame) and quarter turns of each module that stays
    clearance : mm demanded between a tool's sweep and another module's bodies
    solid_gap : mm demanded between the outlines of two modules
    most : place no more than this, the kept ones counted (all of those stay)

    Returns
    -------
    The kept ones in their order, then the others; `bound` is never below the most possible with the kept ones.
    """
    allowed = tuple(sorted({*(t % 4 for t in module.turns), *(t % 4 for _, _, t in kept)}))
    new = [t for t in allowed if t in {u % 4 for u in module.turns}]
    relative = {(b - a) % 4 for a in allowed for b in allowed}
    rooms = {t: room(side.area, turned(module.outline, t)) for t in new}
    whole = Board(rooms, table(module, module, relative, clearance, solid_gap, None, pitch))
    stays = Placed(np.array([k[:2] for k in kept], dtype=np.float64).reshape(-1, 2), np.array([k[2] % 4 for k in kept]))
    free = {t: r for t, r in left_free(whole, stays).items() if not r.is_empty}
    board = Board(free, whole.table)
    bound, name = upper_bound(board, module.outline, side.area, solid_gap, exact=effort > 0) if free else (0, "room")
    at_all, other = upper_bound(whole, module.outline, side.area, solid_gap, exact=effort > 0)
    if at_all - len(kept) < bound:
        bound, name = max(0, at_all - len(kept)), other
    goal = bound if most is None else min(bound, max(0, most - len(kept)))
    more = search(board, goal, effort, seed, outline_centre(module.outline)) if free and goal > 0 else NONE
    found = [(float(x), float(y), int(t)) for (x, y), t in zip(more.at, more.turn, strict=True)]
    rows = [*kept, *found[: max(goal, 0)]]
    stations = tuple(Station(side.id, x, y, t, 0, k) for k, (x, y, t) in enumerate(rows))
    total = len(kept) + bound
    return Packing(
        stations, len(rows), total, len(rows) == total, f"beside {len(kept)} kept",
        (proof_of(len(rows), total, name),), (), "ok" if rows else "empty",
    )  # fmt: skip
