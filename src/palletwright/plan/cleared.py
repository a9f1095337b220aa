"""What must be cut away before a tool goes in: material of other features that its shank or holder would meet."""

from __future__ import annotations

import numpy as np

from palletwright.access.model import Feature
from palletwright.cutting.model import Cut
from palletwright.plan.context import Context
from palletwright.plan.directions import frame, same
from palletwright.plan.model import Family
from palletwright.plan.sequences import InTheWay
from palletwright.reach.task import wide_rows
from palletwright.shop.model import Machine
from palletwright.verdict import Vec

PITCH = 0.5
"""mm of the height fields; a coarser one only asks for more to be cut first."""

First = frozenset[str] | None
"""Features to be cut before a cut; None where two ask for one another, so that the blank counts as uncut."""


def cut_first(context: Context, machine: Machine, family: Family, index: int, clamping: int) -> tuple[First, ...]:
    """For every cut of one clamping, in its order, the features of the same clamping that must be gone before it."""
    key = ("cut first", context.work_key(machine, family, index, clamping))
    return context.once(key, lambda: _cut_first(context, machine, family, index, clamping))


def _cut_first(context: Context, machine: Machine, family: Family, index: int, clamping: int) -> tuple[First, ...]:
    cuts = context.cuts(machine, family, index, clamping)
    here = {c.feature for c in cuts}
    features = [f for f in context.access(machine).features if f.id in here and len(f.removal.vertices)]
    known = {f.id: set(f.after) & here for f in context.access(machine).features if f.id in here}
    rows: list[First] = []
    for cut in cuts:
        found = frozenset(f.id for f in features if f.id != cut.feature and _meets(context, machine, cut, f))
        if any(_leads(known, f, cut.feature) for f in found):
            rows.append(None)
            continue
        known[cut.feature] |= found
        rows.append(found)
    return tuple(rows)


def in_the_way(context: Context, machine: Machine) -> InTheWay:
    """For a feature and a direction, the features whose material its tools would meet from there, each asked once."""
    features = [f for f in context.access(machine).features if len(f.removal.vertices)]

    def found(feature: Feature, direction: Vec) -> frozenset[str]:
        route = next((r for r in feature.routes if same(r.direction, direction)), None)
        cuts = () if route is None else route.cuts
        return frozenset(
            g.id for g in features if g.id != feature.id and any(_meets(context, machine, c, g) for c in cuts)
        )

    def kept(feature: Feature, direction: Vec) -> frozenset[str]:
        return context.once(("in the way", machine.id, feature.id, direction), lambda: found(feature, direction))

    return kept


def _leads(known: dict[str, set[str]], start: str, end: str) -> bool:
    """Whether `start` must come, over any number of others, after `end`."""
    seen, left = set(), [start]
    while left:
        name = left.pop()
        if name == end:
            return True
        if name not in seen:
            seen.add(name)
            left += known.get(name, ())
    return False


def _meets(context: Context, machine: Machine, cut: Cut, other: Feature) -> bool:
    """Whether the tool, wider than its cutter somewhere, comes nearer to the other's material than it may."""
    from palletwright.field import extent, grid_over, least_clearance, view

    wide = wide_rows(context.tool(cut.tool))
    if not wide:
        return False
    need = context.clearance(machine)
    turned = frame(cut.direction)
    tips = np.ascontiguousarray(cut.tips @ turned.T)
    seen = other.removal.vertices @ turned.T
    reach = max(row[0] for row in wide) + need + 2 * PITCH
    low, high = extent(tips)
    above = float(seen[:, 2].max()) > float(low[2]) + min(row[1] for row in wide) - need - 2 * PITCH
    beside = (seen[:, :2].min(axis=0) > high[:2] + reach) | (seen[:, :2].max(axis=0) < low[:2] - reach)
    if not above or beside.any():
        return False
    origin, shape = grid_over(low, high, PITCH, reach)
    z = view(other.removal, turned, PITCH, origin=origin, shape=shape).z
    found = least_clearance(tips, wide, z, origin, PITCH, cap=need + PITCH)
    return found is not None and found.have < need
