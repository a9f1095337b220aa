"""A mount on a rotary axis: the faceplate's grip, the brake at each angle, the tailstock, the unit on the table."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from palletwright.cutting.model import Load
from palletwright.holding.chain import MOUNT_FRICTION, Screws, brake_margin, slip_margin, tipping_margin
from palletwright.holding.contacts import STANDARD_GRAVITY, Array
from palletwright.scene.model import Body, Mount
from palletwright.shop.model import Machine, RotaryAxis
from palletwright.verdict import Margin, Reason

# Bolts of a rotary unit in the table's slots: common practice, no source.
UNIT_SCREWS = Screws("M16", 4, 160.0)
YOUNG = {True: 2.1e5, False: 7.0e4}  # N/mm², steel or aluminium; textbook values


@dataclass(frozen=True, eq=False)
class PlacedCut:
    """One cut at one station as the machine stands for it: tips (n, 3) mm in the machine frame, at `angle` degrees."""

    name: str
    station: str
    tips: Array
    load: Load
    angle: float = 0.0

    @property
    def told(self) -> str:
        return f"{self.name} at {self.station}"

    @property
    def greatest(self) -> float:
        """N, the greatest of its forces in any one direction, spread included."""
        return (1.0 + self.load.spread) * max(self.load.side, self.load.push, self.load.pull)


@dataclass(frozen=True, eq=False)
class Hanging:
    """Masses on a mount at angle zero: kg (n,), centres (n, 3) mm in the machine frame, and which are parts (n,)."""

    kg: Array
    centre: Array
    part: NDArray[np.bool_]

    @property
    def mass(self) -> float:
        return float(self.kg.sum())


@dataclass(frozen=True, eq=False)
class Faceplate:
    """What joins a pallet to its faceplate: screws on `circle` mm, `half` mm to the edge it tips about, one dowel."""

    screws: Screws
    circle: float
    half: float
    pin: float
    pin_at: float


def about_axis(place: Mount, cut: PlacedCut) -> float:
    """N·m that a cut puts on the rotary axis: its side force over the tip's height, its thrust over the offset.

    On top of these the tool's own torque where it turns about a line along the axis; the spindle is upright, so none.
    """
    arm = cut.tips - np.asarray(place.axis_point)
    beside = np.abs(arm @ np.cross(np.asarray(place.axis), [0.0, 0.0, 1.0]))
    along = max(cut.load.push, cut.load.pull)
    return float((1.0 + cut.load.spread) * (cut.load.side * np.abs(arm[:, 2]) + along * beside).max() / 1000.0)


def faceplate_margins(
    rotary: RotaryAxis, place: Mount, held: Faceplate, cut: PlacedCut, name: str, safety: float
) -> list[Margin]:
    """The torque about the axis by friction at the faceplate, and the bending of a pallet without a tailstock."""
    have = (MOUNT_FRICTION * held.screws.least * held.circle + held.pin * held.pin_at) / 1000.0
    screws = f"{held.screws.count} × {held.screws.thread}"
    links = [Margin("mount slip", name, screws, safety * about_axis(place, cut), have, "N·m")]
    if not rotary.tailstock:
        out = float(_along(place, cut.tips).max())
        links.append(tipping_margin(held.screws, name, cut.greatest, 0.0, out, held.half, 0.0, safety=safety))
    return links


def unit_margins(machine: Machine, rotary: RotaryAxis, cut: PlacedCut, safety: float) -> list[Margin]:
    """The rotary unit on the table: slip and tipping, as if it stood alone; its own mass isn't known, so none."""
    grown = 1.0 + cut.load.spread
    side, pull, height = grown * cut.load.side, grown * cut.load.pull, float(cut.tips[:, 2].max())
    name = f"{machine.id}: rotary unit on the table"
    half = min(rotary.housing_length, rotary.housing_width) / 2.0
    twist = 0.0
    if not rotary.tailstock:
        tips = cut.tips[:, :2] - np.asarray(rotary.faceplate_at)
        twist = side * float(np.hypot(tips[:, 0], tips[:, 1]).max()) / half
    slip = slip_margin(UNIT_SCREWS, name, side + twist, pull, safety=safety, friction=MOUNT_FRICTION)
    return [slip, tipping_margin(UNIT_SCREWS, name, side, pull, height, half, 0.0, safety=safety)]


