"""A small real plan of the shipped example: the first arrangement that passes, checked by the planner's own rooms."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path
from typing import Any

from palletwright.demo import demo_job
from palletwright.job import read_job_and_shop
from palletwright.plan.arrange import arrangement
from palletwright.plan.candidates import families, one_cycle
from palletwright.plan.context import Context
from palletwright.plan.evaluate import examine, way
from palletwright.plan.model import OneMore, Plan, TurnedDown, Way
from palletwright.plan.pictures import pictures
from palletwright.plan.planning import prepare, versions
from palletwright.plan.record import to_dict
from palletwright.plan.today import today

CARRIERS = ("pallet-160x480", "plate-350x300")


def first_way(context: Context) -> Way:
    """The first arrangement of everything in one cycle that passes every check, with its pictures."""
    from dataclasses import replace

    machine = next(m for m in context.shop.machines if m.rotary is not None)
    for family, index in families(context, machine):
        count = len(context.sequence(machine, family, index).clampings)
        for placings in one_cycle(context, machine, family, index):
            got, _ = arrangement(context, machine, family, index, placings, tuple(range(count)))
            if got is None:
                continue
            examined = examine(context, got)
            if examined.passed:
                made = way(context, examined, "plan 1", 2, got.label)
                return replace(made, scene=pictures(context, examined.design, examined.options))
    raise AssertionError("the example has no workable arrangement on these carriers")


def small_plan() -> dict[str, Any]:
    """The plan's data: one way with pictures, the same again with one set and without pictures, and today."""
    from dataclasses import replace

    from palletwright.access import to_json

    job, shop = read_job_and_shop(demo_job("hinge_yoke"))
    fewer = shop.model_copy(update={"carriers": tuple(c for c in shop.carriers if c.id in CARRIERS)})
    context = prepare(job, fewer)
    best = first_way(context)
    other = replace(best, name="plan 2", scene=None, cost_per_part=(best.cost_per_part or 0.0) * 1.1)
    machine = context.machine(best.design.machine if best.design else "")
    part = {
        "name": "hinge_yoke", "file": "hinge_yoke.step", "unit": "millimetre", "size_mm": [62.0, 44.0, 28.0],
        "volume_mm3": 54615.6, "blank_mm": [65.0, 47.0, 31.0], "blank_kg": 0.26, "material": job.material, "faces": 35,
        "notes": [],
    }  # fmt: skip
    plan = Plan(
        "Hinge yoke: small", True, part, job.model_dump(mode="json"), fewer.model_dump(mode="json"), today(context),
        (best, other), (), (TurnedDown("a plate <b>alone</b>", "no grip", 1.5, "mm"),),
        (OneMore("a plate 20 mm longer", 3, 2, True),), ("Times are estimates.",), to_json(context.access(machine)),
        1, False, versions(), 1.0,
    )  # fmt: skip
    return to_dict(plan)


def main() -> None:
    began = time.process_time()
    data = small_plan()
    Path(sys.argv[1]).write_text(json.dumps(data), encoding="utf-8")
    way0 = data["plans"][0]
    print(len(way0["design"]["stations"]), "stations,", round(time.process_time() - began, 1), "s CPU")


if __name__ == "__main__":
    main()
