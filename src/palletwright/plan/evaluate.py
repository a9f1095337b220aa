"""Every check of one design in the whole machine, and the numbers that follow from it."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from palletwright.cycle.model import Cycle
from palletwright.flow import Payback, Timing, combined, cost_range, payback, timing
from palletwright.flow.sets import waiting
from palletwright.holding import ChainReport
from palletwright.plan.arrange import Candidate
from palletwright.plan.context import Context
from palletwright.plan.cycles import cycle_facts, cycle_of_design, cycle_reasons, tool_margins
from palletwright.plan.handling import station_loads
from palletwright.plan.located import Places, locations
from palletwright.plan.model import Design, StationAt, Way
from palletwright.plan.money import design_cost, fixture_bill
from palletwright.plan.mounted import chains_of, loose_of
from palletwright.plan.options import OperationKey, Option, options
from palletwright.plan.proved import Proof, proof_of, told
from palletwright.plan.running import way_flow
from palletwright.plan.scenes import LOOK, reach_of
from palletwright.plan.today import today_cost, today_spreads
from palletwright.reach.model import ReachReport
from palletwright.verdict import Margin, Reason

DROPS = 4
"""Times that a design may lose conflicting stations and be checked again."""

FIXED = ("tool change", "index")
"""Kinds of a cycle's seconds that don't grow with its parts."""


@dataclass(frozen=True, eq=False)
class Examined:
    """A design after the whole-scene checks: what stayed, the reports and the cycles."""

    design: Design
    options: dict[int, Option]
    reaches: tuple[ReachReport, ...]
    cycles: tuple[Cycle, ...]
    dropped: tuple[str, ...]
    parts: tuple[int, ...]
    chains: tuple[ChainReport, ...] = ()
    proofs: dict[int, Proof] = field(default_factory=dict)
    places: Places = field(default_factory=Places)
    tools: tuple[Margin, ...] = ()

    @property
    def passed(self) -> bool:
        clear = bool(self.parts) and min(self.parts) > 0 and all(r.passed for r in self.reaches)
        return clear and all(m.passed for m in self.held)

    @property
    def held(self) -> tuple[Margin, ...]:
        """What holds parts and carriers in the machine, where the parts then stand, and whether the tools last."""
        rows = [m for chain in self.chains for m in chain.margins]
        for choice in self.design.operations if self.proofs else ():
            about = f"operation {choice.number}"
            own = (*self.options[choice.clamping].grip.margins, *self.proofs[choice.clamping].report.margins)
            rows += [replace(m, subject=f"{about}: {m.subject}") for m in own]
            rows += self.proofs[choice.clamping].gives.margins
        return (*rows, *self.places.margins, *self.tools)

    @property
    def least_clearance(self) -> float | None:
        found = [r.least_clearance for r in self.reaches if r.least_clearance is not None]
        return min(found) if found else None


def options_of(context: Context, design: Design) -> dict[int, Option]:
    """The certified grip that each operation of a design names.

    Raises LookupError when a grip can't be found or no longer holds.
    """
    chosen: dict[int, Option] = {}
    vises = {s.operation: p.carrier for s in design.stations for p in design.placings if p.mount == s.mount}
    for choice in design.operations:
        vise = vises.get(choice.clamping, "") if choice.carrier_kind == "vise" else ""
        key = OperationKey(
            design.machine, design.family, design.sequence, choice.clamping, choice.up, choice.carrier_kind, vise
        )
        found, reasons = options(context, key)
        match = [o for o in found if o.grip.id == choice.grip]
        if not match:
            why = "; ".join(f"{r.about}: {r.text}" for r in reasons[:3])
            raise LookupError(f"operation {choice.number}: grip {choice.grip} isn't among those that hold ({why})")
        chosen[choice.clamping] = match[0]
    return chosen


def cycles_of(design: Design) -> tuple[int, ...]:
    """The cycle numbers of a design, in order."""
    return tuple(sorted({p.cycle for p in design.placings}))


def parts_per_cycle(design: Design) -> tuple[int, ...]:
    """Parts that leave each cycle: the least over its operations' stations."""
    counts = []
    for cycle in cycles_of(design):
        mounts = {p.mount for p in design.placings if p.cycle == cycle}
        placed = Counter(s.operation for s in design.stations if s.mount in mounts for _ in s.parts)
        needed = [o.clamping for o in design.operations if cycle_of(design, o.clamping) == cycle]
        counts.append(min((placed.get(k, 0) for k in needed), default=0))
    return tuple(counts)


