"""Bodies with poses in the machine."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from palletwright.solid.model import Mesh

BodyKind = Literal["part", "clamp", "locator", "carrier", "rotary", "tailstock", "table", "vise"]


@dataclass(frozen=True, eq=False)
class Body:
    """One thing in the machine: `pose` (4, 4) maps its mesh into the machine frame with the rotary axis at zero.
    `group` is the mount that it turns with ('table' does not turn), `owner` the station it belongs to or ''."""

    id: str
    kind: BodyKind
    mesh: Mesh
    pose: NDArray[np.float64]
    state: Literal["blank", "cut"] = "blank"
    group: str = "table"
    owner: str = ""


@dataclass(frozen=True, eq=False)
class Mount:
    """Where a carrier sits in the machine: `pose` T_machine_carrier at angle 0; on a rotary, the axis line."""

    id: str
    carrier: str
    rotary: bool
    pose: NDArray[np.float64]
    axis_point: tuple[float, float, float] = (0.0, 0.0, 0.0)
    axis: tuple[float, float, float] = (1.0, 0.0, 0.0)


@dataclass(frozen=True, eq=False)
class Scene:
    """All bodies of one set in the machine."""

    machine: str
    mounts: tuple[Mount, ...]
    bodies: tuple[Body, ...]
