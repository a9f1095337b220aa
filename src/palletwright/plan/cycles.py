"""A design's cycles: what is asked of the cycle room, and what else of its answer a plan keeps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from palletwright.cycle.model import Crossing, Cycle, Visit
from palletwright.cycle.tool_life import EdgePlan
from palletwright.plan.context import Context
from palletwright.plan.directions import same
from palletwright.plan.edges import visit_wear
from palletwright.plan.model import Design
from palletwright.plan.options import Option
from palletwright.plan.scenes import retract_height, scene_of
from palletwright.plan.stand import standings, visits
from palletwright.reach import Rasters
from palletwright.shop.model import Tool
from palletwright.verdict import Margin, Reason

FRAGILE = 6.0
"""mm: drills and taps up to this diameter are looked at after their run (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class Asked:
    """One cycle as the cycle room is asked about it: visits with the shop's own times, the height of every way across,
    the height that is safe everywhere, and reasons about the shop's programs."""

    visits: list[Visit]
    clear: Mapping[Crossing, float]
    retract: float
    reasons: list[Reason]


def asked(context: Context, design: Design, chosen: dict[int, Option], cycle: int) -> Asked:
    """The visits of a cycle and how its tools go across."""
    key = ("asked", replace(design, sets=1), cycle)
    return context.once(key, lambda: _asked(context, design, chosen, cycle))


def _asked(context: Context, design: Design, chosen: dict[int, Option], cycle: int) -> Asked:
    from palletwright.cycle import clear_heights, told_times
    from palletwright.cycle.single_part import in_program_order

    machine = context.machine(design.machine)
    scene = scene_of(context, design, chosen, cycle)
    made = visits(context, design, standings(context, design, chosen, cycle))
    made, reasons = told_times(
        made, context.once(("told", machine.id, design.family, design.sequence), lambda: _told(context, design))
    )
    made = in_program_order(made, programs_of(context, design))
    height = retract_height(context, scene)
    clear = clear_heights(
        scene,
        made,
        {t.number: t for t in context.shop.tools},
        machine,
        context.shop.floors,
        ceiling=height,
        rasters=context.once(("rasters",), Rasters),
    )
    return Asked(made, clear, height, reasons)


def cycle_of_design(context: Context, design: Design, chosen: dict[int, Option], cycle: int, order: str = "") -> Cycle:
    """The best order of one cycle found, in the order that the job forces or the one named."""
    from palletwright.cycle import Around, forced_groups, order_visits, switches_of, with_fresh_edges

    question, machine = asked(context, design, chosen, cycle), context.machine(design.machine)
    cuts = [c for o in chosen.values() for c in o.cuts]
    speeds = {n: min(c.conditions.rpm for c in cuts if c.tool == n) for n in {c.tool for c in cuts}}
    around = Around(speeds, frozenset(n for n in speeds if fragile(context, n)))
    made = order_visits(
        question.visits,
        machine,
        retract_z=question.retract,
        clear_z=question.clear,
        seed=context.job.seed,
        effort=context.job.effort,
        forced=forced_groups(question.visits, order or context.job.order),  # type: ignore[arg-type]
        around=around,
    )
    by_id = {v.id: v for v in question.visits}
    worn = _wear(context, design, chosen, cycle)
    switches = switches_of([by_id[name] for name in made.order], worn, context.shop.floors.edge_use)
    return with_fresh_edges(made, switches, machine, around)


def fragile(context: Context, number: int) -> bool:
    """Whether a tool is to be looked at after its run."""
    return looked_at(context.tool(number))


def looked_at(tool: Tool) -> bool:
    """Whether a tool is so thin that it is to be looked at after its run."""
    return tool.cutter.kind in ("drill", "tap", "reamer", "spot_drill") and tool.cutter.DC <= FRAGILE


def cycle_facts(
    context: Context, design: Design, chosen: dict[int, Option], cycle: int, made: Cycle, parts: int
) -> dict[str, Any]:
    """What else a plan keeps of a cycle: edges, parts at risk, the curve of minutes per part, where times come from."""
    from palletwright.cycle import curve_of, cutting_basis, parts_at_risk

    job, question = context.job, asked(context, design, chosen, cycle)
    by_id = {v.id: v for v in question.visits}
    ordered = [by_id[name] for name in made.order]
    edges = edges_of(context, design, chosen, cycle, made, parts)
    operations = len({v.operation for v in ordered})
    added = None
    if job.parts_at_risk is not None and job.order != "one part first":
        added = cycle_of_design(context, design, chosen, cycle, "one part first").seconds - made.seconds
    risk = parts_at_risk(ordered, cap=job.parts_at_risk, added_seconds=added, operations=operations)
    curve = curve_of(made, parts, threshold=job.least_gain)
    return {
        "edges": asdict(edges),
        "parts_at_risk": asdict(risk),
        "curve": asdict(curve),
        "cutting_basis": cutting_basis(ordered),
        "order": job.order,
        "reasons": [asdict(r) for r in (*made.reasons, *question.reasons)],
    }


def edges_of(
    context: Context, design: Design, chosen: dict[int, Option], cycle: int, made: Cycle, parts: int
) -> EdgePlan:
    """How long the edges of a cycle last, with sisters in what is free of the magazine."""
    from palletwright.cycle import edge_plan

    by_id = {v.id: v for v in asked(context, design, chosen, cycle).visits}
    return edge_plan(
        [by_id[name] for name in made.order],
        _wear(context, design, chosen, cycle),
        parts=parts,
        start_minutes=made.seconds / 60.0,
        magazine=context.machine(design.machine).magazine,
        edge_use=context.shop.floors.edge_use,
    )


def tool_margins(
    context: Context, design: Design, chosen: dict[int, Option], cycle: int, made: Cycle, parts: int
) -> tuple[Margin, ...]:
    """The magazine against the tools and edges that one start takes, and the cut that wears an edge most against what
    an edge may be used."""
    edges = edges_of(context, design, chosen, cycle, made, parts)
    needed = sum(row.edges_per_start for row in edges.tools)
    rows = [Margin("magazine", "tools of a start", f"places of {design.machine}", needed, edges.magazine, "places")]
    by_id = {v.id: v for v in asked(context, design, chosen, cycle).visits}
    worn = _wear(context, design, chosen, cycle)
    if worn:
        name = max(worn, key=lambda k: (worn[k], k))
        allowed = context.shop.floors.edge_use
        rows.append(Margin("edge of a tool", f"T{by_id[name].tool}", name, worn[name], allowed, "lives"))
    return tuple(rows)


def cycle_reasons(rows: Sequence[Mapping[str, Any]]) -> tuple[Reason, ...]:
    """What the facts of a way's cycles ask the reader to know: parts at risk past the job's cap."""
    found = []
    for row in rows:
        risk = row["parts_at_risk"]
        if not risk["within"]:
            dearer = "" if risk["added_seconds"] is None else f", {risk['added_seconds']:.0f} s a start more"
            text = (
                f"{risk['parts']} parts are begun before one can be measured, the job allows {risk['cap']}; with one "
            )
            text += f"part first it is {risk['first_article_parts']}{dearer}"
            found.append(Reason("parts at risk", text, float(risk["parts"] - risk["cap"]), "parts"))
    return tuple(found)


def programs_of(context: Context, design: Design) -> dict[int, Sequence[Any]]:
    """The runs of the shop's single-part programs by operation; raises InputError where one can't be used."""
    from palletwright.cycle import program_runs

    rows = {}
    for k, op in _known(context, design):
        if op.program is not None:
            key = ("runs", op.program)
            if key not in context.memo:
                context.memo[key] = program_runs(op.program)
            rows[k] = context.memo[key]
    return rows


def _told(context: Context, design: Design) -> dict[int, Any]:
    from palletwright.cycle import Told, program_seconds

    machine = context.machine(design.machine)
    rows = {}
    for k, op in _known(context, design):
        by_tool = program_seconds(op.program, machine) if op.program else None
        if by_tool is not None or op.cutting_seconds is not None:
            rows[k] = Told(op.cutting_seconds, by_tool)
    return rows


def _known(context: Context, design: Design) -> list[tuple[int, Any]]:
    """The job's operations that are those of the design: by place, where their directions agree."""
    clampings = context.sequence(context.machine(design.machine), design.family, design.sequence).clampings
    if len(clampings) != len(context.job.operations):
        return []
    pairs = list(enumerate(zip(clampings, context.job.operations, strict=True)))
    return [(k, op) for k, (c, op) in pairs if all(any(same(d, e) for e in c.directions) for d in op.directions)]


def _wear(context: Context, design: Design, chosen: dict[int, Option], cycle: int) -> dict[str, float]:
    """By visit, the fraction of an edge's life; visits of tools without known life are left out."""
    made = asked(context, design, chosen, cycle).visits
    return visit_wear(context, standings(context, design, chosen, cycle), made)
