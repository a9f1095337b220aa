"""Closed forms of motion from rest to rest: trapezoid, and S-curve where a jerk is given.

Lengths in mm, speeds mm/s, accelerations mm/s², jerks mm/s³, times s. Source: kinematics, derived (the trapezoid
is `L/v + v/a` for `L >= v²/a`, else `2·sqrt(L/a)`; a full S-curve is `L/v + v/a + a/j`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from palletwright.shop.model import Machine

Times = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Axes:
    """Limits of the linear axes x, y, z: rapid speed mm/s, acceleration mm/s², jerk mm/s³ (None: not limited)."""

    speed: tuple[float, float, float]
    acceleration: tuple[float, float, float]
    jerk: float | None = None

    def __post_init__(self) -> None:
        if min(self.speed) <= 0 or min(self.acceleration) <= 0 or (self.jerk is not None and self.jerk <= 0):
            raise ValueError("speeds, accelerations and jerk must be above 0")


def axes_of(machine: Machine) -> Axes:
    """The limits of `machine` in mm and s."""
    vx, vy, vz = (v / 60.0 for v in machine.rapid)
    ax, ay, az = (a * 1000.0 for a in machine.acceleration)
    return Axes((vx, vy, vz), (ax, ay, az), None if machine.jerk is None else machine.jerk * 1000.0)


def rest_to_rest(length: ArrayLike, speed: float, acceleration: float, jerk: float | None = None) -> Times:
    """Least seconds to move by `length` mm (any shape) from rest to rest along one axis."""
    d = np.abs(np.asarray(length, dtype=float))
    if jerk is None:
        long = d >= speed * speed / acceleration
        seconds: Times = np.where(long, d / speed + speed / acceleration, 2.0 * np.sqrt(d / acceleration))
        return seconds
    return _s_curve(d, speed, acceleration, jerk)


def _s_curve(d: Times, v: float, a: float, j: float) -> Times:
    """Seven, six, five or four phases, whichever the length and the limits leave."""
    shortest = 4.0 * np.cbrt(d / (2.0 * j))
    if v * j < a * a:
        ramp = 2.0 * np.sqrt(v / j)
        return np.where(d >= v * ramp, d / v + ramp, shortest)
    ramp = v / a + a / j
    no_cruise = a / j + np.sqrt((a / j) ** 2 + 4.0 * d / a)
    seconds: Times = np.where(d >= v * ramp, d / v + ramp, np.where(d >= 2.0 * a**3 / j**2, no_cruise, shortest))
    return seconds


def rapid_seconds(delta: ArrayLike, axes: Axes) -> Times:
    """Seconds of a rapid by `delta` (..., 3) mm, every axis at its own limits: the slowest axis decides."""
    d = np.asarray(delta, dtype=float)
    each = [rest_to_rest(d[..., k], axes.speed[k], axes.acceleration[k], axes.jerk) for k in range(3)]
    slowest: Times = np.maximum(np.maximum(each[0], each[1]), each[2])
    return slowest
