"""What every cut needs to know of the shop, and one cut made from a tool, a stage and its tip positions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from palletwright.cutting import Conditions, Cut, Load, Stage, conditions_for, load_of
from palletwright.shop.model import Machine, Material, Shop, Tool
from palletwright.solid.model import Floats
from palletwright.verdict import Vec

FEED_IN = 2.0
"""mm above the material from which the tool feeds (common practice, no source)."""


READ_SHORT = 0.05
"""mm by which meshes of two rooms may differ: chord errors of both, and rounding (our own choice: seen 0.01)."""


@dataclass(frozen=True, eq=False)
class Work:
    """The shop's tools, material and machine, with conditions and loads kept once computed."""

    shop: Shop
    material: Material
    machine: Machine
    known: dict[tuple[int, str, float], tuple[Conditions, Load]] = field(default_factory=dict)

    @property
    def clearance(self) -> float:
        """mm that reach will ask between shank or holder and the part: the floor, with the setting error where
        nothing measures tools, and what its meshes may read short."""
        floors = self.shop.floors
        asked = floors.cutter / 2 if self.machine.tool_setter else floors.cutter + floors.tool_setting_error
        return asked + READ_SHORT

    def tools(self, *kinds: str) -> list[Tool]:
        """The shop's tools of these kinds that go into the machine's spindle, largest first."""
        rows = [t for t in self.shop.tools if t.cutter.kind in kinds and t.holder.taper == self.machine.taper]
        return sorted(rows, key=lambda t: (-t.cutter.DC, t.stick_out, t.number))

    def rates(self, tool: Tool, stage: Stage, depth: float | None = None) -> tuple[Conditions, Load]:
        """Conditions and greatest load of a tool in a stage; `depth` of a hole, mm."""
        key = (tool.number, stage, round(depth or 0.0, 1))
        if key not in self.known:
            conditions = conditions_for(tool, self.material, self.machine, stage, depth=depth)
            self.known[key] = (conditions, load_of(tool, self.material, conditions, stage))
        return self.known[key]


def cut(
    work: Work,
    feature: str,
    tool: Tool,
    stage: Stage,
    direction: Vec,
    tips: Floats | Sequence[Vec],
    top: float,
    seconds: float,
    *,
    depth: float | None = None,
    notes: tuple[str, ...] = (),
) -> Cut:
    """One cut; `top` is the height along `direction` of the material that it meets first."""
    conditions, load = work.rates(tool, stage, depth)
    positions = np.atleast_2d(np.asarray(tips, dtype=np.float64))
    if tool.stick_out > 6 * tool.cutter.DC and tool.cutter.kind in ("end_mill", "ball_mill"):
        notes = (*notes, f"sticks out {tool.stick_out / tool.cutter.DC:.1f} diameters: slender")
    return Cut(
        feature=feature,
        stage=stage,
        direction=direction,
        tool=tool.number,
        tips=positions,
        entry=top + FEED_IN,
        conditions=conditions,
        load=load,
        seconds=float(seconds),
        notes=notes,
    )
