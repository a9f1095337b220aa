"""What a job's fixture would be worth an hour of building it: a bound without planning, and the number of a plan."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from palletwright.flow.loading import Handling, station_time
from palletwright.flow.money import DEBURR_SECONDS, INSPECT_FIRST_MINUTES, LOOK_SECONDS, WASH_SECONDS
from palletwright.job.model import Job
from palletwright.plan.money import DESIGN_HOURS, SETUP_HOURS, batch_of, material_price
from palletwright.plan.planning import make, material_of, prepare
from palletwright.plan.record import to_dict, write
from palletwright.plan.today import NOTHING_SAID, present_cost
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
    """What a plan's fixtures save an hour of building them; `saving_per_hour` is None where there is none, and `note`
    says why. `range_per_hour` is its 10 % and 90 % point over the spread of the inputs."""

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

    Today's running cost less what no way avoids: the blank, one set-up a batch, handling the part in every
    operation, the bench; over the design hours of the fewest operations. Cutting itself counts as nothing, so it is
    never below the truth. The part is read only where the blank has no price of its own: then it goes by its size.

    Raises SolidError for a part that can't be read, as far as it is looked at.
    """
    if not job.today:
        return Bound(None, note=NOTHING_SAID.text)
    material = blank_money(job, shop)
    _, now = present_cost(job, shop, material)
    saving = (now.running - least_running(job, shop, material)) * job.per_year
    return Bound(saving / (DESIGN_HOURS * least_operations(job)), saving)


def blank_money(job: Job, shop: Shop) -> float:
    """Money per blank: its own price, or by its size; a file that can't be a part is refused either way."""
    if job.blank.price is None:
        return material_price(prepare(job, shop))
    from palletwright.solid.reading import checked

    material_of(job, shop)
    checked(job.part)
    return job.blank.price


def least_operations(job: Job) -> int:
    """Operations that any plan needs: two where every face of the blank has material to come off, as the face that a
    part sits on can't be cut; else one."""
    raw = job.blank.kind in ("block", "round") and job.blank.size is None and job.blank.allowance > 0
    return 2 if raw else 1


def least_handling(job: Job, shop: Shop) -> float:
    """s at the least to take one part out of a station and put the next one in, whatever the grip: the motions of the
    part itself, without screws and what many parts of one station share. Nothing where a station was measured."""
    if job.station_seconds is not None:
        return 0.0
    many = 1000
    by_motions = station_time(Handling(parts=many, screws=0, mass_kg=0.0, locators=1)).seconds / many
    return min(by_motions, shop.rates.station_seconds * (1 + shop.rates.allowance))


def least_running(job: Job, shop: Shop, material: float) -> float:
    """Money per part that no way of this planner avoids; never above its true cost without the fixtures."""
    rates = shop.rates
    rate = min(m.rate for m in shop.machines)
    setup = (SETUP_HOURS + INSPECT_FIRST_MINUTES / 60.0) * (rate + rates.operator) / batch_of(job)
    bench = (DEBURR_SECONDS + WASH_SECONDS + LOOK_SECONDS) / 3600.0 * (1 + rates.allowance) * rates.bench
    handling = least_handling(job, shop) / 3600.0 * rates.operator / rates.up_time
    return material + setup + bench + handling * least_operations(job)


def plan_job(job: Job, shop: Shop, folder: Path, seconds: float | None = None) -> dict[str, Any]:
    """Plan one job in full and write its plan.json. `seconds`: clock limit, past which the best so far counts."""

    data = to_dict(make(job, shop, Progress(stop=Stop(seconds))))
    write(data, folder / "plan.json")
    return data


def worth_of(data: Mapping[str, Any]) -> Worth:
    """The worth of that way of a plan's data with fixtures that saves most an hour of building them."""
    rates = data["shop"]["rates"]
    ways = [w for w in data["plans"] if w["capital"] > 0]
    if not ways:
        return Worth(None, note="no way with fixtures came out: today's means do as well")
    found = [w for w in (_worth(way, rates) for way in ways) if w is not None]
    if found:
        return max(found, key=lambda w: (w.saving_per_hour or -math.inf, w.saving_per_year))
    if not ways[0].get("payback"):
        return Worth(None, note="the job doesn't say how the part is made today: no saving is known")
    return Worth(None, note="its bill has no building hours, so nothing can be said an hour")


def _worth(way: Mapping[str, Any], rates: Mapping[str, Any]) -> Worth | None:
    """One way's worth; building hours are those that its bill pays for: making at the toolroom's rate, design and
    programs at design's. None where they or the saving aren't known."""
    making = sum(money for name, money in way["bill"] if name.endswith("making"))
    design = sum(money for name, money in way["bill"] if name.startswith("design"))
    making_hours = making / rates["toolroom"] if making else 0.0
    hours = making_hours + (design / rates["design"] if design else 0.0)
    saving = float(way["payback"]["saving_per_year"]) if way.get("payback") else math.nan
    if not hours > 0 or not math.isfinite(saving):
        return None
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