def cycle_of(design: Design, operation: int) -> int:
    """The cycle in which an operation runs (0 for one without stations)."""
    cycles = {p.mount: p.cycle for p in design.placings}
    return next((cycles[s.mount] for s in design.stations if s.operation == operation), 0)


def balanced(design: Design) -> Design:
    """The design without stations beyond what every operation of their cycle can follow."""
    least = dict(zip(cycles_of(design), parts_per_cycle(design), strict=True))
    kept: list[StationAt] = []
    placed: Counter[int] = Counter()
    for station in design.stations:
        room = least[cycle_of(design, station.operation)] - placed[station.operation]
        if room > 0:
            kept.append(station)
            placed[station.operation] += len(station.parts)
    mounts = {s.mount for s in kept}
    return replace(design, stations=tuple(kept), placings=tuple(p for p in design.placings if p.mount in mounts))


def examine(context: Context, candidate: Candidate, measured: bool = True) -> Examined:
    """Check a candidate in the full scene; stations in conflict are taken out and the rest checked again."""
    chosen = {c.clamping: f.option for c, f in zip(candidate.design.operations, candidate.filled, strict=True)}
    return examine_design(context, balanced(candidate.design), chosen, DROPS, measured)


def examine_design(
    context: Context, design: Design, chosen: dict[int, Option], drops: int = 0, measured: bool = True
) -> Examined:
    """All whole-scene checks of a design; with `drops` conflicting stations may be taken out and tried again.

    The first round looks for the verdict only. Taking bodies out opens room and never takes any, so that the next
    round, which measures, mostly confirms it. Without `measured` the verdict is all that is asked: no cycle either.
    """
    dropped: list[str] = []
    look = LOOK if measured and not drops else 0.0
    while True:
        reaches = tuple(reach_of(context, design, chosen, c, look) for c in cycles_of(design))
        out = _worst_stations(design, [pair for r in reaches for pair in r.conflicts]) if drops > 0 else set()
        if out:
            drops -= 1
            smaller = replace(design, stations=tuple(s for s in design.stations if not out & set(s.parts)))
            if min(parts_per_cycle(smaller), default=0) == 0:
                return Examined(design, chosen, reaches, (), tuple(dropped), parts_per_cycle(design))
            dropped += sorted(out)
            design = balanced(smaller)
        elif look or not measured:
            break
        look = LOOK if measured else 0.0
    seen = Examined(design, chosen, reaches, (), tuple(dropped), parts_per_cycle(design))
    if not measured or not all_pass(reaches):
        return seen
    held = context.timed("holding", lambda: with_holding(context, seen))
    cycles = tuple(_cycle(context, design, chosen, c) for c in cycles_of(design))
    asked = zip(cycles_of(design), cycles, held.parts, strict=True)
    tools = [m for c, made, n in asked for m in tool_margins(context, design, chosen, c, made, n)]
    return replace(held, cycles=cycles, tools=tuple(tools))


def all_pass(reaches: tuple[ReachReport, ...]) -> bool:
    """Whether every cycle's scene is clear."""
    return all(r.passed for r in reaches)


