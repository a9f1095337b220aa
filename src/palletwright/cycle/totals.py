"""What a program does, gathered tool by tool while it is read."""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from palletwright.cycle.motion import Axes
from palletwright.cycle.path_time import CUT_MM, CUT_S, FIELDS, RAPID_MM, RAPID_S, WAIT, WAIT_S, path_seconds

BLOCKS = 100_000
"""Blocks kept before they are timed; at such a seam the path counts as standing still."""


@dataclass
class ToolUse:
    """One tool of a program: seconds, millimetres, extents of everything it cuts (work coordinates, mm)."""

    number: int
    seconds: NDArray[np.float64] = field(default_factory=lambda: np.zeros(5))
    box: NDArray[np.float64] = field(default_factory=lambda: np.array([[np.inf] * 3, [-np.inf] * 3]))
    changes: int = 0
    index_seconds: float = 0.0
    speeds: set[float] = field(default_factory=set)
    feeds: set[float] = field(default_factory=set)
    offsets: set[str] = field(default_factory=set)
    angles: set[float] = field(default_factory=set)

    def report(self) -> dict[str, Any]:
        """JSON-ready figures; extents are null for a tool that cuts nothing."""
        cuts = bool(np.isfinite(self.box).all())
        low, high = self.box.round(6).tolist()
        span = dict(zip("xyz", zip(low, high, strict=True), strict=True))
        return {
            "number": self.number,
            "cut_seconds": float(self.seconds[CUT_S]),
            "rapid_seconds": float(self.seconds[RAPID_S]),
            "wait_seconds": float(self.seconds[WAIT_S]),
            "index_seconds": self.index_seconds,
            "cut_mm": float(self.seconds[CUT_MM]),
            "rapid_mm": float(self.seconds[RAPID_MM]),
            "extents_mm": {axis: list(ends) for axis, ends in span.items()} if cuts else None,
            "deepest_mm": low[2] if cuts else None,
            "changes": self.changes,
            "speeds": sorted(self.speeds),
            "feeds": sorted(round(f, 6) for f in self.feeds),
            "offsets": sorted(self.offsets),
            "angles": sorted(self.angles),
        }


class Totals:
    """Gathers blocks and times them by tool. Positions are mm without offsets; `shift` leads to work coordinates."""

    def __init__(self, axes: Axes, tolerance: float) -> None:
        self.speed = np.array(axes.speed)
        self.acceleration = np.array(axes.acceleration)
        self.jerk = axes.jerk or 0.0
        self.tolerance = tolerance
        self.tools: dict[int, ToolUse] = {}
        self.blocks = array("d")
        self.begin = np.zeros(3)
        self.tool = 0
        self.shift: tuple[float, float, float] = (0.0, 0.0, 0.0)

    def use(self) -> ToolUse:
        """The tool in the spindle; 0 before the first change."""
        return self.tools.setdefault(self.tool, ToolUse(self.tool))

    def add(self, block: Sequence[float]) -> None:
        """One block of `path_time.FIELDS` numbers."""
        self.blocks.extend(block)
        if len(self.blocks) >= BLOCKS * FIELDS:
            self.settle()

    def wait(self, seconds: float) -> None:
        if seconds > 0.0:
            self.add((WAIT, 0, 0, 0, 0, 0, 0, 2, 0, 0, seconds))

    def settle(self) -> None:
        """Time what was gathered, for the present tool and offset."""
        if not self.blocks:
            return
        rows = np.frombuffer(self.blocks, dtype=np.float64).reshape(-1, FIELDS)
        use, shift = self.use(), np.array(self.shift)
        box = use.box + shift
        use.seconds += path_seconds(rows, self.begin, self.speed, self.acceleration, self.jerk, self.tolerance, box)
        use.box = box - shift
        moved = rows[rows[:, 0] != WAIT]
        if len(moved):
            self.begin = moved[-1, 1:4].copy()
        del rows, moved
        self.blocks = array("d")
