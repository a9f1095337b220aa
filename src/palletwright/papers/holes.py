"""Holes of a carrier: for clamps and locators, and for its mount, with the depths and sizes of the standards."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from palletwright.errors import Fault, InputError
from palletwright.grip.model import Device, Grip
from palletwright.shop.model import Carrier, Shop
from palletwright.solid.primitives import Rod
from palletwright.verdict import Vec

Floats = NDArray[np.float64]

TAP_DRILL = {
    "M3": 2.5, "M4": 3.3, "M5": 4.2, "M6": 5.0, "M8": 6.8, "M10": 8.5, "M12": 10.2, "M14": 12.0, "M16": 14.0,
    "M20": 17.5,
}  # fmt: skip
"""mm: tap drills of coarse threads, ISO 2306; from memory, unconfirmed."""

RUNOUT = {
    "M3": 2.8, "M4": 3.8, "M5": 4.2, "M6": 5.1, "M8": 6.2, "M10": 7.3, "M12": 8.3, "M14": 9.3, "M16": 9.3, "M20": 11.2,
}  # fmt: skip
"""mm: hole below the full thread, DIN 76-1 e1; from memory, unconfirmed."""

CLEARANCE = {
    "M4": 4.5,
    "M5": 5.5,
    "M6": 6.6,
    "M8": 9.0,
    "M10": 11.0,
    "M12": 13.5,
    "M14": 15.5,
    "M16": 17.5,
    "M20": 22.0,
}
"""mm: clearance holes, ISO 273 medium; from memory, unconfirmed."""

SUNK = {
    "M4": (8.0, 4.6), "M5": (10.0, 5.7), "M6": (11.0, 6.8), "M8": (15.0, 9.0), "M10": (18.0, 11.0),
    "M12": (20.0, 13.0), "M14": (24.0, 15.0), "M16": (26.0, 17.5), "M20": (33.0, 21.5),
}  # fmt: skip
"""mm: counterbore and its depth for ISO 4762 heads, DIN 974-1; from memory, unconfirmed."""

ENGAGED = {False: 1.5, True: 1.0}
"""Full thread over the screw's diameter in aluminium and in steel (key: steel): common practice, no source."""

LOCATOR_SCREW, LOCATOR_DOWEL = "M5", 5.0
"""Screw and dowels (mm, H7) that hold a stop, rail or jaw; the device's own pattern stands above: common practice,
no source."""

H7 = ((3.0, 0.010), (6.0, 0.012), (10.0, 0.015), (18.0, 0.018), (30.0, 0.021))
"""Up to mm of diameter, mm upper limit of H7 (lower is 0): ISO 286-2; from memory, unconfirmed."""

MOUTH = 0.25
"""mm of chamfer at the mouth of a hole: common practice, no source."""

DEEP = 2.0
"""Depth of a dowel hole over its diameter: common practice, no source."""

ENDS = {"mount": "mount face", "faceplate": "faceplate end", "tailstock": "tailstock end"}


@dataclass(frozen=True, eq=False)
class Hole:
    """One hole of a carrier: centre on the side (x, y mm, side frame), what it takes, diameter and depths in mm.

    `at` and `into` are its mouth and direction in the carrier frame. A sunk screw's hole goes `through` and has a
    counterbore of `sunk` (diameter, depth).
    """

    label: str
    side: str
    x: float
    y: float
    diameter: float
    depth: float
    thread: str
    thread_depth: float
    fit: str
    device: str
    at: Vec
    into: Vec
    sunk: tuple[float, float] | None = None
    through: bool = False

    @property
    def widest(self) -> float:
        """mm, diameter at the mouth."""
        return self.sunk[0] if self.sunk else self.diameter

    @property
    def tolerance(self) -> str:
        """Limits in mm of a fit, the thread's class, or nothing."""
        if self.thread:
            return "6H"
        if self.fit == "H7":
            return f"+{h7(self.diameter):.3f} / 0"
        return ""

    @property
    def volume(self) -> float:
        """mm³ that it takes away, its mouth's chamfer included."""
        taken = math.pi * self.diameter**2 / 4 * self.depth
        if self.sunk:
            wide, deep = self.sunk
            taken += math.pi * (wide**2 - self.diameter**2) / 4 * deep
        r, c = self.widest / 2, MOUTH
        return taken + math.pi * c * (r**2 + r * (r + c) + (r + c) ** 2) / 3 - math.pi * r**2 * c


