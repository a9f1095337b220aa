"""Speeds, feeds and depths for one tool in one material on one machine, and what limits them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from palletwright.cutting import constants as k
from palletwright.cutting.drilling import handbook_torque, kienzle_torque, lip_kc, tap_torque_long, tap_torque_short
from palletwright.cutting.load import mills_sideways
from palletwright.cutting.milling import mean_chip, power, specific_force, torque
from palletwright.cutting.model import Conditions, Stage
from palletwright.shop.model import Cutter, CuttingData, Machine, Material, Tool


@dataclass(frozen=True, slots=True)
class _Spindle:
    """What is left at the cutter with a worn edge: speed rev/min, power kW, torque N·m."""

    speed: float
    power: float
    torque: float


def conditions_for(
    tool: Tool,
    material: Material,
    machine: Machine,
    stage: Stage,
    *,
    ap: float | None = None,
    ae: float | None = None,
    depth: float | None = None,
) -> Conditions:
    """Cutting conditions of `tool` in `stage`, reduced until the spindle can drive them with a worn edge.

    Parameters
    ----------
    ap, ae : mm, depth and width of cut (counterbores and reamers: `ae` is the ring or allowance per side); what is
        given here is kept, and the rest is reduced first
    depth : mm of hole, for the reduction in deep holes

    Returns
    -------
    Conditions
        `limited_by` is 'tool data', 'speed', 'power', 'torque', 'stick-out' or 'depth': the last that bit.
    """
    spindle = _Spindle(
        machine.spindle_speed, machine.spindle_power * k.EFFICIENCY / k.WORN, machine.spindle_torque / k.WORN
    )
    if mills_sideways(tool.cutter, stage):
        return _mill(tool, material, spindle, stage, ap, ae)
    if tool.cutter.kind == "tap" or stage == "tap":
        return _tap(tool.cutter, material, spindle)
    return _hole(tool.cutter, material, spindle, stage, ae, depth, machine.coolant_through)


def _data(cutter: Cutter, carbide: CuttingData, hss: CuttingData | None) -> CuttingData:
    if cutter.carbide:
        return carbide
    return hss or carbide.model_copy(update={"vc": carbide.vc * k.HSS_SPEED})


def _speed(vc: float, diameter: float, spindle: _Spindle) -> tuple[float, str]:
    rpm = 1000.0 * vc / (np.pi * diameter)
    return (spindle.speed, "speed") if rpm > spindle.speed else (float(rpm), "tool data")


def _mill(
    tool: Tool, material: Material, spindle: _Spindle, stage: Stage, ap: float | None, ae: float | None
) -> Conditions:
    cutter = tool.cutter
    data = _data(cutter, material.mill, material.mill_hss)
    fz = data.feed * min(cutter.DC, k.FEED_CAP_MILL) / 10.0
    depth, width = _engagement(cutter, data, stage)
    if stage in ("finish", "chamfer"):
        fz *= k.FINISH_FEED
    rpm, limit = _speed(data.vc, cutter.DC, spindle)
    reach = tool.stick_out / cutter.DC
    if reach > k.STICK_OUT:
        # Force falls about as (4/r)^2.4, deflection grows as r³: rough compensation, common practice, no source.
        depth *= (k.STICK_OUT / reach) ** 2
        fz *= max(0.5, (k.STICK_OUT / reach) ** 0.5)
        limit = "stick-out"
    depth = ap if ap is not None else depth
    width = min(ae if ae is not None else width, cutter.DC)
    start = Conditions(rpm, rpm * fz * cutter.ZEFP, fz, depth, width, 0.0, limit)
    return _fit(cutter, material, spindle, start, keep_ap=ap is not None, keep_ae=ae is not None)


def _engagement(cutter: Cutter, data: CuttingData, stage: Stage) -> tuple[float, float]:
    deepest = cutter.APMX or cutter.LCF
    if stage == "face":
        return min(k.FACE_AP, deepest), k.FACE_AE * cutter.DC
    if stage == "chamfer":
        return 0.5, 0.5
    if stage == "finish":
        return min(data.ap * cutter.DC, deepest), min(k.FINISH_AE, data.ae * cutter.DC)
    return min(data.ap * cutter.DC, deepest), data.ae * cutter.DC


def _mill_power(cutter: Cutter, material: Material, c: Conditions) -> float:
    kc = specific_force(material.kc11, material.mc, mean_chip(c.per_tooth, c.ae, cutter.DC))
    return power(c.ap, c.ae, c.feed, kc)


def _fit(
    cutter: Cutter, material: Material, spindle: _Spindle, c: Conditions, keep_ap: bool, keep_ae: bool
) -> Conditions:
    """Reduce depth, then width, then feed, each down to a fifth, until power and torque fit.

    What still does not fit after that lowers the feed as far as it takes.
    """
    steps = [s for s, kept in (("ap", keep_ap), ("ae", keep_ae)) if not kept] + ["feed", "feed further"]
    for step in steps:
        needed = _mill_power(cutter, material, c)
        share = min(spindle.power / needed, spindle.torque / torque(needed, c.rpm))
        if share >= 1.0 - 1e-12:
            break
        by = "power" if spindle.power / needed <= spindle.torque / torque(needed, c.rpm) else "torque"
        if step == "ap":
            c = replace(c, ap=c.ap * max(share, 0.2), limited_by=by)
        elif step == "ae":
            # Narrower cuts have thinner chips and so a greater kc: the factor squared stays on the safe side.
            c = replace(c, ae=c.ae * max(share ** (1.0 / (1.0 - material.mc / 2.0)), 0.2), limited_by=by)
        else:
            factor = share ** (1.0 / (1.0 - material.mc))
            factor = max(factor, 0.2) if step == "feed" else min(factor, share) * 0.999
            c = replace(c, feed=c.feed * factor, per_tooth=c.per_tooth * factor, limited_by=by)
    return replace(c, power_kw=_mill_power(cutter, material, c))


def _deep(cutter: Cutter, depth: float | None, coolant: bool) -> tuple[float, float]:
    """Speed and feed shares for a hole `depth` mm deep."""
    if depth is None or cutter.kind not in ("drill", "reamer"):
        return 1.0, 1.0
    ratio = depth / cutter.DC
    if cutter.carbide:
        ratio *= k.DEEP_COOLANT if coolant and cutter.coolant_through else k.DEEP_CARBIDE
    shares = [(vc, feed) for limit, vc, feed in k.DEEP if ratio >= limit]
    return shares[-1] if shares else (1.0, 1.0)


def _hole(
    cutter: Cutter,
    material: Material,
    spindle: _Spindle,
    stage: Stage,
    ae: float | None,
    depth: float | None,
    coolant: bool,
) -> Conditions:
    data = _data(cutter, material.drill, material.drill_hss)
    work = {"reamer": "ream", "counterbore": "counterbore", "spot_drill": "spot"}.get(cutter.kind, stage)
    slow, less = _deep(cutter, depth, coolant)
    rpm, limit = _speed(data.vc * k.SPEED_SHARE.get(work, 1.0) * slow, cutter.DC, spindle)
    if (slow, less) != (1.0, 1.0) and limit == "tool data":
        limit = "depth"
    feed = data.feed * min(cutter.DC, k.FEED_CAP_DRILL) / 10.0 * k.FEED_SHARE.get(work, 1.0) * less
    width = _ring(cutter, work, ae)
    moment = _hole_torque(cutter, material, work, feed, width)
    share = min(spindle.torque / moment, spindle.power / (moment * rpm * np.pi / 3.0e4))
    if share < 1.0:
        limit = "torque" if spindle.torque <= spindle.power / (rpm * np.pi / 3.0e4) else "power"
        feed *= share ** (1.0 / min(0.8, 1.0 - material.mc))
        moment = _hole_torque(cutter, material, work, feed, width)
    needed = moment * rpm * np.pi / 3.0e4
    return Conditions(rpm, rpm * feed, feed, cutter.DC / 2.0, width, float(needed), limit)


def _ring(cutter: Cutter, work: str, ae: float | None) -> float:
    """mm per side that an axial tool removes: reamers 0.1 mm + 0.5 % of D, counterbores a quarter of D (practice)."""
    if ae is not None:
        return min(ae, cutter.DC / 2.0)
    if work == "ream":
        return 0.1 + 0.005 * cutter.DC
    return cutter.DC / 4.0 if work in ("counterbore", "countersink", "chamfer") else cutter.DC / 2.0


def _hole_torque(cutter: Cutter, material: Material, work: str, feed: float, width: float) -> float:
    inner = max(0.0, cutter.DC - 2.0 * width)
    if work in ("drill", "spot"):
        kc = lip_kc(material.kc11, material.mc, feed, cutter.SIG or 118.0)
        chisel = k.CHISEL_THINNED if cutter.carbide else k.CHISEL_STANDARD
        kd = k.KD_PER_KC[material.group] * material.kc11
        return max(kienzle_torque(kc, feed, cutter.DC), handbook_torque(kd, feed, cutter.DC, chisel))
    kc = specific_force(material.kc11, material.mc, feed / cutter.ZEFP)
    return kienzle_torque(kc, feed, cutter.DC, inner)


def _tap(cutter: Cutter, material: Material, spindle: _Spindle) -> Conditions:
    if not cutter.TP:
        raise ValueError(f"cutter {cutter.id} can't tap: TP (pitch) is missing; allowed: a tap with its pitch in mm")
    rpm, limit = _speed(material.tap_vc, cutter.DC, spindle)
    moment = max(
        tap_torque_short(k.TAP_KC_SHORT[material.group], cutter.TP, cutter.DC),
        tap_torque_long(k.TAP_KC_YAMAWA[material.group], cutter.DC, cutter.DC - cutter.TP),
    )
    if moment * np.pi * rpm / 3.0e4 > spindle.power:
        rpm, limit = float(spindle.power * 3.0e4 / (np.pi * moment)), "power"
    if moment > spindle.torque:
        # A tap's feed is its pitch: nothing can be reduced. The torque limit is named and the plan must not use it.
        limit = "torque exceeded"
    depth = 0.6 * cutter.TP
    return Conditions(rpm, rpm * cutter.TP, cutter.TP, depth, depth, float(moment * np.pi * rpm / 3.0e4), limit)
