"""One cycle: visits in order, and where the time goes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from palletwright.verdict import Reason, Vec

Basis = Literal["geometry", "measured", "program"]
"""Where a cutting time comes from: worked out from the geometry, told by the shop, or read from its program."""


@dataclass(frozen=True, slots=True)
class Visit:
    """One cut at one station: where it starts and ends in the machine frame (rotary at `angle`, degrees).

    `lowest`: mm, machine frame, the deepest that its tip goes; None: not known. `basis`: where `cut_seconds` comes
    from.
    """

    id: str
    tool: int
    mount: str
    angle: float
    station: str
    feature: str
    stage: str
    operation: int
    start: Vec
    end: Vec
    cut_seconds: float
    after: tuple[str, ...] = ()
    lowest: float | None = None
    basis: Basis = "geometry"


Crossing = tuple[str, float, int]
"""Mount, angle (degrees, 0 to 360) and tool: what one clear height holds for."""


def crossing(visit: Visit) -> Crossing:
    """The group of visits between which a tool goes across at one height."""
    return visit.mount, round(visit.angle % 360.0, 6), visit.tool


@dataclass(frozen=True, slots=True)
class Event:
    """One stretch of the cycle: `what` is cut, rapid, tool change, index, ... ; times in s from the start."""

    start: float
    seconds: float
    what: Literal["cut", "rapid", "tool change", "index", "probe", "other"]
    tool: int
    angle: float
    station: str
    note: str = ""


@dataclass(frozen=True)
class Cycle:
    """Order and time. `bound` is never above the least possible seconds; `tool_runs` with its own bound."""

    order: tuple[str, ...]
    events: tuple[Event, ...]
    seconds: float
    bound: float
    tool_runs: int
    least_tool_runs: int
    by_kind: dict[str, float] = field(default_factory=dict)
    alternatives: tuple[tuple[str, float], ...] = ()
    reasons: tuple[Reason, ...] = ()
