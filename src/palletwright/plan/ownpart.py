"""Whether shank and holder clear the very part that they cut: the same wherever it stands, so known before it does."""

from __future__ import annotations

import numpy as np

from palletwright.cutting.model import Cut
from palletwright.plan.cleared import PITCH, cut_first
from palletwright.plan.context import Context
from palletwright.plan.directions import frame
from palletwright.plan.model import Family
from palletwright.reach.obstacles import Rasters
from palletwright.reach.own import Sweep, own_clearance, top_of
from palletwright.reach.task import wide_rows
from palletwright.shop.model import Machine
from palletwright.verdict import Reason


def meets_itself(context: Context, machine: Machine, family: Family, index: int, clamping: int) -> Reason | None:
    """Why one clamping can't be cut whatever holds it, grip stock included: the nearest cut, and how near."""
    key = ("own part", context.work_key(machine, family, index, clamping))
    return context.once(key, lambda: context.timed("own part", lambda: _met(context, machine, family, index, clamping)))


def _met(context: Context, machine: Machine, family: Family, index: int, clamping: int) -> Reason | None:
    cuts = context.cuts(machine, family, index, clamping)
    first = cut_first(context, machine, family, index, clamping)
    shapes = context.in_process(machine, family, index, clamping)
    floors, rasters = context.shop.floors, context.once(("rasters",), Rasters)
    error = 0.0 if machine.tool_setter else floors.tool_setting_error
    need, drop = context.clearance(machine) - error, (0.0, 0.0, error)
    gone: dict[tuple[float, ...], list[Sweep]] = {}
    worst: tuple[float, Cut] | None = None
    for cut, known in zip(cuts, first, strict=True):
        tool = context.tool(cut.tool)
        pose = np.eye(4)
        pose[:3, :3] = frame(cut.direction)
        tips = np.ascontiguousarray(cut.tips @ pose[:3, :3].T)
        swept = gone.setdefault(tuple(np.round(cut.direction, 6)), [])
        swept.append((tips, cut.entry, tool.cutter.DC / 2))
        wide = wide_rows(tool)
        if not wide:
            continue
        bodies = [(shapes[0] if known is None else shapes[1], pose)]
        have, _ = own_clearance(tips - drop, wide, bodies, top_of(bodies), swept, PITCH, need, rasters)
        if have < need and (worst is None or have < worst[0]):
            worst = have, cut
    if worst is None:
        return None
    have, cut = worst
    text = (
        f"the holder or shank of T{cut.tool} would pass {have:.1f} mm from the part at {cut.id}; {need:.1f} are asked"
    )
    return Reason("tools", text, need - have, "mm")
