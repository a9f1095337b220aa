"""A saved or edited plan checked again: every margin recomputed from the part, the shop and the stations."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from palletwright.errors import Fault, InputError
from palletwright.job.model import Job
from palletwright.plan.context import Context
from palletwright.plan.evaluate import all_pass, cycles_of, examine_design, margins_of, options_of, way
from palletwright.plan.model import Design
from palletwright.plan.overlap import off_side, overlaps
from palletwright.plan.planning import prepare
from palletwright.plan.record import design_from, plain
from palletwright.shop.model import Shop

COMPARED = (
    "parts_per_start",
    "spindle_minutes_per_part",
    "cost_per_part",
    "least_clearance_mm",
    "least_holding_factor",
)
TOLERANCE = 1e-6


@dataclass(frozen=True)
class Checked:
    """One way checked again: what fails, and which saved numbers differ."""

    name: str
    passed: bool
    failures: tuple[str, ...]
    differs: tuple[str, ...]


def check(data: dict[str, Any], file: str, folder: Path, only: int | None = None) -> tuple[Checked, ...]:
    """Recompute every way of a saved plan.

    Raises InputError when the plan's job, shop or part can't be used any more.
    """
    try:
        shop, job = Shop.model_validate(data["shop"]), Job.model_validate(data["job"])
    except (KeyError, ValueError) as error:
        raise InputError([Fault(file, "shop or job", "", f"can't be read: {error}")]) from error
    if not job.part.is_absolute():
        job = job.model_copy(update={"part": folder / job.part})
    context = prepare(job, shop)
    rows = []
    for i, saved in enumerate(data["plans"]):
        if only is None or i == only:
            rows.append(_one(context, saved, file, f"plans[{i}]"))
    return tuple(rows)


def _one(context: Context, saved: dict[str, Any], file: str, key: str) -> Checked:
    if saved.get("design") is None:
        return Checked(saved.get("name", key), False, ("has no design to check",), ())
    design = design_from(saved["design"], file, f"{key}.design")
    try:
        chosen = options_of(context, design)
    except (LookupError, StopIteration) as error:
        return Checked(saved["name"], False, (str(error) or "names a machine that the shop doesn't have",), ())
    failures = [*names_twice(design), *off_side(context, design, chosen)]
    examined = examine_design(context, design, chosen)
    for report in examined.reaches:
        failures += [
            f"{m.check}: {m.subject} to {m.obstacle}: needs {m.need:.2f}, has {m.have:.2f} {m.unit}"
            for m in report.margins
            if not m.passed
        ]
        failures += [f"{a} and {b} are in each other's way" for a, b in report.conflicts]
    for cycle in cycles_of(design):
        failures += overlaps(context, design, chosen, cycle)
    if not all_pass(examined.reaches):
        return Checked(saved["name"], False, tuple(dict.fromkeys(failures)), ())
    again = way(context, examined, saved["name"], design.sets, "")
    failures += [
        f"{m.check}: {m.subject}: needs {m.need:.2f}, has {m.have:.2f} {m.unit}"
        for m in margins_of(context, examined)
        if not m.passed
    ]
    differs = [
        f"{name}: saved {saved[name]}, now {plain(getattr(again, name))}"
        for name in COMPARED
        if not _same(saved[name], plain(getattr(again, name)))
    ]
    return Checked(saved["name"], not failures, tuple(dict.fromkeys(failures)), tuple(differs))


def names_twice(design: Design) -> list[str]:
    """Parts that are named at more than one station."""
    names = [n for s in design.stations for n in s.parts]
    return [f"station {n} is there twice" for n in sorted({n for n in names if names.count(n) > 1})]


def _same(a: float | None, b: float | None) -> bool:
    if a is None or b is None:
        return a is b
    return abs(a - b) <= TOLERANCE * max(1.0, abs(a), abs(b))
