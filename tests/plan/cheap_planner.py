"""A planner and a bounder that cost nothing, for workers to import: numbers from the job's name and demand alone."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path
from typing import Any

from palletwright.errors import NoPlan
from palletwright.job.model import Job
from palletwright.plan.worth import Bound
from palletwright.shop.model import Shop
from palletwright.verdict import Reason


def number(job: Job) -> int:
    return int(job.name.split()[-1])


def value(job: Job) -> float:
    """Saving an hour that this planner finds: 30 to 100 % of the bound, without order."""
    return bound(job) * (0.3 + 0.7 * ((number(job) * 7919) % 101) / 100)


def bound(job: Job) -> float:
    return float(job.per_year)


def cheap_bound(job: Job, shop: Shop) -> Bound:
    if job.name.startswith("unbounded"):
        raise RuntimeError("no bound today")
    if job.name.startswith("silent"):
        return Bound(None, note="nothing is said")
    return Bound(bound(job), bound(job) * 10)


def cheap_plan(job: Job, shop: Shop, folder: Path) -> dict[str, Any]:
    """Ten hours of design; every planned job leaves a file, so that a test sees who was planned, by whom."""
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "planned.txt").open("a") as out:
        out.write(f"{os.getpid()} {os.environ.get('OMP_NUM_THREADS')}\n")
    if job.name.startswith("bad"):
        raise ValueError("this one is bad")
    if job.name.startswith("hopeless"):
        raise NoPlan([Reason("grip", "nothing holds it")])
    if job.name.startswith("interrupted"):
        os.kill(os.getpid(), signal.SIGINT)
    if job.name.startswith("deadly"):
        os._exit(13)
    way = {
        "name": "plan 1",
        "capital": 650.0,
        "parts_per_start": 9.0,
        "bill": [["design and programs", 10 * shop.rates.design]],
        "payback": {"saving_per_year": 10 * value(job), "saving_range": [9 * value(job), 11 * value(job)]},
    }
    return {"shop": {"rates": shop.rates.model_dump()}, "plans": [way]}


def slow_plan(job: Job, shop: Shop, folder: Path) -> dict[str, Any]:
    time.sleep(0.05)
    return cheap_plan(job, shop, folder)
