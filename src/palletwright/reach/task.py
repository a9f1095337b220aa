"""One thing to reach: a cut at a station with a tool, in the machine frame at angle 0."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from palletwright.shop.model import Machine, Tool
from palletwright.solid.model import Mesh
from palletwright.verdict import Vec

Stack = tuple[tuple[float, float, float], ...]


@dataclass(frozen=True, eq=False)
class Task:
    """A cut at a station.

    station, mount : where; cut : its id
    tool : the assembly
    direction : towards the spindle, machine frame with the mount at angle 0
    tips : (n, 3) mm, machine frame at angle 0, the tip's deepest positions (near enough to one another that the
        cutter's sweep has no gaps); entry : mm along `direction` from which the tool feeds in
    own : ids of the scene's bodies that are the part being cut (blank and cut state alike); empty: every body of
        kind part that the station owns
    own_state : which of them stands for the part where the holder and the shank pass it. Tasks on one part are
        taken in the order given: what earlier ones swept in the same direction is gone.
    own_shape : mesh and pose (4, 4) at angle 0 of the part as it is cut here, where the scene holds no body of
        state "cut"
    """

    station: str
    mount: str
    cut: str
    tool: Tool
    direction: Vec
    tips: NDArray[np.float64]
    entry: float
    own: tuple[str, ...] = ()
    own_state: Literal["blank", "cut"] = "blank"
    own_shape: tuple[Mesh, NDArray[np.float64]] | None = None

    def __post_init__(self) -> None:
        if self.tips.ndim != 2 or self.tips.shape[1:] != (3,) or not len(self.tips):
            raise ValueError(f"cut {self.cut}: tips must have shape (n, 3) with n > 0, not {self.tips.shape}")
        if not np.isfinite(self.tips).all():
            raise ValueError(f"cut {self.cut}: tips must be finite")


def nose_stack(machine: Machine, gauge_length: float) -> Stack:
    """The spindle nose as rows (radius, from, to) in mm above the tip of a tool of that gauge length."""
    rows, at = [], gauge_length
    for step in machine.nose:
        rows.append((step.diameter / 2, at, at + step.length))
        at += step.length
    return tuple(rows)


def wide_rows(tool: Tool) -> Stack:
    """The rows of the assembly that its own cut makes no room for: wider than the cutter."""
    return tuple(row for row in tool.stack() if row[0] > tool.cutter.DC / 2 + 1e-9)