def _worst_stations(design: Design, conflicts: list[tuple[str, str]]) -> set[str]:
    """Parts whose removal settles every conflict, greedily the most entangled first."""
    names = {name for s in design.stations for name in s.parts}
    left = [{a, b} & names for a, b in conflicts]
    left = [pair for pair in left if pair]
    out: set[str] = set()
    while left:
        tally = Counter(name for pair in left for name in pair)
        worst = max(tally, key=lambda n: (tally[n], n))
        out.add(worst)
        left = [pair for pair in left if worst not in pair]
    return out


def _cycle(context: Context, design: Design, chosen: dict[int, Option], cycle: int) -> Cycle:
    return context.timed("cycle", lambda: cycle_of_design(context, design, chosen, cycle))


def with_holding(context: Context, seen: Examined) -> Examined:
    """The same with what holds its parts and carriers, and where the parts stand."""
    design, chosen = seen.design, seen.options
    chains = tuple(r for c in cycles_of(design) for r in chains_of(context, design, chosen, c))
    proofs = {o.clamping: proof_of(context, design, o, chosen[o.clamping]) for o in design.operations}
    return replace(seen, chains=chains, proofs=proofs, places=locations(context, design, chosen, proofs))


def cycle_timing(context: Context, examined: Examined, position: int, sets: int) -> Timing:
    """Flow of one cycle of an examined design."""
    design, cycle = examined.design, cycles_of(examined.design)[position]
    mounts = {p.mount for p in design.placings if p.cycle == cycle}
    loads = station_loads(context, design, examined.options, mounts)
    change = context.machine(design.machine).pallet_change
    seconds, parts = examined.cycles[position].seconds, examined.parts[position]
    return timing(seconds, loads, parts, sets, context.shop.rates, pallet_change=change)


def way(context: Context, examined: Examined, name: str, sets: int, label: str) -> Way:
    """An examined design as a way with `sets` sets, every number filled in."""
    design = replace(examined.design, sets=sets)
    timings = [cycle_timing(context, examined, i, sets) for i in range(len(examined.cycles))]
    total = combined(timings)
    bill = fixture_bill(context, design, examined.options)
    capital = sum(money for _, money in bill)
    money = design_cost(context, design, total, capital, examined.options)
    now = today_cost(context, money.tools)
    back, spreads = None, today_spreads(context)
    if now is not None:
        hours = [c.start_seconds / 3600 / c.parts_per_start * context.job.per_year for c in (now[0], total)]
        back = payback(
            now[1],
            money,
            rates=context.shop.rates,
            hours_now=hours[0],
            hours_then=hours[1],
            seed=context.job.seed,
            hours_worth=context.shop.rates.hours_worth,
            spreads=spreads,
        )
    holding = [o.holding.holding_factor for o in examined.options.values() if o.holding.holding_factor is not None]
    cycles = cycle_record(context, examined)
    return Way(
        name=name,
        design=design,
        parts_per_start=total.parts_per_start,
        starts_per_part=1.0 / total.parts_per_start,
        spindle_minutes_per_part=total.spindle_minutes_per_part,
        attended_minutes_per_part=total.attended_minutes_per_part,
        unattended_minutes=total.unattended_minutes,
        cost_per_part=money.per_part,
        least_clearance_mm=examined.least_clearance,
        least_holding_factor=min(holding) if holding else None,
        operations=operations_of(context, examined),
        margins=margins_of(context, examined),
        reasons=(*reasons_of(context, examined, total, back), *cycle_reasons(cycles["cycles"])),
        capital=capital,
        payback=asdict(back) if back else None,
        timing=asdict(total) | {"label": label},
        cost=asdict(money) | {"per_part": money.per_part},
        cost_range=cost_range(money, context.job.seed, spreads=spreads),
        cycle=cycles,
        bill=bill,
        flow=way_flow(
            context,
            design,
            examined.options,
            timings,
            money,
            now[1] if now else None,
            back,
            [sum(s for kind, s in dict(c.by_kind).items() if kind in FIXED) for c in examined.cycles],
        ),
    )


