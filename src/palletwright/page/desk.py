"""In a child that stays warm: a plan's part, shop and grips, so that a moved station is judged while it is dragged."""

from __future__ import annotations

import json
import time
import traceback
from dataclasses import asdict, replace
from multiprocessing.connection import Connection
from typing import Any

from palletwright.errors import InputError
from palletwright.job.model import Job
from palletwright.page.changing import adapted, choices
from palletwright.page.held import held_by_cut
from palletwright.page.near import nearest, side_gaps, tasks_at
from palletwright.page.nearest_tool import tool_at
from palletwright.page.terms import job_with, shop_with, terms_of
from palletwright.plan.checkup import names_twice
from palletwright.plan.context import Context
from palletwright.plan.evaluate import Examined, all_pass, cycles_of, examine_design, margins_of, options_of, way
from palletwright.plan.kept import keep
from palletwright.plan.model import Design
from palletwright.plan.options import Option
from palletwright.plan.overlap import off_side, overlaps
from palletwright.plan.pictures import packed, pictures, sides_in_plan
from palletwright.plan.planning import prepare
from palletwright.plan.record import design_from, plain
from palletwright.plan.scenes import scene_of, tasks_of
from palletwright.plan.today import today
from palletwright.reach import Rasters, Task
from palletwright.reach import check as check_reach
from palletwright.reach.model import ReachReport
from palletwright.shop.model import Shop
from palletwright.verdict import Margin

STALE = "This plan's grips aren't found again: program, shop or part changed since it was made. Plan the job again."
LOOK = 6.0
"""mm up to which the quick check measures; the full check looks farther."""
NEIGHBOURS = 1
"""Stations whose own tools are checked against the moved one while it is dragged."""
KEPT = 2
"""Sets of other terms that stay warm beside the plan's own."""
MONEY = ("cost_per_part", "cost", "cost_range", "capital", "payback", "attended_minutes_per_part", "timing")
"""What of a way other numbers of the office change."""
GROUND = ("rasters", "access", "variants", "in-process")
"""Kinds of the run's memory on which clamps have no bearing."""


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
            pipe.send((number, "failed", str(error).strip("'\"")))
        except Exception as error:
            traceback.print_exc()
            pipe.send((number, "failed", f"{type(error).__name__}: {error}"))


