"""Lighter cuts where a grip would not bear the fast ones: less depth, more passes, the time said."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from palletwright.cutting.model import Cut, Load

LEAST = 0.25
"""Least share of a cut's load to which it is eased at first; below it another grip is the better answer (common
practice, no source)."""

LAST = 0.05
"""Least share where no grip bears more: the cut takes twenty times as many passes, and says so (common practice, no
source)."""

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


def each_eased(cuts: Sequence[Cut], shares: Sequence[float], least: float = LEAST) -> tuple[Cut, ...] | None:
    """Cuts, each eased to its own share of its load.

    None where one would have to go below `least`, or can't be eased (a tap, a reamer).
    """
    if any(s < 1.0 and (s < least or c.stage not in EASED) for c, s in zip(cuts, shares, strict=True)):
        return None
    return tuple(eased(c, s) for c, s in zip(cuts, shares, strict=True))
