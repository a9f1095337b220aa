"""What is asked: the part, its blank, what the drawing says beyond the solid, demand, and how it is made today."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from palletwright.shop.base import Model, Name, Positive, Problem
from palletwright.units import Length, Money
from palletwright.verdict import Vec

Point = tuple[Length, Length, Length]


def _unit(vector: Vec) -> Vec:
    size = math.hypot(*vector)
    if not math.isfinite(size) or size < 1e-9:
        raise ValueError("points nowhere; allowed is three finite numbers, not all 0")
    return (vector[0] / size, vector[1] / size, vector[2] / size)


Direction = Annotated[Vec, AfterValidator(_unit)]
"""A direction from the part towards the spindle in the part file's frame; any length, kept as a unit vector."""


class Blank(Model):
    """What the part is cut from. `file` is a STEP of the blank's own; else a block or bar with allowances.

    `allowance` is mm to remove on each sawn or bar face (sawn 1.5 to 2, bar 1); `tolerance` the ± of its size;
    `size` the blank's own size along the part file's x, y, z where the engineer knows it.
    """

    kind: Literal["block", "round", "file", "finished"] = "block"
    file: Path | None = None
    size: tuple[Positive, Positive, Positive] | None = None
    allowance: Length = Field(default=1.5, ge=0)
    grip_stock: Length = Field(default=0.0, ge=0)
    tolerance: Length = Field(default=0.5, ge=0)
    price: Money | None = None
    saw_kerf: Length = Field(default=2.5, ge=0)

    def problems(self) -> Iterator[Problem]:
        if self.kind == "file" and self.file is None:
            yield "file", "is missing: a blank of kind 'file' needs it", "path of a STEP file"
        if self.kind != "file" and self.file is not None:
            yield "kind", "doesn't go with a file", "'file'"


class DrawingFact(Model):
    """One fact of the drawing that the solid lacks, at a feature id or a face at a point."""

    at: str | Point
    kind: Literal["datum", "tolerance", "fit", "finish", "thread", "edge", "no_mark", "not_threaded"]
    value: str = ""
    to: str | None = None


class KnownOperation(Model):
    """An operation that the engineer fixes: its directions (towards the spindle, part frame), measured time, and the
    single-part program that the shop has for it, with the program's zero and X axis in the part file's frame."""

    directions: tuple[Direction, ...] = Field(min_length=1)
    features: tuple[str, ...] = ()
    cutting_seconds: float | None = Field(default=None, gt=0)
    program: Path | None = Field(default=None, description="word-address program that cuts one part in this operation")
    program_zero: Point = Field(default=(0.0, 0.0, 0.0), description="the program's work zero")
    program_x: Direction = Field(default=(1.0, 0.0, 0.0), description="the program's X axis")


class TodayStep(Model):
    """One step of the present way."""

    operation: Name
    parts_per_start: int = Field(ge=1)
    cycle_seconds: float = Field(gt=0)
    load_seconds: float = Field(gt=0, description="s per start, to unload and load")
    attended: bool = True
    machine: str | None = None
    setup_hours: float = Field(default=1.0, ge=0)
    scrap: float = Field(default=0.01, ge=0, lt=1)
    measured: bool = Field(default=False, description="times read off a watch or a program, not told from memory")


class Override(Model):
    """What the engineer knows about one feature."""

    feature: Name
    tool: int | None = None
    seconds: float | None = Field(default=None, gt=0)
    direction: Direction | None = None
    in_cycle: bool = True


class HeldBy(Model):
    """The clamps that may hold an operation: the one in which `feature` is cut. Stops are still chosen freely."""

    feature: Name
    clamps: tuple[Name, ...] = Field(min_length=1)


class Job(Model):
    """The least job is a STEP file, a material and a quantity; all else has a default."""

    name: str = ""
    part: Path
    solid: int | None = Field(default=None, ge=1, description="which solid of the file, counted from 1")
    material: Name
    per_year: int = Field(gt=0)
    batch: int | None = Field(default=None, gt=0)
    blank: Blank = Blank()
    facts: tuple[DrawingFact, ...] = ()
    operations: tuple[KnownOperation, ...] = ()
    overrides: tuple[Override, ...] = ()
    together: tuple[tuple[str, ...], ...] = ()
    today: tuple[TodayStep, ...] = ()
    allow_left_over: bool = True
    machines: tuple[str, ...] = Field(default=(), description="ids of the machines that may be used; empty: all")
    greatest_sets: int = Field(default=2, ge=1, le=4)
    parts_at_risk: int | None = Field(default=None, ge=1)
    seed: int = 1
    effort: int = Field(default=1, ge=1, le=10)
    shop: Path | None = Field(default=None, description="the shop's TOML file; none: the example shop")
    station_seconds: float | None = Field(
        default=None, gt=0, description="s, measured, to unload and load one station of this part"
    )
    trace: Literal["none", "tray", "part"] = Field(
        default="none", description="what is marked with station, set and cycle when parts come off"
    )
    order: Literal["free", "heavy first", "one part first"] = Field(
        default="free", description="an order that the cycle must keep"
    )
    least_gain: float = Field(
        default=0.01, gt=0, lt=1, description="fraction of the minutes per part that one part more must gain"
    )
    held_by: tuple[HeldBy, ...] = Field(default=(), description="clamps that an operation is limited to")

    def problems(self) -> Iterator[Problem]:
        counts = Counter(o.feature for o in self.overrides)
        for at, override in enumerate(self.overrides):
            if counts[override.feature] > 1:
                yield f"overrides.{at}.feature", f"{override.feature!r} stands here more than once", "each feature once"
