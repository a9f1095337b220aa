"""Screws: torque to force with its scatter, proof load, straps and wedges.

Stress areas, coarse pitches and proof loads in `bolts.csv`: ISO 898-1, read through reproductions (optimas.com proof
loads, slsbearings.com tensile strength).
"""

from __future__ import annotations

import csv
import math
import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

# Nut factor: 0.20 dry, 0.15 oiled; ±30 % scatter for torque control (mobiletechengineering.com, "nut factor K").
NUT_FACTOR = 0.20
SCATTER = 0.30
# Rp0.2 in N/mm² for the preload of VDI 2230-1 (as its tables use; ISO 898-1).
YIELD = {"8.8": 640.0, "10.9": 940.0, "12.9": 1100.0}


@dataclass(frozen=True, slots=True)
class Bolt:
    """A coarse metric thread: diameter and pitch mm, stress area mm², proof load N by property class."""

    diameter: float
    pitch: float
    area: float
    proof: dict[str, float]


@cache
def _table() -> dict[str, Bolt]:
    text = files("palletwright.holding").joinpath("bolts.csv").read_text("utf-8")
    rows = csv.DictReader(text.splitlines())
    return {
        r["thread"]: Bolt(
            float(r["thread"][1:]),
            float(r["pitch_mm"]),
            float(r["area_mm2"]),
            {c: float(r[f"proof_{c}_n"]) for c in YIELD},
        )
        for r in rows
    }


def bolt(name: str) -> Bolt:
    """The bolt named in `name`, such as 'M8' or 'M8x25'; raises ValueError with the threads known."""
    found = re.match(r"\s*[Mm](\d+)", name)
    key = f"M{found.group(1)}" if found else name
    if key not in _table():
        raise ValueError(f"screw {name!r} isn't in the table; allowed: {', '.join(_table())}")
    return _table()[key]


def proof_load(name: str, grade: str = "8.8") -> float:
    """Proof load (N) by ISO 898-1."""
    proof = bolt(name).proof
    if grade not in proof:
        raise ValueError(f"property class {grade!r} isn't in the table; allowed: {', '.join(proof)}")
    return proof[grade]


def screw_force(
    torque: float, diameter: float, nut_factor: float = NUT_FACTOR, scatter: float = SCATTER
) -> tuple[float, float, float]:
    """Least, mean and greatest screw force (N) of `torque` N·m on `diameter` mm: F = T/(K·d), ± the scatter."""
    mean = 1000.0 * torque / (nut_factor * diameter)
    return mean * (1.0 - scatter), mean, mean * (1.0 + scatter)


def screw_torque(force: float, diameter: float, nut_factor: float = NUT_FACTOR) -> float:
    """Torque (N·m) for a mean screw force (N): T = K·d·F."""
    return nut_factor * diameter * force / 1000.0


def strap_force(bolt_force: float, heel: float, work: float) -> float:
    """Force on the part (N) under a strap, `heel` mm from heel to bolt, `work` mm from bolt to part: F·a/(a + b)."""
    return bolt_force * heel / (heel + work)


def wedge_force(screw: float, angle: float, friction: float) -> float:
    """Side force (N) of a screw-driven wedge of `angle` degrees: Q/(tan(α + φ) + tan φ) (from memory, unconfirmed)."""
    phi = math.atan(friction)
    return screw / (math.tan(math.radians(angle) + phi) + math.tan(phi))


def greatest_preload(name: str, grade: str = "8.8", friction: float = 0.14, pitch: float | None = None) -> float:
    """Greatest assembly preload (N) at 90 % of yield, torsion included.

    `0.9·Rp·A/√(1 + 3·(1.5·d₂/d₀·(P/(π·d₂) + 1.155·µ))²)` with d₀ = √(4A/π) (VDI 2230-1, the formula from memory,
    checked against published rows). `pitch` gives a fine thread of the same diameter; its area is
    π/4·((d₂ + d₃)/2)² (ISO 898-1).
    """
    b = bolt(name)
    p = pitch or b.pitch
    d2, d3 = b.diameter - 0.64952 * p, b.diameter - 1.22687 * p
    area = math.pi / 4.0 * ((d2 + d3) / 2.0) ** 2
    d0 = math.sqrt(4.0 * area / math.pi)
    twist = 1.5 * d2 / d0 * (p / (math.pi * d2) + 1.155 * friction)
    return 0.9 * YIELD[grade] * area / math.sqrt(1.0 + 3.0 * twist**2)
