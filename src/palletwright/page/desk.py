"""In a child that stays warm: a plan's part, shop and grips, so that a moved station is judged while it is dragged."""

from __future__ import annotations

import time
import traceback
from dataclasses import asdict, replace
from multiprocessing.connection import Connection
from typing import Any

from palletwright.errors import InputError
from palletwright.job.model import Job
from palletwright.page.near import grips_of, nearest, side_gaps, tasks_at
from palletwright.page.nearest_tool import drawn
from palletwright.page.numbers import money_today, with_numbers
from palletwright.plan.context import Context
from palletwright.plan.evaluate import all_pass, cycles_of, examine_design, margins_of, options_of, way
from palletwright.plan.model import Design
from palletwright.plan.options import Option
from palletwright.plan.overlap import off_side, overlaps
from palletwright.plan.pictures import packed, pictures
from palletwright.plan.planning import prepare
from palletwright.plan.record import design_from, plain
from palletwright.plan.scenes import scene_of, tasks_of
from palletwright.reach import Rasters, Task
from palletwright.reach import check as check_reach
from palletwright.shop.model import Shop
from palletwright.verdict import Margin

STALE = "This plan's grips aren't found again: program, shop or part changed since it was made. Plan the job again."
LOOK = 6.0
"""mm up to which the quick check measures; the full check looks farther."""
NEIGHBOURS = 1
"""Stations whose own tools are checked against the moved one while it is dragged."""


def run(pipe: Connection, job: dict[str, Any], shop: dict[str, Any]) -> None:
    """Answer (number, name, arguments) with (number, "done", answer) or (number, "failed", text), one by one."""
    desk: Desk | None = None
    while True:
        try:
            number, name, arguments = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            desk = desk or Desk(prepare(Job.model_validate(job), Shop.model_validate(shop)))
            pipe.send((number, "done", plain(getattr(desk, name)(*arguments))))
        except (InputError, LookupError, ValueError) as error:
            pipe.send((number, "failed", str(error)))
        except Exception as error:
            traceback.print_exc()
            pipe.send((number, "failed", f"{type(error).__name__}: {error}"))