def h7(diameter: float) -> float:
    """mm, the upper limit of H7. Raises ValueError above 30 mm."""
    for top, limit in H7:
        if diameter <= top:
            return limit
    raise ValueError(f"no H7 limit for {diameter:g} mm in our table (up to 30 mm)")


def drilled(hole: Hole) -> Rod:
    """What the hole takes away below its counterbore; it begins a little outside so that the face is cut cleanly."""
    start = np.asarray(hole.at) - np.asarray(hole.into)
    return Rod(_vec(start), hole.into, hole.diameter / 2, hole.depth + (2.0 if hole.through else 1.0))


def broken_mouths(hole: Hole) -> list[Rod]:
    """The counterbore, and the chamfer at the mouth."""
    start, into = np.asarray(hole.at), np.asarray(hole.into)
    rows = []
    if hole.sunk:
        rows.append(Rod(_vec(start - into), hole.into, hole.sunk[0] / 2, hole.sunk[1] + 1.0))
    r = hole.widest / 2
    # one cone from outside the face down to the hole's own wall
    rows.append(Rod(_vec(start - MOUTH * into), hole.into, r + 2 * MOUTH, 2 * MOUTH, r))
    return rows


def bores(hole: Hole) -> list[float]:
    """Radii (mm) of the round walls that the hole leaves in a solid."""
    return [hole.diameter / 2, *([hole.sunk[0] / 2] if hole.sunk else [])]


def device_holes(
    shop: Shop, grip: Grip, name: str, side: str, pose: Floats, station: Floats, *, steel: bool
) -> list[Hole]:
    """Every device's holes of one station. `pose` T_carrier_side, `station` T_side_station."""
    clamps = {c.id: c for c in shop.clamps}
    locators = {x.id: x for x in shop.locators}
    rows: list[Hole] = []
    for device in grip.devices:
        who = f"{name}/{device.id}"
        low, high = device.mesh.bounds
        centre, span = (low + high)[:2] / 2, (high - low)[:2]
        known = locators.get(device.catalogue)
        if known is not None and known.kind == "pin":
            rows.append(_hole(side, pose, station, centre, who, dowel=round(float(span.min()), 3)))
            continue
        screw = clamps[device.catalogue].screw if device.catalogue in clamps else LOCATOR_SCREW
        rows.append(_hole(side, pose, station, centre, who, screw=screw, steel=steel))
        if device.kind == "locator":
            rows += [_hole(side, pose, station, s, who, dowel=LOCATOR_DOWEL) for s in _dowels(device, screw)]
    return rows


def _dowels(device: Device, screw: str) -> list[Floats]:
    """Two dowels on both sides of the screw along the device's longer side, clear of its hole."""
    low, high = device.mesh.bounds
    centre, span = (low + high)[:2] / 2, (high - low)[:2]
    along = np.array([1.0, 0.0]) if span[0] >= span[1] else np.array([0.0, 1.0])
    clear = TAP_DRILL.get(screw, 0.0) / 2 + LOCATOR_DOWEL / 2 + 2.0
    return [centre + sign * max(0.32 * float(span.max()), clear) * along for sign in (-1, 1)]


def _hole(
    side: str,
    pose: Floats,
    station: Floats,
    spot: Floats,
    device: str,
    *,
    screw: str = "",
    dowel: float = 0.0,
    steel: bool = False,
) -> Hole:
    x, y, _, _ = station @ np.array([spot[0], spot[1], 0.0, 1.0])
    return hole_at(side, pose, float(x), float(y), device, screw=screw, dowel=dowel, steel=steel)


