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


@dataclass(frozen=True, eq=False)
class HoldingReport:
    """Friction limit and elastic factor (the scale of the cutting load that it survives); the smaller decides."""

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

    @property
    def passed(self) -> bool:
        return self.located and self.holding_factor is not None and self.holding_factor >= self.floor
