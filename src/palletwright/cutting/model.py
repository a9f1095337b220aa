"""One cut: what a tool does to one feature in one direction, under which conditions, with what load."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from palletwright.verdict import Vec

Stage = Literal["face", "rough", "finish", "spot", "drill", "ream", "tap", "counterbore", "countersink", "chamfer"]


@dataclass(frozen=True, slots=True)
class Conditions:
    """Spindle speed (rev/min), feed rate (mm/min), feed per tooth or per rev (mm), depth and width of cut (mm),
    power at the spindle (kW) and what limits it ('tool data', 'power', 'torque', 'speed')."""

    rpm: float
    feed: float
    per_tooth: float
    ap: float
    ae: float
    power_kw: float
    limited_by: str = "tool data"


@dataclass(frozen=True, slots=True)
class Load:
    """Greatest cutting load of one cut, in the cut's own directions.

    `side` N is the greatest force square to the tool axis (any direction that the feed allows: `any_side` true,
    else along `side_direction`), `push` N along the tool axis into the part, `pull` N out of it (helix,
    break-through), `torque` N·m about the tool axis. `spread` is the fraction by which it may be exceeded.
    """

    side: float
    push: float
    pull: float
    torque: float
    spread: float
    source: str


@dataclass(frozen=True, eq=False)
class Cut:
    """The atom of machining. Everything in the part frame, mm.

    `direction` points from the part towards the spindle. `tips` (n, 3) are the tool tip's positions: for a hole
    its axis point at the deepest tip; for a milled region its cells' tip positions after growth by the cutter
    radius. `entry` is the height along `direction` (dot product) from which the tool feeds in, so that it moves
    from there down to each tip.
    """

    feature: str
    stage: Stage
    direction: Vec
    tool: int
    tips: NDArray[np.float64]
    entry: float
    conditions: Conditions
    load: Load
    seconds: float
    measured: bool = False
    notes: tuple[str, ...] = ()

    @property
    def id(self) -> str:
        return f"{self.feature}/{self.stage}/T{self.tool}"
