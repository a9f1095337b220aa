"""Modules, sides, and where the stations stand."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from palletwright.solid.model import Mesh
from palletwright.verdict import Margin, Reason, Vec


@dataclass(frozen=True, eq=False)
class ToolSweep:
    """What tools sweep in one direction (station frame, module at turn 0).

    `direction` towards the spindle; `moves`: (tips (n, 3), stack rows (radius, from, to), tool number, entry
    height along the direction) one for every cut.
    """

    direction: Vec
    moves: tuple[tuple[NDArray[np.float64], tuple[tuple[float, float, float], ...], int, float], ...]


@dataclass(frozen=True, eq=False)
class Module:
    """One unit that layout repeats: parts, clamps and locators of one grip, in the station frame at turn 0.

    `bodies` are closed meshes with names; `sweeps` what its own cuts sweep; `outline` the union of the bodies'
    footprints on the side as a shapely geometry; `parts` how many parts it holds; `turns` the allowed quarter
    turns (a needed direction must stay square to the rotary axis). `stops` names the bodies that may serve a
    neighbour as well: stops and rails that stand alone.
    """

    operation: int
    grip: str
    bodies: tuple[tuple[str, Mesh], ...]
    sweeps: tuple[ToolSweep, ...]
    outline: Any
    parts: int
    turns: tuple[int, ...] = (0, 1, 2, 3)
    stops: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Side:
    """A mounting surface: its free area as a shapely polygon (mm, side frame), name, and pose T_carrier_side."""

    id: str
    area: Any
    pose: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Station:
    """One module's place: side id, x, y (mm in the side frame), quarter turns, module index, ordinal."""

    side: str
    x: float
    y: float
    turn: int
    module: int
    ordinal: int


@dataclass(frozen=True, eq=False)
class Packing:
    """Stations on one side: `count` modules placed, `bound` at most possible, proven when equal."""

    stations: tuple[Station, ...]
    count: int
    bound: int
    proven: bool
    pattern: str
    reasons: tuple[Reason, ...] = ()
    margins: tuple[Margin, ...] = ()
    status: Literal["ok", "empty"] = "ok"
    extra: dict[str, float] = field(default_factory=dict)
