"""The part with the shop's mills and its views, kept while features are made."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from palletwright.access.columns import Look, look
from palletwright.access.directions import same, vec
from palletwright.access.forms import Form
from palletwright.access.shapes import Body, body_of
from palletwright.access.work import Work
from palletwright.shop.model import Tool
from palletwright.solid import part_frame
from palletwright.solid.model import Face, Floats, Solid
from palletwright.verdict import Vec

CELLS = 220
"""cells along the longest view, tools' margin included, where no pitch is asked for."""
PITCHES = (0.1, 2.5)
"""mm, the finest and coarsest pitch chosen by itself."""


@dataclass(frozen=True, eq=False)
class Workpiece:
    """The part and what is known of it while features are made."""

    solid: Solid
    part: Body
    frame: Floats
    faces: dict[int, Face]
    work: Work
    mills: tuple[Tool, ...]
    pitch: float
    margin: float
    looks: dict[Vec, Look] = field(default_factory=dict)
    forms: list[Form] = field(default_factory=list)

    def look(self, direction: Vec) -> Look:
        for d, seen in self.looks.items():
            if same(d, direction):
                return seen
        room = self.work.clearance
        self.looks[direction] = look(self.solid.mesh.corners, direction, self.pitch, self.margin + room, room)
        return self.looks[direction]

    def clear(self, tool: Tool, tip: Vec, direction: Vec) -> bool:
        """Whether the tool's shank and holder, wider than its cutter, clear the part as reach asks, the tip there."""
        view = self.look(direction)
        at = view.frame @ np.asarray(tip)
        for radius, start in view.wide_rows(tool):
            if view.touched(at[0], at[1], radius, at[2] + start + 1e-6):
                return False
        return True


def workpiece_of(solid: Solid, work: Work, pitch: float | None) -> Workpiece:
    frame = np.stack([np.asarray(vec(c)) for c in part_frame(solid).T])
    extents = np.ptp(solid.mesh.vertices @ frame.T, axis=0)
    mills = tuple(work.tools("end_mill"))
    widest = max((t.cutter.DC / 2 for t in mills), default=5.0)
    step = pitch or float(np.clip((extents.max() + 2 * widest) / CELLS, *PITCHES))
    faces = {f.id: f for f in solid.faces}
    return Workpiece(solid, body_of(solid.mesh), frame, faces, work, mills, step, widest + 2.0)
