"""The greatest load that one cut puts on the part."""

from __future__ import annotations

from palletwright.cutting import constants as k
from palletwright.cutting.drilling import (
    handbook_thrust,
    handbook_torque,
    kienzle_thrust,
    kienzle_torque,
    lip_kc,
    tap_torque_long,
    tap_torque_short,
)
from palletwright.cutting.milling import axial_ratio, peak, specific_force
from palletwright.cutting.model import Conditions, Load, Stage
from palletwright.shop.model import Cutter, Material, Tool

MILLS = frozenset({"end_mill", "face_mill", "ball_mill", "slot_cutter", "chamfer_mill"})
_AXIAL_STAGES = frozenset({"drill", "spot", "ream", "tap", "countersink"})


def mills_sideways(cutter: Cutter, stage: Stage) -> bool:
    """True if the cutter removes material by moving square to its axis in this stage."""
    return cutter.kind in MILLS and stage not in _AXIAL_STAGES


def load_of(
    tool: Tool,
    material: Material,
    conditions: Conditions,
    stage: Stage,
    *,
    interrupted: bool = False,
    through: bool = True,
) -> Load:
    """Greatest cutting load of one cut with a worn edge; the spread of kc stays apart in `Load.spread`.

    Parameters
    ----------
    interrupted : the cut crosses gaps; forces grow by 1.2 (from memory, unconfirmed)
    through : a drill comes out at the far side, where it grabs; True is the stricter

    Notes
    -----
    Mills: peak over a turn of the engaged edges, `milling.peak`. Drills: the greater of the Kienzle and the
    Machinery's Handbook forms. Taps: the greater of two tap makers' formulas, times 2 at the reversal.
    """
    cutter = tool.cutter
    if mills_sideways(cutter, stage):
        load = _mill(cutter, material, conditions)
    elif cutter.kind == "tap" or stage == "tap":
        load = _tap(cutter, material)
    elif cutter.kind == "reamer" or stage == "ream":
        load = _ream(cutter, material, conditions)
    elif cutter.kind == "counterbore" or stage in ("counterbore", "countersink", "chamfer"):
        load = _counterbore(cutter, material, conditions)
    else:
        load = _drill(cutter, material, conditions, through)
    if not interrupted:
        return load
    side, push, pull, torque = (k.INTERRUPTED * v for v in (load.side, load.push, load.pull, load.torque))
    return Load(side, push, pull, torque, load.spread, f"{load.source}; interrupted ×{k.INTERRUPTED:g} ({k.MEMORY})")


def _mill(cutter: Cutter, material: Material, c: Conditions) -> Load:
    ae = min(c.ae, cutter.DC)
    top = peak(material.kc11, material.mc, c.per_tooth, c.ap, ae, cutter.DC, cutter.ZEFP, cutter.helix)
    tangential, side = k.WORN * top.tangential, k.WORN * top.side
    push = tangential * (k.PUSH_RATIO_FACE if cutter.kind == "face_mill" else k.PUSH_RATIO_END)
    source = (
        f"peak of the engaged edges, kc1.1 {material.kc11:g} N/mm², mc {material.mc:g} ({material.source}); "
        f"worn ×{k.WORN:g}, normal {k.NORMAL_RATIO:g}·Ft, axial by oblique cutting ({k.MEMORY})"
    )
    pull = tangential * axial_ratio(cutter.helix)
    return Load(side, push, pull, tangential * cutter.DC / 2000.0, material.kc_spread, source)


def _drill(cutter: Cutter, material: Material, c: Conditions, through: bool) -> Load:
    point = cutter.SIG or 118.0
    chisel = k.CHISEL_THINNED if cutter.carbide else k.CHISEL_STANDARD
    kc = lip_kc(material.kc11, material.mc, c.per_tooth, point)
    kd = k.KD_PER_KC[material.group] * material.kc11
    moment = max(kienzle_torque(kc, c.per_tooth, cutter.DC), handbook_torque(kd, c.per_tooth, cutter.DC, chisel))
    thrust = max(
        kienzle_thrust(kc, c.per_tooth, cutter.DC, point / 2.0) * 1.6,
        handbook_thrust(kd, c.per_tooth, cutter.DC, chisel),
    )
    moment, thrust = k.WORN * moment, k.WORN * thrust
    source = (
        "greater of Kienzle and Machinery's Handbook 31st ed. pp. 1152-1153; Kd estimated from kc1.1 by ISO group; "
        f"worn ×{k.WORN:g} ({k.MEMORY})"
    )
    pull = 0.1 * thrust
    if through:
        pull, moment = k.GRAB_PULL * thrust, k.GRAB_TORQUE * moment
        source += f"; break-through grab: torque ×{k.GRAB_TORQUE:g}, pull {k.GRAB_PULL:g} of thrust ({k.MEMORY})"
    return Load(k.DRILL_SIDE * thrust, thrust, pull, moment, material.kc_spread, source)


def _counterbore(cutter: Cutter, material: Material, c: Conditions) -> Load:
    inner = max(0.0, cutter.DC - 2.0 * c.ae)
    kc = specific_force(material.kc11, material.mc, c.per_tooth / cutter.ZEFP)
    thrust = k.WORN * 1.6 * kienzle_thrust(kc, c.per_tooth, cutter.DC, 90.0, inner)
    moment = k.WORN * kienzle_torque(kc, c.per_tooth, cutter.DC, inner)
    source = f"Kienzle on the ring of {c.ae:.2f} mm; rubbing ×1.6 on the thrust, worn ×{k.WORN:g} ({k.MEMORY})"
    return Load(k.DRILL_SIDE * thrust, thrust, 0.1 * thrust, moment, material.kc_spread, source)


def _ream(cutter: Cutter, material: Material, c: Conditions) -> Load:
    kc = specific_force(material.kc11, material.mc, c.per_tooth / cutter.ZEFP)
    force = k.WORN * kc * c.ae * c.per_tooth
    source = f"Kienzle on {c.ae:.2f} mm of allowance; axial force 0.5 of the tangential, worn ×{k.WORN:g} ({k.MEMORY})"
    return Load(k.DRILL_SIDE * force, force / 2, force / 2, force * cutter.DC / 2000.0, material.kc_spread, source)


def _tap(cutter: Cutter, material: Material) -> Load:
    if not cutter.TP:
        raise ValueError(f"cutter {cutter.id} can't tap: TP (pitch) is missing; allowed: a tap with its pitch in mm")
    short = tap_torque_short(k.TAP_KC_SHORT[material.group], cutter.TP, cutter.DC)
    long = tap_torque_long(k.TAP_KC_YAMAWA[material.group], cutter.DC, cutter.DC - cutter.TP)
    moment = k.TAP_PEAK * max(short, long)
    axial = k.TAP_AXIAL * cutter.DC
    source = (
        "greater of lubero.de kc·P²·d/8000 and Yamawa catalogue 2021 pp. 639-640; "
        f"peak ×{k.TAP_PEAK:g} ({k.MEMORY}); axial {k.TAP_AXIAL:g} N per mm (estimated)"
    )
    return Load(0.0, axial, axial, moment, material.kc_spread, source)