class Desk:
    """The warm context of the plan, and of the terms that were asked for last."""

    def __init__(self, context: Context) -> None:
        self.planned = context
        self.job, self.shop = context.job.model_dump(mode="json"), context.shop.model_dump(mode="json")
        self.others: dict[str, Context] = {}

    def under(self, said: Any) -> Context:
        """The context under terms; what they don't touch is taken over from the plan's own.

        Raises InputError where job or shop don't allow them.
        """
        terms = terms_of(said)
        if not terms.said:
            return self.planned
        geometry = json.dumps(terms.geometry, sort_keys=True)
        if terms.geometry and geometry not in self.others:
            while len(self.others) >= KEPT:
                del self.others[next(iter(self.others))]
            untouched = GROUND if set(terms.geometry) == {"held_by"} else ("rasters",)
            self.planned.once(("rasters",), Rasters)
            memo = {k: v for k, v in self.planned.memo.items() if k[0] in untouched}
            self.others[geometry] = replace(self.planned, memo=memo, stages={})
        base = self.others[geometry] if terms.geometry else self.planned
        return replace(base, job=job_with(self.job, terms), shop=shop_with(self.shop, terms))

    def opened(self, data: dict[str, Any], said: Any = None) -> tuple[Context, Design, dict[int, Option]]:
        """The context under terms, the design, and the grip of each operation.

        Raises LookupError where a grip isn't found again.
        """
        context, design = self.under(said), design_from(data, "the page", "design")
        key = ("desk", design.machine, design.family, design.sequence, design.operations,
               tuple(sorted({(s.operation, s.mount) for s in design.stations})))  # fmt: skip
        try:
            return context, design, context.once(key, lambda: options_of(context, design))
        except (LookupError, StopIteration) as error:
            raise LookupError(f"{STALE} ({error})") from None

    def warm(self, data: dict[str, Any], said: Any) -> dict[str, Any]:
        """Grips found, kernels loaded, every body rastered once: from here on the quick check is quick."""
        context, design, chosen = self.opened(data, said)
        for cycle in cycles_of(design):
            _reach(context, design, chosen, cycle, tasks_of(context, design, chosen, cycle), 0.0)
        return {"ready": True, "stages": context.stages}

    def choices(self, data: dict[str, Any], said: Any) -> dict[str, Any]:
        """Grips, clamps, sides, tools and margins that may be chosen."""
        return choices(*self.opened(data, said))

    def adapt(self, data: dict[str, Any], said: Any, wish: dict[str, Any]) -> dict[str, Any]:
        """The design after a wish: other terms, another number of sides, or filled again around what is locked."""
        context, design, chosen = self.opened(data, said)
        new = context if terms_of(said) == terms_of(wish["terms"]) else self.under(wish["terms"])
        return adapted(context, new, design, chosen, wish)

    def quick(self, data: dict[str, Any], said: Any, name: str) -> dict[str, Any]:
        """The moved station and its nearest against everything; the gap to its neighbours, the edge of its side."""
        began = time.perf_counter()
        context, design, chosen = self.opened(data, said)
        module = next((s for s in design.stations if name in s.parts), None)
        if module is None:
            raise LookupError(f"station {name} isn't in the design")
        cycle = next(p.cycle for p in design.placings if p.mount == module.mount)
        near = nearest(design, module, NEIGHBOURS)
        watched = {*module.parts, *(n for s in near for n in s.parts)}
        tasks = tasks_at(context, design, chosen, cycle, watched)
        report = _reach(context, design, chosen, cycle, tasks, LOOK)
        touching = [m for m in report.margins if _about(m, module.parts)]
        near_something = [m for m in touching if not m.passed or not m.obstacle.startswith("nothing within")]
        worst = sorted(near_something, key=lambda m: m.spare)[:3]
        gap, outside = side_gaps(context, design, chosen, module)
        passed = report.passed and outside < 1e-2 and (gap is None or gap["have"] > 0)
        took = (time.perf_counter() - began) * 1000
        return {"passed": passed, "worst": [_margin(m) for m in worst], "gap": gap, "outside_mm2": outside, "ms": took}

    def check(self, data: dict[str, Any], said: Any, name: str, sets: int, label: str) -> dict[str, Any]:
        """Every check of the whole design; the way with all its numbers and pictures where all of them pass."""
        began = time.perf_counter()
        context, design, chosen = self.opened(data, said)
        failures = [*names_twice(design), *off_side(context, design, chosen)]
        for cycle in cycles_of(design):
            failures += overlaps(context, design, chosen, cycle)
        examined = examine_design(context, design, chosen)
        short = [m for r in examined.reaches for m in r.margins if not m.passed]
        failures += [
            f"{m.check}: {m.subject} to {m.obstacle}: has {m.have:.2f}, needs {m.need:.2f} {m.unit}" for m in short
        ]
        made = None
        if not failures and all_pass(examined.reaches) and examined.parts and min(examined.parts) > 0:
            short = [m for m in margins_of(context, examined) if not m.passed]
            failures += [f"{m.check}: {m.subject}: has {m.have:.2f}, needs {m.need:.2f} {m.unit}" for m in short]
            made = None if short else _way(context, examined, name, sets, label, bool(terms_of(said).said))
        elif not failures:
            failures.append("no part leaves this cycle finished: an operation has no station")
        took = (time.perf_counter() - began) * 1000
        sides = [] if made else [sides_in_plan(context, design, chosen, c) for c in cycles_of(design)]
        return {"passed": made is not None, "failures": list(dict.fromkeys(failures)), "way": made, "sides": sides,
                "worst": [_margin(m) for m in sorted(short, key=lambda m: m.spare)[:8]], "ms": took}  # fmt: skip

    def what_if(self, data: dict[str, Any], said: Any, label: str, sets: int | None, more: Any) -> dict[str, Any]:
        """The money of a design and of today with other numbers: sets, parts a year, rates, steps of today.

        Raises InputError where the job or the shop doesn't take them, LookupError where the design doesn't pass.
        """
        context, design, chosen = self.opened(data, said)
        changed = self.under({**terms_of(said).said, **more})
        examined = context.once(("what if", repr(design)), lambda: examine_design(context, design, chosen))
        if not all_pass(examined.reaches):
            raise LookupError("this arrangement hasn't passed its checks")
        then = way(changed, examined, "what if", sets or design.sets, label)
        now = today(changed, then.cost["tools"] if then.cost else None)
        return {"way": {k: asdict(then)[k] for k in MONEY} | {"name": "what if"},
                "today": {k: asdict(now)[k] for k in (*MONEY, "name")}}  # fmt: skip

    def drawn(self, data: dict[str, Any], said: Any) -> dict[str, Any]:
        """Design and pictures of a way, whether or not it passes."""
        context, design, chosen = self.opened(data, said)
        return {"design": asdict(design), "scene": pictures(context, design, chosen)}

    def held(self, data: dict[str, Any], said: Any) -> list[dict[str, Any]]:
        """Holding of every cut by itself, weakest first: the factor, the floor, where it is worst and what gives."""
        return held_by_cut(*self.opened(data, said))

    def as_cut(self, data: dict[str, Any], said: Any) -> dict[str, Any]:
        """Every part as its operation leaves it: mesh keys by body, and the meshes."""
        context, design, chosen = self.opened(data, said)
        machine = context.machine(design.machine)
        meshes: dict[str, Any] = {}
        after: dict[str, str] = {}
        for station in design.stations:
            _, mesh = context.in_process(machine, design.family, design.sequence, station.operation)
            for place, name in enumerate(station.parts):
                pose = chosen[station.operation].grip.poses[place]
                key = ("as cut", mesh.key, pose.tobytes())
                moved = context.once(key, lambda m=mesh, p=pose: m.moved(p))  # type: ignore[misc]
                if moved.key not in meshes:
                    meshes[moved.key] = packed(moved)
                after[f"{name}/part"] = moved.key
        return {"after": after, "meshes": meshes}

    def dimension(self, data: dict[str, Any], said: Any, margin: dict[str, Any]) -> dict[str, Any]:
        """The tool of a margin at the tip where it stands nearest, and the line between it and the obstacle."""
        context, design, chosen = self.opened(data, said)
        return tool_at(context, design, chosen, margin)


def _way(context: Context, examined: Examined, name: str, sets: int, label: str, other: bool) -> dict[str, Any]:
    """A way that passed as plain data with its pictures; under `other` terms with today's numbers as they are then."""
    found = way(context, examined, name, sets, label)
    design, chosen = examined.design, examined.options
    made = asdict(replace(found, scene=pictures(context, design, chosen), kept=keep(context, design, chosen)))
    for margin in made["margins"]:
        margin["passed"] = margin["have"] >= margin["need"]
    return made | ({"today": asdict(today(context, found.cost["tools"] if found.cost else None))} if other else {})


def _reach(
    context: Context, design: Design, chosen: dict[int, Option], cycle: int, tasks: list[Task], look: float
) -> ReachReport:
    rasters = context.once(("rasters",), Rasters)
    machine = context.machine(design.machine)
    scene = scene_of(context, design, chosen, cycle)
    return check_reach(scene, tasks, machine, context.shop.floors, look=look, rasters=rasters)


def _about(m: Margin, parts: tuple[str, ...]) -> bool:
    return m.subject.partition(" ")[0] in parts or m.obstacle.partition("/")[0] in parts


def _margin(m: Margin) -> dict[str, Any]:
    return asdict(m) | {"passed": m.passed}
