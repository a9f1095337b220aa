"""A plan as plain data: what is proposed, with every number that was checked, and what was turned down."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

from palletwright.verdict import Margin, Reason, Vec

Family = Literal["fixed", "rotary"]
CarrierKind = Literal["plate", "pallet", "vise"]


@dataclass(frozen=True, slots=True)
class OperationChoice:
    """One operation: the clamping (`clamping` of `sequence` in access's `family` list), how the part sits, its grip."""

    number: int
    clamping: int
    up: Vec
    carrier_kind: CarrierKind
    grip: str
    axis: Vec | None = None


@dataclass(frozen=True, slots=True)
class Placing:
    """One carrier in the machine. `at` is where its origin stands on the table (mm, machine frame).
    `cycle` counts the cycles that a part passes through, one for a design with every operation in it; `split` is
    into how many equal fields the one side of a plate is shared."""

    mount: str
    kind: CarrierKind
    carrier: str
    sides: int
    apothem: float | None
    at: tuple[float, float]
    turn: int = 0
    cycle: int = 0
    split: int = 1


@dataclass(frozen=True, slots=True)
class StationAt:
    """One module on a side: the names of the parts that it holds, x, y (mm, side frame), quarter turns."""

    parts: tuple[str, ...]
    operation: int
    mount: str
    side: str
    x: float
    y: float
    turn: int


@dataclass(frozen=True)
class Design:
    """Everything that decides a way of running the part; the rest follows from it by computation."""

    machine: str
    family: Family
    sequence: int
    operations: tuple[OperationChoice, ...]
    placings: tuple[Placing, ...]
    stations: tuple[StationAt, ...]
    sets: int


@dataclass(frozen=True)
class Way:
    """One way to make the part, with its numbers. What isn't known is None and has a reason."""

    name: str
    design: Design | None
    parts_per_start: float | None
    starts_per_part: float | None
    spindle_minutes_per_part: float | None
    attended_minutes_per_part: float | None
    unattended_minutes: float | None
    cost_per_part: float | None
    least_clearance_mm: float | None
    least_holding_factor: float | None
    operations: tuple[dict[str, Any], ...]
    margins: tuple[Margin, ...] = ()
    reasons: tuple[Reason, ...] = ()
    capital: float = 0.0
    payback: dict[str, Any] | None = None
    timing: dict[str, Any] | None = None
    cost: dict[str, Any] | None = None
    cost_range: tuple[float, float] | None = None
    cycle: dict[str, Any] | None = None
    packing: tuple[dict[str, Any], ...] = ()
    bill: tuple[tuple[str, float], ...] = ()
    scene: dict[str, Any] | None = None
    feasible: bool = True
    flow: dict[str, Any] | None = None
    kept: dict[str, Any] | None = None


@dataclass(frozen=True)
class TurnedDown:
    """An arrangement that was not offered: what stopped it, by how much."""

    arrangement: str
    stopped_by: str
    amount: float | None = None
    unit: str = ""


@dataclass(frozen=True)
class OneMore:
    """A change that would allow more parts, planned again with it."""

    change: str
    parts_per_start: int | None
    before: int
    verified: bool
    note: str = ""


@dataclass(frozen=True)
class Plan:
    """The whole answer for one job."""

    title: str
    makeable: bool
    part: dict[str, Any]
    job: dict[str, Any]
    shop: dict[str, Any]
    today: Way
    plans: tuple[Way, ...]
    left_over: tuple[dict[str, Any], ...]
    turned_down: tuple[TurnedDown, ...]
    one_more: tuple[OneMore, ...]
    assumptions: tuple[str, ...]
    access: dict[str, Any]
    seed: int
    stopped_early: bool
    versions: dict[str, str]
    seconds: float
    stages: dict[str, float] = field(default_factory=dict)
    identity: str = ""
