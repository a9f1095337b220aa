"""The way the part is made today, in the same units as the plans."""

from __future__ import annotations

from collections.abc import Sequence

from palletwright.errors import Fault, InputError
from palletwright.flow import Cost, Timing, combined, cost, cost_range, starts_per_part
from palletwright.flow.figures import spreads_of
from palletwright.flow.money import Loss
from palletwright.job.model import Job, TodayStep
from palletwright.plan.context import Context
from palletwright.plan.model import Way
from palletwright.plan.money import batch_of, material_price
from palletwright.shop.model import Machine, Shop
from palletwright.verdict import Reason

NOTHING_SAID = Reason("today", "the job doesn't say how the part is made today ([[today]] steps), so nothing is known")

MEASURED_SPREAD = 0.05
"""± fraction of today's times where every step is measured: common practice, no source."""


def step_timing(step: TodayStep) -> Timing:
    """One step of the present way: one set, loading in the cycle; attended steps keep the operator throughout."""
    whole = step.cycle_seconds + step.load_seconds
    attended = whole if step.attended else step.load_seconds
    return Timing(
        sets=1,
        machine_seconds=step.cycle_seconds,
        load_seconds=step.load_seconds,
        swap_seconds=0.0,
        start_seconds=whole,
        parts_per_start=step.parts_per_start,
        attended_minutes=attended / 60.0,
        unattended_minutes=(whole - attended) / 60.0,
        spindle_minutes_per_part=step.cycle_seconds / 60.0 / step.parts_per_start,
        attended_minutes_per_part=attended / 60.0 / step.parts_per_start,
        waits_for="loading",
        load_basis="measured" if step.measured else "told",
        spindle_waits_seconds=step.load_seconds,
    )


def today_cost(context: Context, tools: float | None = None) -> tuple[Timing, Cost] | None:
    """Timing and cost per part of the present way; None where the job doesn't describe it. See `present_cost`."""
    return present_cost(context.job, context.shop, material_price(context), tools) if context.job.today else None


def present_cost(job: Job, shop: Shop, material: float, tools: float | None = None) -> tuple[Timing, Cost]:
    """Timing and cost per part of the steps that a job says are its present way.

    Parameters
    ----------
    material : money of a blank
    tools : money for tools a part, which is that of the planned ways where they know it (the same metal comes off);
        None: a share of the machine's cost

    Every step costs its own machine's rate, and loses parts at the value that they have by then.
    """
    steps = job.today
    timings = [step_timing(s) for s in steps]
    total = combined(timings)
    rates = [today_machine(shop, s).rate for s in steps]
    spent = [t.start_seconds / t.parts_per_start for t in timings]
    setup = [s.setup_hours for s in steps]
    money = cost(
        total,
        machine=today_machine(shop, steps[0]),
        rates=shop.rates,
        per_year=job.per_year,
        batch=batch_of(job),
        material=material,
        capital=0.0,
        setup_hours=sum(setup),
        scrap=0.0,
        life_starts=shop.rates.fixture_life_starts,
        tools=tools,
        losses=[Loss(t / sum(spent), s.scrap) for t, s in zip(spent, steps, strict=True)],
        machine_rate=_weighted(rates, spent),
        setup_rate=_weighted(rates, setup) if sum(setup) > 0 else None,
    )
    return total, money


def _weighted(values: Sequence[float], weights: Sequence[float]) -> float:
    return sum(v * w for v, w in zip(values, weights, strict=True)) / sum(weights)


def today_machine(shop: Shop, step: TodayStep) -> Machine:
    """The machine of a step: the one that it names, else the shop's cheapest an hour.

    Raises InputError for a machine that the shop doesn't have.
    """
    machines = {m.id: m for m in shop.machines}
    if step.machine is None:
        return min(shop.machines, key=lambda m: (m.rate, m.id))
    if step.machine not in machines:
        raise InputError([Fault("job", "today.machine", step.machine, "isn't in the shop", ", ".join(machines))])
    return machines[step.machine]


def today_spreads(context: Context) -> dict[str, float]:
    """The shop's spreads; times that are all measured are surer than told ones."""
    own = spreads_of(context.shop.rates)
    if context.job.today and all(s.measured for s in context.job.today):
        own.setdefault("today's times", MEASURED_SPREAD)
    return own


def today(context: Context, tools: float | None = None) -> Way:
    """Today as a way among the others; unknown numbers are None with the reason. `tools`: see `today_cost`."""
    found = today_cost(context, tools)
    if found is None:
        return Way("today", None, None, None, None, None, None, None, None, None, (), reasons=(NOTHING_SAID,))
    total, money = found
    steps = context.job.today
    why = Reason("today", "least clearance and holding aren't known: the present set-ups are not described as shapes")
    return Way(
        name="today",
        design=None,
        parts_per_start=total.parts_per_start,
        starts_per_part=starts_per_part([s.parts_per_start for s in steps]),
        spindle_minutes_per_part=total.spindle_minutes_per_part,
        attended_minutes_per_part=total.attended_minutes_per_part,
        unattended_minutes=total.unattended_minutes,
        cost_per_part=money.per_part,
        least_clearance_mm=None,
        least_holding_factor=None,
        operations=tuple(s.model_dump() for s in steps),
        reasons=(why, *_told(context)),
        timing=_plain(total),
        cost=_plain(money),
        cost_range=cost_range(money, context.job.seed, planned=False, spreads=today_spreads(context)),
    )


def _told(context: Context) -> tuple[Reason, ...]:
    """What the times of today rest on, and the machines that had to be assumed."""
    steps = context.job.today
    told = [s.operation for s in steps if not s.measured]
    rows = [Reason("today", f"times told, not measured: {', '.join(told)}")] if told else []
    rows += [
        Reason("today", f"{s.operation}: no machine is named, {today_machine(context.shop, s).id} is assumed")
        for s in steps
        if s.machine is None
    ]
    return tuple(rows)


def _plain(value: Timing | Cost) -> dict[str, object]:
    from dataclasses import asdict

    return asdict(value) | ({"per_part": value.per_part} if isinstance(value, Cost) else {})
