"""How a way runs on the floor and what its money looks like drawn: the flow room asked about one design."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from palletwright.flow.figures import money_figures
from palletwright.flow.model import Cost, Payback, Timing
from palletwright.flow.money import INSPECT_FIRST_MINUTES, load_loss
from palletwright.flow.running import Start, running
from palletwright.plan.context import Context
from palletwright.plan.edges import wear
from palletwright.plan.model import Design
from palletwright.plan.money import PLANNED_SCRAP, batch_of, losses_of, setup_hours_of
from palletwright.plan.options import Option
from palletwright.plan.today import step_timing, today_machine

LOAD_LOST_ONCE_IN = 2000
"""Starts in which a whole load is lost once, for its expectation: common practice, no source."""


def starts_of(
    context: Context,
    design: Design,
    options: Mapping[int, Option],
    timings: Sequence[Timing],
    fixed: Sequence[float] = (),
) -> list[Start]:
    """One entry a cycle of the design: its timing, stations, worn edges and chips. `fixed`: see `way_flow`."""
    machine = context.machine(design.machine)
    rows = []
    still = fixed or [0.0] * len(timings)
    for cycle, timing, same in zip(sorted({p.cycle for p in design.placings}), timings, still, strict=True):
        mounts = {p.mount for p in design.placings if p.cycle == cycle}
        counts, chips, worn = [], 0.0, dict[str, float]()
        for choice in design.operations:
            parts = sum(len(s.parts) for s in design.stations if s.operation == choice.clamping and s.mount in mounts)
            if not parts:
                continue
            counts.append(parts)
            before, after = context.in_process(machine, design.family, design.sequence, choice.clamping)
            chips += parts * max(0.0, before.volume - after.volume) * 1e-6
            for tool, share in wear(context, options[choice.clamping].cuts).items():
                worn[tool] = worn.get(tool, 0.0) + parts * share
        rows.append(Start(timing, tuple(counts), worn, chips, fixed=same))
    return rows


def way_flow(
    context: Context,
    design: Design,
    options: Mapping[int, Option],
    timings: Sequence[Timing],
    money: Cost,
    now: Cost | None = None,
    back: Payback | None = None,
    fixed: Sequence[float] = (),
) -> dict[str, Any]:
    """Everything about how a way runs, as plain data: see `flow.running.running`; with the loss of a whole load, and
    with `now` and `back` what the money drawings need (`money`). `fixed` are s of each cycle that don't grow with its
    parts: tool changes and indexing."""
    rates, machine = context.shop.rates, context.machine(design.machine)
    starts = starts_of(context, design, options, timings, fixed)
    data = running(
        starts,
        rates,
        machine_rate=machine.rate,
        edge_use=context.shop.floors.edge_use,
        chip_room=machine.chip_room,
        changer=machine.pallet_change is not None,
        scrap=PLANNED_SCRAP / len(design.operations),
        batch=batch_of(context.job),
        setup_hours=setup_hours_of(design) + INSPECT_FIRST_MINUTES / 60.0,
        seed=context.job.seed,
    )
    data["load_loss"] = _load_loss(context, design, options, starts, money)
    data["money"] = money_figures(now, money, back, rates, context.job.seed) if now and back else None
    return data


def _load_loss(
    context: Context, design: Design, options: Mapping[int, Option], starts: Sequence[Start], money: Cost
) -> dict[str, float]:
    """The dearest load of the way lost at the end of its cycle, and what that comes to a part at its chance."""
    work = money.machine + money.labour + money.tools + money.setup
    added = [loss.share * work for loss in losses_of(design, options)]
    greatest, at = 0.0, 0
    for start in starts:
        stations = [0] * len(added)
        stations[at : at + len(start.stations)] = start.stations
        at += len(start.stations)
        greatest = max(greatest, load_loss(money.material, added, stations, 0.0)[0])
    parts = sum(min(s.stations) for s in starts) / len(starts)
    return {
        "money": greatest,
        "once_in_starts": float(LOAD_LOST_ONCE_IN),
        "expected_per_part": greatest / LOAD_LOST_ONCE_IN / parts,
        "of_material": money.material * max(sum(s.stations) for s in starts),
    }


def today_flow(context: Context) -> dict[str, Any] | None:
    """The present way run by the same rules: one entry a step, one set, loading in the cycle. None: not described."""
    steps = context.job.today
    if not steps:
        return None
    rates = context.shop.rates
    starts = [Start(step_timing(s), (s.parts_per_start,), {}, watched=s.attended) for s in steps]
    data = running(
        starts,
        rates,
        machine_rate=max(today_machine(context.shop, s).rate for s in steps),
        edge_use=context.shop.floors.edge_use,
        scrap=sum(s.scrap for s in steps) / len(steps),
        batch=batch_of(context.job),
        setup_hours=sum(s.setup_hours for s in steps) + INSPECT_FIRST_MINUTES / 60.0,
        seed=context.job.seed,
    )
    data["steps"] = [asdict(step_timing(s)) for s in steps]
    return data | {"load_loss": None, "money": None}