def hole_at(
    side: str,
    pose: Floats,
    x: float,
    y: float,
    device: str,
    *,
    screw: str = "",
    dowel: float = 0.0,
    steel: bool = False,
) -> Hole:
    """A tapped hole for `screw`, or a reamed one of `dowel` mm, square to a face; `pose` T_carrier_side."""
    x, y = round(x, 6) + 0.0, round(y, 6) + 0.0
    at, into = _vec((pose @ np.array([x, y, 0.0, 1.0]))[:3]), _vec(-pose[:3, 2])
    if not screw:
        return Hole("", side, x, y, dowel, DEEP * dowel, "", 0.0, "H7", device, at, into)
    if screw not in TAP_DRILL:
        allowed = ", ".join(TAP_DRILL)
        raise InputError([Fault("shop", "clamps.screw", screw, f"has no tap drill in our table ({device})", allowed)])
    thread = ENGAGED[steel] * float(screw.removeprefix("M"))
    return Hole("", side, x, y, TAP_DRILL[screw], thread + RUNOUT[screw], screw, thread, "", device, at, into)


def mount_holes(carrier: Carrier, poses: dict[str, Floats]) -> list[Hole]:
    """The holes of the machine's interface as the shop describes them.

    Raises InputError for a size that has no row in our tables.
    """
    rows = []
    for spec in carrier.mount_holes:
        if spec.kind == "screw":
            side, pose = next(iter(poses.items()))
            rows.append(_sunk(carrier, side, pose, spec.x, spec.y, spec.size))
            continue
        end = "mount" if carrier.kind != "pallet" else spec.end
        dowel = float(spec.size) if spec.kind == "dowel" else 0.0
        screw = "" if dowel else spec.size
        where = mount_pose(carrier, end)
        # the face is seen from outside: its x runs so that the view is right-handed
        x, y = (np.linalg.inv(where) @ _spot(carrier, end, spec.x, spec.y))[:2]
        rows.append(
            hole_at(ENDS[end], where, float(x), float(y), "mount", screw=screw, dowel=dowel, steel=carrier.steel)
        )
    return rows


def _spot(carrier: Carrier, end: str, x: float, y: float) -> Floats:
    if end == "mount":
        return np.array([x, y, 0.0, 1.0])
    return np.array([0.0 if end == "faceplate" else carrier.length, x, y, 1.0])


def mount_pose(carrier: Carrier, end: str) -> Floats:
    """T_carrier_face of a mounting face, z out of the carrier."""
    if end == "mount":
        return np.array([[1.0, 0, 0, 0], [0, -1.0, 0, 0], [0, 0, -1.0, 0], [0, 0, 0, 1.0]])
    if end == "faceplate":
        return np.array([[0.0, 0, -1.0, 0], [-1.0, 0, 0, 0], [0, 1.0, 0, 0], [0, 0, 0, 1.0]])
    return np.array([[0.0, 0, 1.0, carrier.length], [1.0, 0, 0, 0], [0, 1.0, 0, 0], [0, 0, 0, 1.0]])


def _sunk(carrier: Carrier, side: str, pose: Floats, x: float, y: float, size: str) -> Hole:
    if size not in CLEARANCE:
        allowed = ", ".join(CLEARANCE)
        raise InputError([Fault("shop", "mount_holes.size", size, "has no clearance hole in our table", allowed)])
    at, into = _vec((pose @ np.array([x, y, 0.0, 1.0]))[:3]), _vec(-pose[:3, 2])
    height = carrier.height
    return Hole("", side, x, y, CLEARANCE[size], height, "", 0.0, "", "mount", at, into, SUNK[size], True)


def gap(a: Hole, b: Hole) -> float:
    """mm of wall between two holes of one side."""
    return math.hypot(a.x - b.x, a.y - b.y) - (a.widest + b.widest) / 2


def what(hole: Hole) -> str:
    """A hole in a word."""
    return hole.thread or f"Ø{hole.diameter:g} {hole.fit}".strip()


def _vec(v: Floats) -> Vec:
    return float(v[0]) + 0.0, float(v[1]) + 0.0, float(v[2]) + 0.0
