"""What flow answers: how sets, people and money work out for one way of making the part."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from palletwright.flow.loading import Handling
from palletwright.verdict import Reason


@dataclass(frozen=True, slots=True)
class StationLoad:
    """What the operator does at the stations of one operation in one start.

    Without `handling` a station takes the shop's `station_seconds` and its screws `seconds_per_screw` each; with it
    the time is measured or built from motion-time elements.
    """

    operation: int
    stations: int
    screws: int
    seconds_per_screw: float
    handling: Handling | None = None


@dataclass(frozen=True, slots=True)
class Timing:
    """One start and what it means per part. Minutes unless the name says otherwise.

    `start_seconds` from press of start to press of start; `attended_minutes` and `unattended_minutes` of it.
    `load_basis` says what the loading time rests on. `spindle_waits_seconds` is how long a start the spindle stands,
    swap included; `set_waits_seconds` how long the loaded set waits for the spindle.
    """

    sets: int
    machine_seconds: float
    load_seconds: float
    swap_seconds: float
    start_seconds: float
    parts_per_start: float
    attended_minutes: float
    unattended_minutes: float
    spindle_minutes_per_part: float
    attended_minutes_per_part: float
    waits_for: str
    load_basis: str = ""
    spindle_waits_seconds: float = 0.0
    set_waits_seconds: float = 0.0


@dataclass(frozen=True)
class Cost:
    """Money per part by kind, and for the whole year; capital once."""

    material: float
    machine: float
    labour: float
    tools: float
    fixture: float
    setup: float
    bench: float
    scrap: float
    capital: float
    per_year: int
    wash: float = 0.0
    inspection: float = 0.0

    @property
    def kinds(self) -> dict[str, float]:
        """Money per part by kind, in the order of a cost stack."""
        names = ("material", "machine", "labour", "tools", "fixture", "setup", "bench", "wash", "inspection", "scrap")
        return {name: getattr(self, name) for name in names}

    @property
    def per_part(self) -> float:
        """The sum of the kinds."""
        return math.fsum(self.kinds.values())

    @property
    def running(self) -> float:
        """Per part without the fixture's own share: what payback compares."""
        return self.per_part - self.fixture


@dataclass(frozen=True)
class Payback:
    """Months until the capital is back, with a range (10 % and 90 %) from the spread of the inputs. None: never.

    `months` counts freed machine hours as far as `hours_worth` says; `months_without_hours` counts none of them.
    `npv_range` goes with `npv`, `saving_range` with `saving_per_year`; `matters_most` are
    inputs with the rank correlation of each with the yearly saving after the capital's yearly share.
    `machine_hours_share` is the fraction of today's machine hours that is freed.
    """

    months: float | None
    low: float | None
    high: float | None
    saving_per_year: float
    npv: float
    break_even_parts: float | None
    chance_within_limit: float
    matters_most: tuple[tuple[str, float], ...]
    machine_hours_freed: float
    months_without_hours: float | None = None
    hours_worth: float = 1.0
    npv_range: tuple[float, float] = (0.0, 0.0)
    saving_range: tuple[float, float] = (0.0, 0.0)
    machine_hours_share: float | None = None


@dataclass(frozen=True)
class Flow:
    """Timing, cost, payback and how the piles behave."""

    timing: Timing
    cost: Cost
    payback: Payback | None
    work_in_process: int
    startup_starts: int
    pile_per_start: tuple[tuple[int, int], ...] = ()
    cost_range: tuple[float, float] = (0.0, 0.0)
    reasons: tuple[Reason, ...] = ()
    bill: tuple[tuple[str, float], ...] = field(default=())