def operations_of(context: Context, examined: Examined) -> tuple[dict[str, Any], ...]:
    """Each operation in plain data: directions, features, grip, stations, holding."""
    design = examined.design
    clampings = context.sequence(context.machine(design.machine), design.family, design.sequence).clampings
    rows = []
    for choice in design.operations:
        option, clamping = examined.options[choice.clamping], clampings[choice.clamping]
        rows.append(
            {
                "number": choice.number,
                "directions": [list(d) for d in clamping.directions],
                "features": [f for f, _ in clamping.features],
                "up": list(choice.up),
                "carrier": choice.carrier_kind,
                "grip": {"id": option.grip.id, "kind": option.grip.kind, "notes": list(option.grip.notes)},
                "holding": {
                    "factor": option.holding.holding_factor,
                    "floor": option.holding.floor,
                    "friction": option.holding.friction_factor,
                    "elastic": option.holding.elastic_factor,
                    "worst_load": option.holding.worst_load,
                    "gives_first": option.holding.gives_first,
                }
                | told(examined.proofs[choice.clamping].report),
                "location": list(examined.places.rows.get(choice.number, ())),
                "stations": sum(len(s.parts) for s in design.stations if s.operation == choice.clamping),
                "cutting_seconds": sum(c.seconds for c in option.cuts),
                "tools": sorted({c.tool for c in option.cuts}),
                "locating": "assumed",
            }
        )
    return tuple(rows)


def margins_of(context: Context, examined: Examined) -> tuple[Margin, ...]:
    """All margins of a design: scene, what holds the carriers, holding and grips, places."""
    return (*(m for r in examined.reaches for m in r.margins), *examined.held)


def reasons_of(context: Context, examined: Examined, total: Timing, back: Payback | None) -> tuple[Reason, ...]:
    """What limits the design and what it waits for."""
    rows = [r for report in examined.reaches for r in report.reasons]
    rows += [r for report in examined.chains for r in report.reasons]
    design = examined.design
    rows += [*loose_of(context, design), *examined.places.reasons]
    strip = context.variants(context.machine(design.machine), design.family)[design.sequence].strip
    if strip is not None:
        way_down = " ".join(f"{v:g}" for v in strip.down)
        text = f"must be {strip.depth:g} mm larger than stated along ({way_down}): grip stock, faced away later"
        rows.insert(0, Reason("blank", text, strip.depth, "mm"))
    rows.append(Reason("flow", waiting(total), total.spindle_waits_seconds / 60.0, "min"))
    if examined.dropped:
        rows.append(
            Reason(
                "reach",
                f"{len(examined.dropped)} stations were taken out: " + ", ".join(examined.dropped[:6]),
                len(examined.dropped),
                "stations",
            )
        )
    if back is None:
        rows.append(Reason("payback", "unknown: the job doesn't say how the part is made today"))
    for choice in examined.design.operations:
        rows += [
            Reason(f"operation {choice.number}", f"{r.about}: {r.text}", r.amount, r.unit)
            for r in examined.options[choice.clamping].grip.reasons[:2]
        ]
        proof = examined.proofs[choice.clamping]
        rows += [replace(r, about=f"operation {choice.number}: {r.about}") for r in proof.faster]
        rows += proof.gives.reasons
    return tuple(rows)


def cycle_record(context: Context, examined: Examined) -> dict[str, Any]:
    """The cycles as plain data for reports: events, sums by kind, runs with bound, other orders."""
    return {
        "cycles": [
            {
                "seconds": c.seconds,
                "bound": c.bound,
                "tool_runs": c.tool_runs,
                "least_tool_runs": c.least_tool_runs,
                "by_kind": dict(c.by_kind),
                "other_orders": [list(a) for a in c.alternatives],
                "events": [asdict(e) for e in c.events],
                "parts": n,
            }
            | cycle_facts(context, examined.design, examined.options, k, c, n)
            for k, c, n in zip(cycles_of(examined.design), examined.cycles, examined.parts, strict=True)
        ]
    }
