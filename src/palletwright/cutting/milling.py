"""Forces of a rotating edge: engagement, peak over a turn, power."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from palletwright.cutting import constants as k


@dataclass(frozen=True, slots=True)
class Peak:
    """Greatest values over a turn: `tangential` Σ of the engaged edges (N), `side` resultant square to the axis (N)."""

    tangential: float
    side: float


def engagement(ae: float, diameter: float) -> float:
    """Engaged arc (rad) of a side cut of width `ae` mm: arccos(1 − 2·ae/D), π for a slot."""
    return float(np.arccos(np.clip(1.0 - 2.0 * ae / diameter, -1.0, 1.0)))


def mean_chip(fz: float, ae: float, diameter: float) -> float:
    """Mean chip thickness (mm) of a side cut: fz·(1 − cos φ)/φ, the exact mean of fz·sin over the engaged arc.

    Equals `360·fz·ae/(π·D·φ°)` (textbook; the centred form in Dijet catalogue 2018, p. 551).
    """
    arc = engagement(ae, diameter)
    return fz * float(1.0 - np.cos(arc)) / arc


def specific_force(kc11: float, mc: float, chip: float) -> float:
    """kc = kc1.1·h^(−mc) in N/mm² at chip thickness `chip` mm; held below 0.01 mm, where the law has no data."""
    return float(kc11 * max(chip, 0.01) ** -mc)


def power(ap: float, ae: float, feed: float, kc: float) -> float:
    """Power at the cutter, kW: ap·ae·vf·kc/60e6 (Mitsubishi Materials milling formulas; Dijet 2018 p. 551)."""
    return ap * ae * feed * kc / 60.0e6


def torque(power_kw: float, rpm: float) -> float:
    """Torque (N·m) of a power (kW) at a speed (rev/min): P = M·ω."""
    return power_kw * 3.0e4 / (np.pi * rpm)


def peak(kc11: float, mc: float, fz: float, ap: float, ae: float, diameter: float, edges: int, helix: float) -> Peak:
    """Greatest force over a turn of `edges` edges with helix angle `helix` (degrees), sharp tool.

    Each axial slice of each engaged edge gives dF_t = kc1.1·db·h^(1−mc), h = fz·sin φ, and a normal part of
    `NORMAL_RATIO` times as much. The slices lag by 2·z·tan(helix)/D (Altintas, Manufacturing Automation, ch. 2,
    from memory, unconfirmed). With helix 0 the tangential sum is Σ kc1.1·ap·h(φ)^(1−mc).
    """
    arc = engagement(ae, diameter)
    slices = 1 if helix == 0 else 24
    lag = 2.0 * ap * np.tan(np.radians(helix)) / diameter * (np.arange(slices) + 0.5) / slices
    # The peak often stands where an edge leaves: each slice's exit is tried as well as a grid over one tooth's turn.
    turn = np.concatenate([np.linspace(0.0, 2.0 * np.pi / edges, 91), arc + lag])
    teeth = 2.0 * np.pi * np.arange(edges) / edges
    phi = np.mod(turn[:, None, None] + teeth[None, :, None] - lag[None, None, :], 2.0 * np.pi)
    inside = phi <= arc + 1e-9
    chip = fz * np.clip(np.sin(phi), 0.0, None)
    tangential = np.where(inside, kc11 * (ap / slices) * chip ** (1.0 - mc), 0.0)
    normal = k.NORMAL_RATIO * tangential
    x = (-np.cos(phi) * tangential - np.sin(phi) * normal).sum(axis=(1, 2))
    y = (np.sin(phi) * tangential - np.cos(phi) * normal).sum(axis=(1, 2))
    return Peak(float(tangential.sum(axis=(1, 2)).max()), float(np.hypot(x, y).max()))


def axial_ratio(helix: float) -> float:
    """Axial over tangential force of an edge inclined by `helix` degrees.

    Oblique cutting with Stabler's rule: (cos(β−α)·tan i − tan i·sin β)/(cos(β−α) + tan² i·sin β) (Altintas,
    Manufacturing Automation, ch. 2; from memory, unconfirmed), β chip friction angle, α rake.
    """
    i, beta, alpha = np.radians([helix, k.CHIP_FRICTION, k.RAKE])
    lean = np.cos(beta - alpha)
    return float(np.tan(i) * (lean - np.sin(beta)) / (lean + np.tan(i) ** 2 * np.sin(beta)))
