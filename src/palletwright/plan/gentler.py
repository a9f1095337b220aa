"""Lighter cuts where a grip would not bear the fast ones: less depth, more passes, the time said."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from palletwright.cutting.model import Cut, Load

LEAST = 0.25
"""Least share of a cut's load to which it is eased; below it another grip is the better answer (common practice,
no source)."""

EASED = ("face", "rough", "finish", "drill", "counterbore", "countersink", "chamfer")


def eased(cut: Cut, share: float) -> Cut:
    """A cut with its load brought to `share`.

    Milling takes `share` of the depth a pass: force and torque are proportional to depth, and so is the rate. A
    drill feeds less: thrust and torque go with feed to the power 1 − mc, at worst about 0.7, so that feed goes
    down faster than the load (share^(1/0.7)), on the safe side for mc up to 0.3.
    """
    if share >= 1.0 or cut.stage not in EASED:
        return cut
    slower = share if cut.stage in ("face", "rough", "finish", "chamfer") else share ** (1 / 0.7)
    c, load = cut.conditions, cut.load
    if cut.stage in ("face", "rough", "finish", "chamfer"):
        conditions = replace(c, ap=c.ap * share, power_kw=c.power_kw * share, limited_by="the grip")
    else:
        conditions = replace(
            c, feed=c.feed * slower, per_tooth=c.per_tooth * slower, power_kw=c.power_kw * share, limited_by="the grip"
        )
    return replace(
        cut,
        conditions=conditions,
        load=_scaled(load, share),
        seconds=cut.seconds / slower,
        notes=(*cut.notes, f"eased to {100 * share:.0f} % of its load so that the grip bears it"),
    )


def _scaled(load: Load, share: float) -> Load:
    return replace(
        load, side=load.side * share, push=load.push * share, pull=load.pull * share, torque=load.torque * share
    )


LEVER = 20.0
"""mm, arm at which a torque counts as a force when cuts are compared: from memory, unconfirmed; it only orders them."""


def weight(load: Load) -> float:
    """One number (N) by which loads are compared: side force, pull, and torque at a lever."""
    return math.hypot(load.side, load.pull) + 1000.0 * load.torque / LEVER


def all_eased(cuts: Iterable[Cut], greatest: float) -> tuple[Cut, ...] | None:
    """Cuts with no load heavier than `greatest` (as `weight` counts, N), each eased by itself.

    None where a cut would have to go below LEAST, or can't be eased (a tap, a reamer).
    """
    rows = []
    for cut in cuts:
        heavy = weight(cut.load)
        share = 1.0 if heavy <= greatest else greatest / heavy
        if share < LEAST or (share < 1.0 and cut.stage not in EASED):
            return None
        rows.append(eased(cut, share))
    return tuple(rows)
