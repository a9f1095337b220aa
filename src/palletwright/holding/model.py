"""What holding answers for one grip under all its cuts."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from palletwright.verdict import Margin, Reason


@dataclass(frozen=True, eq=False)
class Wrench:
    """A load on the part: force (N) at a point and a free moment (N·mm), with what makes it."""

    at: NDArray[np.float64]
    force: NDArray[np.float64]
    moment: NDArray[np.float64]
    name: str


@dataclass(frozen=True, slots=True)
class Window:
    """What to set at one clamp, in `unit` (N·m, bar where pressure drives it, kN where only its force is known).

    Below `slides` the holding factor misses its floor; past `gives` the first of `by` gives: its screw passes the
    proof load, or it marks or bends the part. `slides` above `gives`: no setting serves.
    """

    clamp: str
    screw: str
    slides: float
    set: float
    gives: float
    by: str
    unit: str = "N·m"


@dataclass(frozen=True, eq=False)
class HoldingReport:
    """Friction limit and elastic factor (the scale of the cutting load that it survives); the smaller decides.

    `windows` and `at_tool` (the greatest motion of the part at the tool under the cut as it is: `mm` and its `load`)
    are filled in where details are asked for. A report passes when the part is located and every margin is kept.
    """

    located: bool
    rank: int
    condition: float
    least_preload: tuple[float, ...]
    friction_factor: float | None
    elastic_factor: float | None
    holding_factor: float | None
    floor: float
    worst_load: str
    gives_first: str
    margins: tuple[Margin, ...] = ()
    reasons: tuple[Reason, ...] = ()
    certificate: dict[str, object] = field(default_factory=dict)
    elastic: tuple[dict[str, object], ...] = ()
    windows: tuple[Window, ...] = ()
    at_tool: dict[str, object] | None = None

    @property
    def passed(self) -> bool:
        held = self.holding_factor is not None and self.holding_factor >= self.floor
        return self.located and held and all(m.passed for m in self.margins)
