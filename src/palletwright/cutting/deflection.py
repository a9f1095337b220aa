"""How far a side force bends a tool."""

from __future__ import annotations

import math

from palletwright.cutting import constants as k
from palletwright.shop.model import Tool

# Greatest tip deflection recommended in end milling, mm (generalcuttingtool.com rigidity note: 0.001 in).
LIMIT = 0.025


def deflection(tool: Tool, force: float) -> float:
    """Tip deflection (mm) of the tool under `force` N square to its axis at the tip.

    Stepped cantilever from the holder's front: δ = F/E·Σ (x₂³ − x₁³)/(3·I), I = π·d⁴/64, x from the tip. The fluted
    part counts as 0.8·DC (Kops & Vo 1990, from memory, unconfirmed). Holder and spindle count as rigid, so this is
    never above the true deflection.
    """
    cutter = tool.cutter
    modulus = k.E_CARBIDE if cutter.carbide else k.E_STEEL
    flute = min(cutter.LCF, tool.stick_out)
    neck = min(cutter.LU, tool.stick_out) if cutter.DN is not None else flute
    steps = [(0.0, flute, k.FLUTE_CORE * cutter.DC)]
    if neck > flute and cutter.DN is not None:
        steps.append((flute, neck, cutter.DN))
    if tool.stick_out > max(flute, neck):
        steps.append((max(flute, neck), tool.stick_out, cutter.DMM))
    return sum(force * (b**3 - a**3) / (3.0 * modulus * math.pi * d**4 / 64.0) for a, b, d in steps)