def brake_margins(
    rotary: RotaryAxis, place: Mount, cuts: Sequence[PlacedCut], hanging: Hanging, safety: float
) -> list[Margin]:
    """The rotary's brake at every angle used, under the worst cut there and with the worst of the stations empty."""
    axis, out = np.asarray(place.axis), hanging.centre - np.asarray(place.axis_point)
    flat = out - np.outer(out @ axis, axis)
    across = np.cross(axis, [0.0, 0.0, 1.0])
    margins = []
    for angle in sorted({round(c.angle, 3) + 0.0 for c in cuts}):
        worst = max((c for c in cuts if abs(c.angle - angle) < 2e-3), key=lambda c: about_axis(place, c))
        turn = math.radians(angle)
        turned = flat * math.cos(turn) + np.cross(axis, flat) * math.sin(turn)
        each = hanging.kg * STANDARD_GRAVITY * (turned @ across) / 1000.0
        fixed, parts = float(each[~hanging.part].sum()), each[hanging.part]
        ends = (fixed + float(parts[parts > 0].sum()), fixed + float(parts[parts < 0].sum()))
        weight = max(abs(end) for end in ends)
        obstacle = f"brake at {angle:g}°: {worst.told}"
        note = f"cut {about_axis(place, worst):.0f} N·m, weight {weight:.1f} N·m with the worst stations empty"
        margins.append(
            brake_margin(
                rotary.brake_torque,
                f"{place.id}: rotary axis",
                about_axis(place, worst),
                weight,
                obstacle,
                note,
                safety=safety,
            )
        )
    return margins


def bending(rotary: RotaryAxis, place: Mount, body: Body, steel: bool, cuts: Sequence[PlacedCut]) -> list[Reason]:
    """How far the pallet itself bends under its cuts, and what the tailstock bears; the shop states no limit.

    A beam clamped at the faceplate, simply held at the tailstock or free: `F·x³·(L − x)²·(4L − x)/(12·E·I·L³)`,
    `F·x³/(3·E·I)`; tailstock `F·x²·(3L − x)/(2L³)` (textbook). I = A·h²/4 with the section's area and its least
    half-width h: never above a rectangle's or a regular polygon's, so the give is on the high side.
    """
    axis = np.asarray(place.axis)
    points = body.mesh.vertices @ body.pose[:3, :3].T + body.pose[:3, 3] - np.asarray(place.axis_point)
    length = float(np.ptp(points @ axis))
    up = np.array([0.0, 0.0, 1.0]) if abs(axis[2]) < 0.9 else np.array([1.0, 0.0, 0.0])
    beside = np.cross(axis, up)
    turns = np.radians(np.arange(0.0, 180.0, 5.0))
    ways = np.outer(np.cos(turns), up) + np.outer(np.sin(turns), beside)
    half = float(np.ptp(points @ ways.T, axis=0).min()) / 2.0
    inertia = body.mesh.volume / length * half**2 / 4.0
    rows = []
    for cut in cuts:
        x = np.clip(_along(place, cut.tips), 0.0, length)
        f = cut.greatest
        if rotary.tailstock:
            give = f * x**3 * (length - x) ** 2 * (4 * length - x) / (12 * YOUNG[steel] * inertia * length**3)
            tail = f * x**2 * (3 * length - x) / (2 * length**3)
        else:
            give, tail = f * x**3 / (3 * YOUNG[steel] * inertia), np.zeros(len(x))
        rows.append((float(give.max()), float(tail.max()), cut.told))
    most = max(rows)
    told = [Reason(place.id, f"the pallet bends at most {most[0]:.3f} mm under {most[2]} (beam)", most[0], "mm")]
    if rotary.tailstock:
        by = max(rows, key=lambda r: r[1])
        text = f"the tailstock bears up to {by[1]:.0f} N under {by[2]}; the machine's file gives no limit for it"
        told.append(Reason(place.id, text, by[1], "N"))
    return told


def _along(place: Mount, tips: Array) -> Array:
    """(n,) mm along the axis from the faceplate."""
    return np.asarray(np.abs((tips - np.asarray(place.axis_point)) @ np.asarray(place.axis)))