class Desk:
    """The warm context, and the grips of the designs that were opened on it."""

    def __init__(self, context: Context) -> None:
        self.context = context

    def opened(self, data: dict[str, Any]) -> tuple[Design, dict[int, Option]]:
        design = design_from(data, "the page", "design")
        key = ("desk", design.machine, design.family, design.sequence, design.operations,
               tuple(sorted({(s.operation, s.mount) for s in design.stations})))  # fmt: skip
        try:
            return design, self.context.once(key, lambda: options_of(self.context, design))
        except (LookupError, StopIteration) as error:
            raise LookupError(f"{STALE} ({error})") from None

    def warm(self, data: dict[str, Any]) -> dict[str, Any]:
        """Grips found, kernels loaded, every body rastered once: from here on the quick check is quick."""
        design, chosen = self.opened(data)
        for cycle in cycles_of(design):
            self._reach(design, chosen, cycle, tasks_of(self.context, design, chosen, cycle), 0.0)
        return {"ready": True, "stages": self.context.stages}

    def _reach(self, design: Design, chosen: dict[int, Option], cycle: int, tasks: list[Task], look: float) -> Any:
        context = self.context
        rasters = context.once(("rasters",), Rasters)
        machine = context.machine(design.machine)
        scene = scene_of(context, design, chosen, cycle)
        return check_reach(scene, tasks, machine, context.shop.floors, look=look, rasters=rasters)

    def quick(self, data: dict[str, Any], name: str) -> dict[str, Any]:
        """The moved station and its nearest against everything; the gap to its neighbours, the edge of its side."""
        began = time.perf_counter()
        design, chosen = self.opened(data)
        module = next((s for s in design.stations if name in s.parts), None)
        if module is None:
            raise LookupError(f"station {name} isn't in the design")
        cycle = next(p.cycle for p in design.placings if p.mount == module.mount)
        near = nearest(design, module, NEIGHBOURS)
        watched = {*module.parts, *(n for s in near for n in s.parts)}
        tasks = tasks_at(self.context, design, chosen, cycle, watched)
        report = self._reach(design, chosen, cycle, tasks, LOOK)
        touching = [m for m in report.margins if _about(m, module.parts)]
        near_something = [m for m in touching if not m.passed or not m.obstacle.startswith("nothing within")]
        worst = sorted(near_something, key=lambda m: m.spare)[:3]
        gap, outside = side_gaps(self.context, design, chosen, module)
        passed = report.passed and outside < 1e-2 and (gap is None or gap["have"] > 0)
        took = (time.perf_counter() - began) * 1000
        return {"passed": passed, "worst": [_margin(m) for m in worst], "gap": gap, "outside_mm2": outside, "ms": took}

    def check(self, data: dict[str, Any], name: str, sets: int, label: str) -> dict[str, Any]:
        """Every check of the whole design; the way with all its numbers and pictures where all of them pass."""
        began = time.perf_counter()
        design, chosen = self.opened(data)
        failures = list(off_side(self.context, design, chosen))
        for cycle in cycles_of(design):
            failures += overlaps(self.context, design, chosen, cycle)
        examined = examine_design(self.context, design, chosen)
        short = [m for r in examined.reaches for m in r.margins if not m.passed]
        failures += [
            f"{m.check}: {m.subject} to {m.obstacle}: has {m.have:.2f}, needs {m.need:.2f} {m.unit}" for m in short
        ]
        made = None
        if not failures and all_pass(examined.reaches) and examined.parts and min(examined.parts) > 0:
            short = [m for m in margins_of(self.context, examined) if not m.passed]
            failures += [f"{m.check}: {m.subject}: has {m.have:.2f}, needs {m.need:.2f} {m.unit}" for m in short]
            if not short:
                found = way(self.context, examined, name, sets, label)
                made = asdict(replace(found, scene=pictures(self.context, design, chosen)))
                for margin in made["margins"]:
                    margin["passed"] = margin["have"] >= margin["need"]
        elif not failures:
            failures.append("no part leaves this cycle finished: an operation has no station")
        took = (time.perf_counter() - began) * 1000
        return {"passed": made is not None, "failures": list(dict.fromkeys(failures)), "way": made,
                "worst": [_margin(m) for m in sorted(short, key=lambda m: m.spare)[:8]], "ms": took}  # fmt: skip

    def grips(self, data: dict[str, Any]) -> list[dict[str, Any]]:
        """The other grips of each operation that hold as many parts a station; the one that is in use is marked."""
        design, chosen = self.opened(data)
        found = []
        for choice in design.operations:
            now = chosen[choice.clamping]
            rows = [
                {
                    "id": o.grip.id,
                    "kind": o.grip.kind,
                    "notes": list(o.grip.notes),
                    "holding": o.holding.holding_factor,
                    "seconds": sum(c.seconds for c in o.cuts),
                    "used": o.grip.id == now.grip.id,
                }
                for o in grips_of(self.context, design, choice)
                if o.parts == now.parts
            ]
            found.append({"operation": choice.number, "clamping": choice.clamping, "grips": rows})
        return found

    def what_if(self, data: dict[str, Any], label: str, said: dict[str, Any]) -> dict[str, Any]:
        """The money of a design and of today with other numbers: parts a year, sets, hourly rates, today's pace.

        Raises InputError where the job or the shop doesn't take them.
        """
        design, chosen = self.opened(data)
        changed = with_numbers(self.context, said)
        examined = self.context.once(("what if", repr(design)), lambda: examine_design(self.context, design, chosen))
        if not all_pass(examined.reaches):
            raise LookupError("this arrangement hasn't passed its checks")
        then = way(changed, examined, "what if", int(said.get("sets") or design.sets), label)
        keys = ("cost_per_part", "cost", "cost_range", "capital", "payback", "attended_minutes_per_part", "timing")
        return {"way": {k: asdict(then)[k] for k in keys} | {"name": "what if"}, "today": money_today(changed)}

    def as_cut(self, data: dict[str, Any]) -> dict[str, Any]:
        """Every part as its operation leaves it: mesh keys by body, and the meshes."""
        design, chosen = self.opened(data)
        machine = self.context.machine(design.machine)
        meshes: dict[str, Any] = {}
        after: dict[str, str] = {}
        for station in design.stations:
            _, mesh = self.context.in_process(machine, design.family, design.sequence, station.operation)
            for place, name in enumerate(station.parts):
                pose = chosen[station.operation].grip.poses[place]
                key = ("as cut", mesh.key, pose.tobytes())
                moved = self.context.once(key, lambda m=mesh, p=pose: m.moved(p))  # type: ignore[misc]
                if moved.key not in meshes:
                    meshes[moved.key] = packed(moved)
                after[f"{name}/part"] = moved.key
        return {"after": after, "meshes": meshes}

    def dimension(self, data: dict[str, Any], margin: dict[str, Any]) -> dict[str, Any]:
        """The tool of a margin at the tip where it stands nearest, and the line between it and the obstacle."""
        design, chosen = self.opened(data)
        return drawn(self.context, design, chosen, margin)


def _about(m: Margin, parts: tuple[str, ...]) -> bool:
    return m.subject.partition(" ")[0] in parts or m.obstacle.partition("/")[0] in parts


def _margin(m: Margin) -> dict[str, Any]:
    return asdict(m) | {"passed": m.passed}
