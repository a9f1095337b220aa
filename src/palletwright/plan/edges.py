"""How fast cutting edges wear: Taylor's life of each cut's tool, what tools cost a part, what a start wears off."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from palletwright.cutting.model import Cut
from palletwright.cycle.model import Visit
from palletwright.flow.money import TOOL_SHARE, ToolUse, taylor_life, tool_cost
from palletwright.plan.context import Context
from palletwright.plan.options import Option
from palletwright.plan.stand import Standing, visit_name
from palletwright.shop.model import Machine, Material, Tool

HSS = {"N": (0.125, 120.0), "P": (0.125, 70.0)}
"""Taylor's n and C (m/min, min) for high-speed steel in non-steel and steel: Groover table 23.2, from memory,
unconfirmed. Other groups are not known."""

LONGEST_LIFE = 600.0
"""Minutes of cutting after which an edge is changed anyway; Taylor's line isn't good for such slow cuts (common
practice, no source)."""

INSERT_EDGE = 4.0
"""Money for one edge of one insert of a face mill: from memory, unconfirmed. Its body doesn't wear."""

CHANGE_SECONDS = 180.0
"""s of the machine's time to put in and measure a fresh tool: common practice, no source."""


def edge_life(cut: Cut, tool: Tool, material: Material) -> float | None:
    """Minutes in which the tool may cut like this until its edge is worn; None where no constants are known.

    Taylor's T counts the time that an edge is in the metal. A milling edge at width `ae` is in it for
    acos(1 - 2 ae / D) / 2π of a turn; a drill always.
    """
    constants = material.taylor if tool.cutter.carbide else HSS.get(material.group)
    speed = math.pi * tool.cutter.DC * cut.conditions.rpm / 1000.0
    if constants is None or speed <= 0:
        return None
    exponent, constant = constants
    return min(LONGEST_LIFE, taylor_life(speed, constant, exponent) / contact(cut, tool))


def contact(cut: Cut, tool: Tool) -> float:
    """The fraction of a turn in which an edge is in the metal."""
    if cut.stage not in ("face", "rough", "finish", "chamfer") or cut.conditions.ae <= 0:
        return 1.0
    width = min(1.0, cut.conditions.ae / tool.cutter.DC)
    return max(0.02, math.acos(1.0 - 2.0 * width) / (2.0 * math.pi))


def edge_price(tool: Tool) -> float:
    """Money of a fresh set of edges: the whole cutter, or a face mill's inserts. Regrinding isn't counted."""
    return INSERT_EDGE * tool.cutter.ZEFP if tool.cutter.kind == "face_mill" else tool.cutter.price


def wear(context: Context, cuts: Iterable[Cut]) -> dict[str, float]:
    """By tool, the fraction of an edge's life that these cuts wear off; tools without known life are left out."""
    rows: dict[str, float] = {}
    for cut in cuts:
        tool = context.tool(cut.tool)
        life = edge_life(cut, tool, context.material)
        if life is not None:
            rows[tool.id] = rows.get(tool.id, 0.0) + cut.seconds / 60.0 / life
    return rows


def visit_wear(context: Context, rows: Iterable[Standing], visits: Iterable[Visit]) -> dict[str, float]:
    """By visit id, the fraction of an edge's mean life that it wears off, for `cycle.edge_plan`, by the visits' own
    cutting times; a visit of a tool without known life is left out."""
    seconds = {visit.id: visit.cut_seconds for visit in visits}
    shares: dict[str, float] = {}
    for row in rows:
        for i, cut in enumerate(row.option.cuts):
            life, name = edge_life(cut, context.tool(cut.tool), context.material), visit_name(row, i, cut)
            if life is not None and name in seconds:
                shares[name] = seconds[name] / 60.0 / life
    return shares


def tool_money(context: Context, machine: Machine, options: Mapping[int, Option]) -> float:
    """Money for tools a part: worn edges and their changes; where no life is known, a share of the machine's cost."""
    uses, unknown = [], 0.0
    for option in options.values():
        for cut in option.cuts:
            tool = context.tool(cut.tool)
            life = edge_life(cut, tool, context.material)
            if life is None:
                unknown += cut.seconds / 3600.0 * machine.rate * TOOL_SHARE
            else:
                uses.append(ToolUse(tool.id, cut.seconds, life, edge_price(tool), CHANGE_SECONDS))
    return tool_cost(uses, machine.rate) + unknown
