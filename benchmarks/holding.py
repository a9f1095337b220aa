"""Seconds to certify one grip and a plan of eight of them; ten cuts each with rough milling, drilling and tapping.

With the plan.json of the example as argument (`palletwright demo --out FOLDER` writes it) also the whole holding of its
first way: all stations, tools and loads, both verdicts with certificates, what to set, places, give, the chain.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from palletwright.cutting.model import Load
from palletwright.grip.model import Contact, Grip
from palletwright.holding import StationCut, certify
from palletwright.shop.model import Floors

LOW, USUAL = 0.10, 0.15


def block_grip(regime: str, side: float, down: float) -> Grip:
    """A block 100 × 80 × 50 on three rests, two side stops, one end stop, with four clamps (N)."""
    places = [
        ("locator", (10, 10, 0), (0, 0, 1), 0.0),
        ("locator", (90, 10, 0), (0, 0, 1), 0.0),
        ("locator", (50, 70, 0), (0, 0, 1), 0.0),
        ("locator", (20, 0, 25), (0, 1, 0), 0.0),
        ("locator", (80, 0, 25), (0, 1, 0), 0.0),
        ("locator", (0, 40, 25), (1, 0, 0), 0.0),
        ("clamp", (50, 80, 25), (0, -1, 0), side),
        ("clamp", (100, 40, 25), (-1, 0, 0), side),
        ("clamp", (30, 40, 50), (0, 0, -1), down),
        ("clamp", (70, 40, 50), (0, 0, -1), down),
    ]
    contacts = tuple(
        Contact(f"{k[0].upper()}{i}", k, at, n, (LOW, USUAL), preload=p)  # type: ignore[arg-type]
        for i, (k, at, n, p) in enumerate(places)
    )
    return Grip("block", "edge", np.eye(4)[None], contacts, (), regime, 4, 0.0, 0.0)  # type: ignore[arg-type]


def ten_cuts(scale: float = 1.0) -> Sequence[StationCut]:
    """Two roughing, one facing, two finishing, three drills, a reamer and a tap; from above and from one side."""
    up, side = (0.0, 0.0, 1.0), (0.0, 1.0, 0.0)
    field = np.array([(x, y, z) for x in (10, 90) for y in (10, 70) for z in (40, 50)], dtype=float)
    wall = np.array([(x, 80.0, z) for x in (15, 85) for z in (10, 40)], dtype=float)
    hole = np.array([[30.0, 30.0, 5.0], [30.0, 30.0, 50.0]])
    mill = Load(700 * scale, 100 * scale, 260 * scale, 5.0 * scale, 0.15, "benchmark")
    light = Load(150 * scale, 30 * scale, 60 * scale, 1.0 * scale, 0.15, "benchmark")
    drill = Load(120 * scale, 1200 * scale, 480 * scale, 6.0 * scale, 0.15, "benchmark")
    tap = Load(0.0, 240 * scale, 240 * scale, 10 * scale, 0.15, "benchmark")
    rows = [("rough 1", field, up, mill), ("rough 2", field * (1, 1, 0.8), up, mill), ("face", field, up, light)]
    rows += [("finish 1", field, up, light), ("finish 2", wall, side, light)]
    rows += [(f"drill {i}", np.add(hole, (12.0 * i, 6.0 * i, 0.0)), up, drill) for i in range(3)]
    rows += [("ream", hole, up, light), ("tap", hole, up, tap)]
    return [StationCut(*row) for row in rows]


def main() -> None:
    floors = Floors()
    for regime, clamping in (("stop", (6000.0, 4000.0)), ("friction", (6000.0, 4000.0))):
        grip = block_grip(regime, *clamping)
        start = time.process_time()
        report = certify(grip, ten_cuts(0.5), mass_kg=1.1, floors=floors)
        once = time.process_time() - start
        start = time.process_time()
        for _ in range(8):
            certify(grip, ten_cuts(0.5), mass_kg=1.1, floors=floors)
        print(
            f"{regime}: {report.certificate['loads']} loads, factor {report.holding_factor:.3f} "
            f"(friction {report.friction_factor:.3f}, elastic {report.elastic_factor:.3f}), "
            f"one grip {once:.2f} s, eight {time.process_time() - start:.2f} s; {report.gives_first}"
        )


def whole_plan(path: Path) -> None:
    """Print the seconds of one core that a saved plan's first way takes, cold and again."""
    from palletwright.job.model import Job
    from palletwright.plan.evaluate import Examined, options_of, parts_per_cycle, with_holding
    from palletwright.plan.planning import prepare
    from palletwright.plan.record import design_from
    from palletwright.shop.model import Shop

    data = json.loads(path.read_text(encoding="utf-8"))
    context = prepare(Job.model_validate(data["job"]), Shop.model_validate(data["shop"]))
    design = design_from(data["plans"][0]["design"], str(path), "plans[0].design")
    chosen = options_of(context, design)
    seen = Examined(design, chosen, (), (), (), parts_per_cycle(design))
    for label in ("kernels and libraries loaded on the way", "again"):
        for key in [k for k in context.memo if k[0] in ("proof", "walls", "loose", "toleranced")]:
            del context.memo[key]
        start = time.process_time()
        got = with_holding(context, seen)
        seconds = time.process_time() - start
        loads = sum(int(str(p.report.certificate["loads"])) for p in got.proofs.values())
        cuts = sum(len(chosen[s.operation].cuts) * len(s.parts) for s in design.stations)
        print(
            f"plan of {sum(len(s.parts) for s in design.stations)} stations, {cuts} cuts, {loads} loads after the "
            f"covered cuts are left out, {len(got.held)} margins: {seconds:.2f} s ({label})"
        )


if __name__ == "__main__":
    main()
    for name in sys.argv[1:]:
        whole_plan(Path(name))
