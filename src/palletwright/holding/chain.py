"""The chain past the part: clamp screws in the carrier, carrier on its mount, rotary brake, tipping. Closed forms."""

from __future__ import annotations

import math
from dataclasses import dataclass

from palletwright.holding.bolts import bolt, proof_load, screw_force
from palletwright.holding.contacts import STANDARD_GRAVITY
from palletwright.verdict import Margin

# Shear strength of a tapped thread's material over its tensile strength (from memory, unconfirmed).
SHEAR = 0.6
# Share of the engaged cylinder π·d·L that shears in the carrier's thread (estimated; 0.5 to 0.87 in handbooks).
THREAD_SHARE = 0.5
# Steel on cast iron or aluminium, lubricated: low value (workholding makers' table gives 0.12 lubricated).
MOUNT_FRICTION = 0.12


@dataclass(frozen=True, slots=True)
class Screws:
    """`count` screws such as 'M8', tightened to `torque` N·m, class `grade`.

    `spread` mm is the least distance from the row of screws to the edge that the mount would tip about.
    """

    thread: str
    count: int
    torque: float
    grade: str = "8.8"
    spread: float = 0.0

    def __post_init__(self) -> None:
        proof_load(self.thread, self.grade)
        if self.count < 1 or self.torque <= 0 or self.spread < 0:
            raise ValueError(f"screws {self}: count from 1, torque over 0, spread from 0 are allowed")

    @property
    def least(self) -> float:
        """N of all screws together with the torque's scatter downwards."""
        return self.count * screw_force(self.torque, bolt(self.thread).diameter)[0]

    @property
    def greatest(self) -> float:
        """N of one screw with the scatter upwards."""
        return screw_force(self.torque, bolt(self.thread).diameter)[2]


def screw_margins(screws: Screws, subject: str, *, depth: float, tensile: float) -> tuple[Margin, Margin]:
    """A screw against its proof load, and the carrier's thread against stripping.

    Parameters
    ----------
    depth : mm of thread engaged in the carrier
    tensile : N/mm² of the carrier's material
    """
    strip = THREAD_SHARE * math.pi * bolt(screws.thread).diameter * depth * SHEAR * tensile
    need, proof = screws.greatest, proof_load(screws.thread, screws.grade)
    return (
        Margin("screw proof load", subject, f"{screws.thread} {screws.grade}", need, proof, "N", note="K 0.2, +30 %"),
        Margin("thread in carrier", subject, f"{screws.thread} × {depth:g} mm", need, strip, "N", note="estimated"),
    )


def slip_margin(screws: Screws, subject: str, side: float, pull: float, *, safety: float, friction: float) -> Margin:
    """A bolted joint held by friction: µ·(n·F − S·pull) against S·side, all in N."""
    have = friction * max(0.0, screws.least - safety * pull)
    return Margin("mount slip", subject, f"{screws.count} × {screws.thread}", safety * side, have, "N")


def tipping_margin(
    screws: Screws | None, subject: str, side: float, pull: float, height: float, half_width: float, mass: float,
    *, safety: float,
) -> Margin:  # fmt: skip
    """Moment (N·m) about the mount's edge: S·(side·height + pull·half width) against weight and screws.

    `height` mm from the mount's face to the cut, `half_width` mm from its middle to the edge that it tips about.
    """
    need = safety * (side * height + pull * half_width) / 1000.0
    have = mass * STANDARD_GRAVITY * half_width / 1000.0
    have += screws.least * (screws.spread or half_width) / 1000.0 if screws is not None else 0.0
    return Margin("tipping", subject, "mount edge", need, have, "N·m")


def brake_margin(
    brake: float, subject: str, cut: float, weight: float, obstacle: str, note: str = "", *, safety: float
) -> Margin:
    """Torque (N·m) on the clamped rotary axis: S·cut + weight against what its brake resists."""
    return Margin("rotary brake", subject, obstacle, safety * cut + weight, brake, "N·m", note=note)
