"""Numbers of the trade that cutting rests on, each with its unit, source and range."""

from __future__ import annotations

from typing import Final

from palletwright.shop.model import Isogroup

MEMORY: Final = "from memory, unconfirmed"
PRACTICE: Final = "common practice, no source"

# Worn edge in a clamping check: kc grows by 1.3 to 1.5 (Kienzle correction K_ver; from memory, unconfirmed).
WORN: Final = 1.3
# Interrupted cut: factor K3 = 1.2 of the fixture handbooks' product of factors (from memory, unconfirmed).
INTERRUPTED: Final = 1.2
# Share of the motor's power that reaches the cutter: 0.75 to 0.80 (Dormer Pramet catalogue 2021-22 p. 784).
EFFICIENCY: Final = 0.75
# Normal (radial) over tangential force of a sharp milling edge, 0.3 to 0.5 (from memory, unconfirmed).
NORMAL_RATIO: Final = 0.5
# Axial push over tangential force: face mill with a lead angle 0.3, end mill's end edges 0.15 (from memory).
PUSH_RATIO_FACE: Final = 0.3
PUSH_RATIO_END: Final = 0.15
# Oblique cutting with Stabler's rule: rake and friction angle, degrees. A low friction angle gives the greater pull
# (Altintas, Manufacturing Automation, ch. 2; from memory, unconfirmed).
RAKE: Final = 10.0
CHIP_FRICTION: Final = 17.0
# Side force of a drill as a share of its thrust: unequal lips, entry on a slope (estimated).
DRILL_SIDE: Final = 0.1
# At break-through a twist drill screws itself in: torque up to 1.5 times, pull 0.4 of the thrust (from memory).
GRAB_TORQUE: Final = 1.5
GRAB_PULL: Final = 0.4
# Tapping: torque at the reversal with packed chips or a worn tap, 2 times the cutting torque (from memory).
TAP_PEAK: Final = 2.0
# Tapping: axial force from the error between feed and pitch, N per mm of diameter (estimated).
TAP_AXIAL: Final = 30.0
# Chisel edge of a drill over its diameter: standard point 0.18 (Machinery's Handbook, 31st ed., Table 7, p. 1152);
# thinned or split carbide point 0.10 (estimated between the table's 0.18 and the split point's 0.03).
CHISEL_STANDARD: Final = 0.18
CHISEL_THINNED: Final = 0.10
# Machinery's Handbook, 31st ed., Machining Power Table 7, p. 1152: c/d, torque factor A, thrust factors B and J.
CHISEL: Final = (
    (0.03, 1.0, 1.1, 0.001),
    (0.05, 1.005, 1.14, 0.003),
    (0.08, 1.015, 1.2, 0.006),
    (0.10, 1.02, 1.235, 0.01),
    (0.13, 1.04, 1.27, 0.017),
    (0.15, 1.08, 1.31, 0.022),
    (0.18, 1.085, 1.355, 0.03),
    (0.20, 1.105, 1.38, 0.04),
    (0.25, 1.155, 1.445, 0.065),
    (0.30, 1.235, 1.5, 0.09),
    (0.35, 1.31, 1.575, 0.12),
    (0.40, 1.395, 1.62, 0.16),
)
# Drilling constant Kd over kc1.1 by ISO group, from Kd of Machinery's Handbook Table 6 (from memory, unconfirmed;
# steel of 200 HB 24000 closes the published example) over the group's kc1.1. H: taken as P.
KD_PER_KC: Final[dict[Isogroup, float]] = {"P": 16.0, "M": 16.3, "K": 12.2, "N": 8.75, "S": 13.7, "H": 16.0}
# Tapping kc, N/mm²: the greater of two tap makers' tables for the group (lubero.de calculations page for
# `M = kc·P²·d/8000`; Yamawa catalogue 2021 p. 640 Table 1 for its own formula). S and H: from memory, unconfirmed.
TAP_KC_SHORT: Final[dict[Isogroup, float]] = {"P": 2600, "M": 3200, "K": 1600, "N": 800, "S": 3600, "H": 4500}
TAP_KC_YAMAWA: Final[dict[Isogroup, float]] = {"P": 3900, "M": 4200, "K": 2900, "N": 1300, "S": 4900, "H": 5500}
# Yamawa catalogue 2016-17 p. 781 Table 2, hand tap with 5 threads of chamfer in steel: the greatest common case.
TAP_K: Final = 1.35
# Young's modulus, N/mm²: carbide 580 to 620 GPa, high-speed steel 210 GPa.
E_CARBIDE: Final = 6.0e5
E_STEEL: Final = 2.1e5
# Effective diameter of the fluted part over DC (Kops & Vo, CIRP Annals 39/1, 1990; from memory, unconfirmed).
FLUTE_CORE: Final = 0.8
# Deepest pass when facing, mm, and its share of the diameter in width (common practice, no source).
FACE_AP: Final = 2.0
FACE_AE: Final = 0.7
# Finishing: width per side in mm, feed as a share of roughing (common practice, no source).
FINISH_AE: Final = 0.3
FINISH_FEED: Final = 0.7
# Feeds grow with the diameter up to this one, mm (common practice, no source).
FEED_CAP_MILL: Final = 16.0
FEED_CAP_DRILL: Final = 25.0
# Without data for high-speed steel: share of the carbide speed (from memory, unconfirmed).
HSS_SPEED: Final = 0.35
# Speed and feed of other hole tools over those of a drill (common practice, no source).
SPEED_SHARE: Final = {"ream": 0.4, "counterbore": 0.5, "countersink": 0.4, "chamfer": 0.5, "spot": 0.8, "drill": 1.0}
FEED_SHARE: Final = {"ream": 1.5, "counterbore": 0.5, "countersink": 0.5, "chamfer": 0.5, "spot": 0.5, "drill": 1.0}
# Depth over diameter, speed and feed shares of a drill of high-speed steel (decimal-equivalents guide; the ratio
# column from memory). Carbide counts 0.6 of its depth, with coolant through it 0.3 (from memory, unconfirmed).
DEEP: Final = ((3.0, 0.9, 0.9), (4.0, 0.8, 0.9), (5.0, 0.7, 0.8), (6.0, 0.6, 0.8))
DEEP_CARBIDE: Final = 0.6
DEEP_COOLANT: Final = 0.3
# Stick-out over diameter past which a mill is slowed down (common practice, no source).
STICK_OUT: Final = 4.0
