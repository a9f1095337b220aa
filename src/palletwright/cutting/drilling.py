"""Torque and thrust of tools that feed along their axis: drills, counterbores, reamers, taps."""

from __future__ import annotations

import numpy as np

from palletwright.cutting import constants as k
from palletwright.cutting.milling import specific_force


def kienzle_torque(kc: float, feed: float, diameter: float, inner: float = 0.0) -> float:
    """Torque (N·m) of a drill or counterbore: kc·f·(D² − d²)/8000, f mm per revolution, `inner` the hole before."""
    return kc * feed * (diameter**2 - inner**2) / 8000.0


def kienzle_thrust(kc: float, feed: float, diameter: float, kappa: float, inner: float = 0.0) -> float:
    """Thrust (N) of the lips alone: 0.5·kc·f·(D − d)/2·sin κ (Sandvik Coromant technical guide)."""
    return 0.5 * kc * feed * (diameter - inner) / 2.0 * float(np.sin(np.radians(kappa)))


def chisel_factors(chisel: float) -> tuple[float, float, float]:
    """A (torque), B and J (thrust) at chisel edge over diameter `chisel`, by straight lines between the rows.

    Machinery's Handbook, 31st ed., Machining Power Table 7, p. 1152; 0.03 to 0.40, held at the ends.
    """
    table = np.array(k.CHISEL)
    a, b, j = (float(np.interp(chisel, table[:, 0], table[:, c])) for c in (1, 2, 3))
    return a, b, j


def handbook_torque(kd: float, feed: float, diameter: float, chisel: float) -> float:
    """Torque (N·m): 2.5e−5·Kd·f^0.8·D^1.8·A (Machinery's Handbook, 31st ed., pp. 1152–1153), sharp drill."""
    a, _, _ = chisel_factors(chisel)
    return float(2.5e-5 * kd * feed**0.8 * diameter**1.8 * a)


def handbook_thrust(kd: float, feed: float, diameter: float, chisel: float) -> float:
    """Thrust (N): 0.05·Kd·f^0.8·D^0.8·B + 0.007·Kd·D²·J (Machinery's Handbook, 31st ed., pp. 1152–1153)."""
    _, b, j = chisel_factors(chisel)
    return float(0.05 * kd * feed**0.8 * diameter**0.8 * b + 0.007 * kd * diameter**2 * j)


def lip_kc(kc11: float, mc: float, feed: float, point: float, edges: int = 2) -> float:
    """kc (N/mm²) at a drill's lip: chip thickness f/z·sin(σ/2), `point` the point angle σ in degrees."""
    return specific_force(kc11, mc, feed / edges * float(np.sin(np.radians(point / 2.0))))


def tap_torque_short(kc: float, pitch: float, diameter: float) -> float:
    """Cutting torque (N·m) of a tap: kc·P²·d/8000 (lubero.de, calculations page)."""
    return kc * pitch**2 * diameter / 8000.0


def tap_torque_long(kc: float, diameter: float, drilled: float, factor: float = k.TAP_K) -> float:
    """Cutting torque (N·m) of a tap: tan 30°·kc·K·(D − D₀)²·(D + 2D₀)/24000 (Yamawa catalogue 2021, pp. 639–640)."""
    flank = float(np.tan(np.radians(30.0)))
    return flank * kc * factor * (diameter - drilled) ** 2 * (diameter + 2.0 * drilled) / 24000.0
