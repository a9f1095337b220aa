"""The part's own weight while the machine moves it: indexing, and the table's acceleration."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from palletwright.holding.contacts import STANDARD_GRAVITY, Array, Contacts, wrench
from palletwright.holding.worst import worst_factor
from palletwright.shop.model import Machine, RotaryAxis
from palletwright.verdict import Margin, Vec

TURNING = 0.7  # share of a 90° index that is motion, the rest clamps and unclamps: estimated
SIDES = 12  # directions of a circle of accelerations, on its outside


class Motion(NamedTuple):
    """What the machine does, and the acceleration (m/s², station frame) that the part feels, gravity included."""

    name: str
    felt: Vec


def index_acceleration(rotary: RotaryAxis, radius: float) -> float:
    """m/s² at `radius` mm while indexing, tangential and centrifugal together.

    A 90° turn with one ramp up and one down in t: `α = 4θ/t²`, `ω = 2θ/t` at its middle, `r·√(α² + ω⁴)`.
    """
    turn, seconds = math.pi / 2.0, TURNING * rotary.index_time
    return radius / 1000.0 * math.hypot(4.0 * turn / seconds**2, (2.0 * turn / seconds) ** 2)


def motions(machine: Machine, up: Vec, axis: Vec | None, radius: float = 0.0) -> tuple[Motion, ...]:
    """All that a clamped part feels between cuts, in its station frame.

    Parameters
    ----------
    up : the spindle's direction; axis : the rotary axis, None on a table
    radius : mm, the farthest that the part stands from the axis

    Notes
    -----
    On an axis gravity comes from every side square to it. The table is taken to carry the fixture along x and y.
    """
    across, along = (1.0 / math.cos(math.pi / SIDES)), math.hypot(*machine.acceleration[:2])
    if axis is None or machine.rotary is None:
        down = -np.asarray(up, dtype=float) / float(np.linalg.norm(up))
        return tuple(
            Motion("table", _vec(STANDARD_GRAVITY * down + along * across * way)) for way in circle(down, SIDES)
        )
    spin = np.asarray(axis, dtype=float) / float(np.linalg.norm(axis))
    felt = STANDARD_GRAVITY + index_acceleration(machine.rotary, radius)
    turning = [Motion("index", _vec(felt * across * way)) for way in circle(spin, SIDES)]
    driven = [
        Motion("table", _vec(STANDARD_GRAVITY * across * way + a * spin + b * np.cross(spin, way)))
        for way in circle(spin, SIDES)
        for a in (-along, along)
        for b in (-along, along)
    ]
    return (*turning, *driven)


def circle(axis: Array, count: int) -> list[Array]:
    """`count` unit vectors evenly around `axis`."""
    seed = np.eye(3)[int(np.argmin(np.abs(axis)))]
    first = np.cross(axis, seed)
    first /= np.linalg.norm(first)
    second = np.cross(axis, first)
    return [math.cos(a) * first + math.sin(a) * second for a in 2.0 * math.pi * np.arange(count) / count]


def moving_margin(
    contacts: Contacts, middle: Array, mass_kg: float, asked: Sequence[Motion], floor: float
) -> Margin | None:
    """The friction verdict on the part's own weight under every motion, against the grip's floor."""
    if not asked or mass_kg <= 0:
        return None
    forces = mass_kg * np.array([m.felt for m in asked])
    worst = worst_factor(contacts, wrench(middle, forces, np.zeros(3)), np.zeros(6))
    at = asked[worst.row]
    size = float(np.linalg.norm(at.felt))
    note = f"{size:.1f} m/s² with gravity, {float(np.linalg.norm(forces[worst.row])):.1f} N on the part's weight"
    return Margin("moving", "part", at.name, floor, worst.factor, "factor", frame="station", note=note)


def _vec(v: Array) -> Vec:
    return float(v[0]), float(v[1]), float(v[2])
