"""A way to hold a part in one operation, in the station frame: origin on the side, z out of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from palletwright.solid.model import Mesh
from palletwright.verdict import Margin, Reason, Vec

GripKind = Literal[
    "edge", "wedge", "strap", "screw", "jaw", "soft_jaw", "v_jaw", "expander", "vacuum", "stud", "dovetail"
]


@dataclass(frozen=True, slots=True)
class Contact:
    """A point at which something touches the part. `normal` points into the part. `raw`: on an uncut face."""

    id: str
    kind: Literal["locator", "clamp"]
    at: Vec
    normal: Vec
    friction: tuple[float, float]
    stiffness: float = 5.0e4
    preload: float = 0.0
    device: str = ""
    raw: bool = False
    face: int = -1


@dataclass(frozen=True, eq=False)
class Device:
    """A clamp or locator in place: catalogue id, its body as a closed mesh in the station frame."""

    id: str
    kind: Literal["clamp", "locator"]
    catalogue: str
    mesh: Mesh
    tighten_from: Vec = (0.0, 0.0, 1.0)


@dataclass(frozen=True, eq=False)
class Relief:
    """A pocket in the carrier's face under a tool that runs out of the part, in the station frame.

    `depth` mm below the face, `at` and `size` (mm) its bounding rectangle's middle and sides, `diameter` mm of a round
    one. `mesh` is what is milled away, closed; it stands a little over the face, so that it leaves no skin.
    """

    at: tuple[float, float]
    size: tuple[float, float]
    depth: float
    diameter: float | None
    mesh: Mesh


@dataclass(frozen=True, eq=False)
class Grip:
    """One way to hold the part in one operation.

    `poses` (k, 4, 4): T_station_part of each part held by one module (1, or 2 about a double-acting wedge or
    vise). `contacts[i]` and `regime` belong to each part alike (given for the first part, in the station frame).
    `seat` is the lift of the part's lowest point over the side (mm). `screws` count for loading. `prepare` is
    hours of preparation a station (soft jaws, seats, stops), `price` of the devices a station. `unlocated` names
    what the grip leaves free because the shape is alike in every position ("turn about z" of a round blank): a rank
    below 6 is right then, and friction alone holds it. `reliefs` are pockets in the carrier, of every part.
    `part_seconds` is what preparing each blank takes (a tenon milled, threads tapped in stock that goes later).
    """

    id: str
    kind: GripKind
    poses: NDArray[np.float64]
    contacts: tuple[Contact, ...]
    devices: tuple[Device, ...]
    regime: Literal["stop", "friction"]
    screws: int
    price: float
    prepare_hours: float
    margins: tuple[Margin, ...] = ()
    reasons: tuple[Reason, ...] = ()
    carrier_kinds: tuple[str, ...] = ("plate", "pallet")
    notes: tuple[str, ...] = field(default=())
    unlocated: tuple[str, ...] = ()
    reliefs: tuple[Relief, ...] = ()
    part_seconds: float = 0.0
