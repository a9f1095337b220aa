"""The way the part is made today, in the same units as the plans."""

from __future__ import annotations

from palletwright.flow import Cost, Timing, combined, cost, cost_range, starts_per_part
from palletwright.job.model import TodayStep
from palletwright.plan.context import Context
from palletwright.plan.model import Way
from palletwright.plan.money import batch_of, material_price
from palletwright.shop.model import Machine
from palletwright.verdict import Reason

NOTHING_SAID = Reason("today", "the job doesn't say how the part is made today ([[today]] steps), so nothing is known")


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
    )


def today_cost(context: Context) -> tuple[Timing, Cost] | None:
    """Timing and cost per part of the present way; None where the job doesn't describe it."""
    steps = context.job.today
    if not steps:
        return None
    total = combined([step_timing(s) for s in steps])
    machines = [_machine(context, s) for s in steps]
    priciest = max(machines, key=lambda m: m.rate)
    scrap = 1.0
    for s in steps:
        scrap *= 1.0 - s.scrap
    money = cost(
        total,
        machine=priciest,
        rates=context.shop.rates,
        per_year=context.job.per_year,
        batch=batch_of(context.job),
        material=material_price(context),
        capital=0.0,
        setup_hours=sum(s.setup_hours for s in steps),
        scrap=1.0 - scrap,
        life_starts=context.shop.rates.fixture_life_starts,
    )
    return total, money


def _machine(context: Context, step: TodayStep) -> Machine:
    machines = {m.id: m for m in context.shop.machines}
    return machines[step.machine] if step.machine in machines else context.shop.machines[0]


def today(context: Context) -> Way:
    """Today as a way among the others; unknown numbers are None with the reason."""
    found = today_cost(context)
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
        reasons=(why,),
        timing=_plain(total),
        cost=_plain(money),
        cost_range=cost_range(money, context.job.seed),
    )


def _plain(value: Timing | Cost) -> dict[str, object]:
    from dataclasses import asdict

    return asdict(value) | ({"per_part": value.per_part} if isinstance(value, Cost) else {})
