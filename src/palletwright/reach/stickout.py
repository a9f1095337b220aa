"""How far a tool must stick out at least, in this very scene."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from palletwright.cutting import deflection
from palletwright.reach.check import check
from palletwright.reach.obstacles import Rasters
from palletwright.reach.task import Task
from palletwright.scene import Scene
from palletwright.shop.model import Floors, Holder, Machine, Tool
from palletwright.verdict import Margin

JUSTIFIED = 6.0
"""Stick-out over diameter past which it needs a reason; common practice, no source."""


@dataclass(frozen=True)
class StickOut:
    """The shortest stick-out, whole mm, at which one tool still passes everywhere it is used.

    shortest : mm, or None where even the present one fails; what one millimetre less would run into stands in
        `stopped_by` (None where the flutes, which stay out of the holder, are the limit)
    stiffer : how many times less the tip gives way to the same force than now
    gives : mm that the tip gives way under its greatest side force at the shortest stick-out (now, where there is
        none), never above the true figure: holder and spindle count as rigid; None without a force
    gives_now : the same at the present stick-out
    """

    tool: str
    holder: str
    now: float
    shortest: float | None
    stopped_by: Margin | None
    stiffer: float
    over_diameter: float
    gives: float | None = None
    gives_now: float | None = None

    @property
    def needs_reason(self) -> bool:
        return self.over_diameter > JUSTIFIED


def shortest_stick_out(
    scene: Scene,
    tasks: Sequence[Task],
    machine: Machine,
    floors: Floors,
    tool: Tool,
    *,
    holder: Holder | None = None,
    pitch: float = 0.5,
    rasters: Rasters | None = None,
    side: float | None = None,
) -> StickOut:
    """Shortens one tool of the scene until something stops it, optionally in another holder.

    A shorter tool brings the holder and the nose nearer everywhere, so what passes at one length passes at all
    longer ones up to the present one, and halving the interval finds the shortest. `tasks` are the whole scene's;
    `side` is the greatest force (N) square to the tool.
    """
    kept = Rasters() if rasters is None else rasters
    mounted = tool.model_copy(update={"holder": holder}) if holder is not None else tool
    mine = [t for t in tasks if t.tool.number == tool.number]
    if not mine:
        raise ValueError(f"tool {tool.id} is used by none of the tasks")

    def fails(length: float) -> Margin | None:
        """The worst failing margin at that stick-out."""
        shorter = mounted.model_copy(update={"stick_out": length})
        report = check(
            scene, [replace(t, tool=shorter) for t in mine], machine, floors, pitch=pitch, look=0.0, rasters=kept
        )
        bad = [m for m in report.margins if not m.passed and m.check in _LENGTH_CHECKS]
        return min(bad, key=lambda m: m.spare, default=None)

    now, flutes = tool.stick_out, float(math.ceil(tool.cutter.LCF))
    stopped = fails(now)
    if stopped is not None:
        gives = None if side is None else deflection(mounted, side)
        return StickOut(tool.id, mounted.holder.id, now, None, stopped, 1.0, now / tool.cutter.DC, gives, gives)
    good, bad = now, min(flutes, now) - 1.0
    while good - bad > 1.0:
        middle = max(math.floor((good + bad) / 2), bad + 1.0)
        found = fails(middle)
        if found is None:
            good = middle
        else:
            bad, stopped = middle, found
    each, each_now = deflection(mounted.model_copy(update={"stick_out": good}), 1.0), deflection(tool, 1.0)
    gives, gives_now = (None, None) if side is None else (side * each, side * each_now)
    return StickOut(
        tool.id, mounted.holder.id, now, good, stopped, each_now / each, good / tool.cutter.DC, gives, gives_now
    )


_LENGTH_CHECKS = ("tool clearance", "nose clearance", "holder to own part", "travel z")
