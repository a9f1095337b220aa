"""The page: what a person waits for. Limits are the project's own; other work on the machine spoils clock times.

    python -m benchmarks.page [PLAN.json]

Without a plan the small one of the tests is made (about ten seconds). Times are of the server alone, as the page calls
it; draw calls and page-ready times are measured in the browser by tests/page.
"""

from __future__ import annotations

import json
import resource
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from palletwright.demo import demo_job
from palletwright.job.model import Job
from palletwright.page import parts
from palletwright.page.desk import Desk
from palletwright.plan.planning import prepare
from palletwright.shop.model import Shop

DRAG_MS, CHECK_MS = 100.0, 1000.0


def plan_of(file: str | None) -> dict[str, Any]:
    """The plan to measure on."""
    if file is not None:
        return dict(json.loads(Path(file).read_text(encoding="utf-8")))
    sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "page"))
    import importlib

    return dict(importlib.import_module("small_plan").small_plan())


def times(call: Callable[[], object], count: int) -> tuple[float, float]:
    """Median of wall and of processor time, ms."""
    wall, processor = [], []
    for _ in range(count):
        before, used = time.perf_counter(), time.process_time()
        call()
        wall.append(1000 * (time.perf_counter() - before))
        processor.append(1000 * (time.process_time() - used))
    return statistics.median(wall), statistics.median(processor)


def main() -> None:
    data = plan_of(sys.argv[1] if len(sys.argv) > 1 else None)
    way = data["plans"][0]
    design, label = way["design"], way["timing"]["label"]
    step = demo_job("hinge_yoke").with_suffix(".step")
    print(f"{len(design['stations'])} stations; ms, median of wall clock and of processor time")
    wall, _ = times(lambda: parts.read_part(step.name, step.read_bytes()), 3)
    print(f"a STEP file read in its own process, known to the cache: {wall:.0f}")
    desk = Desk(prepare(Job.model_validate(data["job"]), Shop.model_validate(data["shop"])))
    wall, used = times(lambda: desk.warm(design, {}), 1)
    print(f"made ready for changes: {wall:.0f} ({used:.0f})")
    name = design["stations"][0]["parts"][0]
    desk.quick(design, {}, name)

    def drag() -> None:
        design["stations"][0]["x"] += 0.1
        desk.quick(design, {}, name)

    wall, used = times(drag, 25)
    print(f"margins while dragging: {wall:.0f} ({used:.0f}), limit {DRAG_MS:.0f}")
    design["stations"][0]["x"] -= 2.5
    desk.check(design, {}, "plan 1", design["sets"], label)
    wall, used = times(lambda: desk.check(design, {}, "plan 1", design["sets"], label), 5)
    print(f"full check with new numbers and pictures: {wall:.0f} ({used:.0f}), limit {CHECK_MS:.0f}")
    wish = {"terms": {}, "locked": [name], "refit": True, "sides": {}}
    wall, used = times(lambda: desk.adapt(design, {}, wish), 1)
    print(f"best with one station locked: {wall:.0f} ({used:.0f})")
    wall, used = times(lambda: desk.adapt(design, {}, wish | {"terms": {"floors": {"cutter": 3.0}}}), 1)
    print(f"filled again with another margin: {wall:.0f} ({used:.0f})")
    print(f"memory of the warm process: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()
