"""What a job's fixture would be worth an hour of building it: a bound without planning, and the number of a plan."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from palletwright.flow.money import DEBURR_SECONDS, INSPECT_FIRST_MINUTES, LOOK_SECONDS, WASH_SECONDS
from palletwright.job.model import Job
from palletwright.plan.context import Context
from palletwright.plan.money import DESIGN_HOURS, SETUP_HOURS, batch_of, material_price
from palletwright.plan.planning import make, prepare
from palletwright.plan.record import to_dict, write
from palletwright.plan.today import NOTHING_SAID, today_cost
from palletwright.progress import Progress, Stop
from palletwright.shop.model import Shop


@dataclass(frozen=True, slots=True)
class Bound:
    """Never below what any fixture of the job can save a year per hour of building; `note` says why none is known."""

    saving_per_hour: float | None
    saving_per_year: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Worth:
    """What the best plan with fixtures saves. `saving_per_hour` is None where there is none; `note` says why.

    `range_per_hour` is its 10 % and 90 % point over the spread of the inputs."""

    saving_per_hour: float | None
    saving_per_year: float = 0.0
    building_hours: float = 0.0
    making_hours: float = 0.0
    capital: float = 0.0
    parts_per_start: float | None = None
    way: str = ""
    note: str = ""
    range_per_hour: tuple[float, float] = (0.0, 0.0)


def bound_of(job: Job, shop: Shop) -> Bound:
    """The most that any fixture for a job can save a year per hour of building it, without planning it.

    Today's running cost less what no way avoids: the blank, one set-up a batch, the handling of a station in every
    operation, the bench; over the design hours of the fewest operations. Cutting itself counts as nothing, so it is
    never below the truth. The part is read, because the blank's price goes by its size.
    """
    context = prepare(job, shop)
    now = today_cost(context)
    if now is None:
        return Bound(None, note=NOTHING_SAID.text)
    saving = (now[1].running - least_running(context)) * job.per_year
    return Bound(saving / (DESIGN_HOURS * least_operations(job)), saving)


def least_operations(job: Job) -> int:
    """Operations that any plan needs: two where every face of the blank has material to come off, as the face that a
    part sits on can't be cut; else one."""
    raw = job.blank.kind in ("block", "round") and job.blank.size is None and job.blank.allowance > 0
    return 2 if raw else 1


def least_running(context: Context) -> float:
    """Money per part that no way of this planner avoids; never above its true cost without the fixtures."""
    rates = context.shop.rates
    rate = min(m.rate for m in context.shop.machines)
    setup = (SETUP_HOURS + INSPECT_FIRST_MINUTES / 60.0) * (rate + rates.operator) / batch_of(context.job)
    bench = (DEBURR_SECONDS + WASH_SECONDS + LOOK_SECONDS) / 3600.0 * (1 + rates.allowance) * rates.bench
    handling = rates.station_seconds / 3600.0 * (1 + rates.allowance) * rates.operator / rates.up_time
    return material_price(context) + setup + bench + handling * least_operations(context.job)


def plan_job(job: Job, shop: Shop, folder: Path, seconds: float | None = None) -> dict[str, Any]:
    """Plan one job in full and write its plan.json. `seconds`: clock limit, past which the best so far counts."""

    data = to_dict(make(job, shop, Progress(stop=Stop(seconds))))
    write(data, folder / "plan.json")
    return data


def worth_of(data: Mapping[str, Any]) -> Worth:
    """The worth of the best way of a plan's data that builds fixtures.

    Building hours are those that its bill pays for: making at the toolroom's rate, design and programs at design's.
    """
    rates = data["shop"]["rates"]
    ways = [w for w in data["plans"] if w["capital"] > 0]
    if not ways:
        return Worth(None, note="no way with fixtures came out: today's means do as well")
    way = ways[0]
    if not way.get("payback"):
        return Worth(None, note="the job doesn't say how the part is made today: no saving is known")
    making = sum(money for name, money in way["bill"] if name.endswith("making"))
    design = sum(money for name, money in way["bill"] if name.startswith("design"))
    making_hours = making / rates["toolroom"] if making else 0.0
    hours = making_hours + (design / rates["design"] if design else 0.0)
    saving = float(way["payback"]["saving_per_year"])
    if not hours > 0 or not math.isfinite(saving):
        return Worth(None, saving, note="its bill has no building hours, so nothing can be said an hour")
    low, high = way["payback"].get("saving_range") or (saving, saving)
    return Worth(
        saving / hours,
        saving,
        hours,
        making_hours,
        float(way["capital"]),
        way["parts_per_start"],
        way["name"],
        range_per_hour=(float(low) / hours, float(high) / hours),
    )
