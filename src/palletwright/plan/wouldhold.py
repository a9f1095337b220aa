"""What would make the nearest of the grips that don't hold one that does."""

from __future__ import annotations

import math
from collections.abc import Sequence

from palletwright.grip.model import Grip
from palletwright.holding import HoldingReport, certify, prices_of
from palletwright.plan.context import Context
from palletwright.plan.options import OperationKey, burden, drafted, regimes, strengths
from palletwright.verdict import Reason

SHOWN = 3
"""Changes that are told, cheapest first."""


def would_hold(context: Context, key: OperationKey, why: Sequence[Reason]) -> tuple[Reason, ...]:
    """Changes that bring the grip that lacks least, by these reasons, to its floor; each was tried.

    Empty where every grip fails for another reason than its holding factor.
    """
    near = min((r for r in why if r.unit == "holding factor" and r.amount is not None), key=_lack, default=None)
    if near is None:
        return ()
    machine, shop = context.machine(key.machine), context.shop
    cuts = context.cuts(machine, key.family, key.sequence, key.clamping)
    before, _ = context.in_process(machine, key.family, key.sequence, key.clamping)
    named = [
        grip
        for beyond in strengths(context, key.kind)
        for found in drafted(context, machine, key, cuts, beyond)[0]
        if f"grip {found.id}" == near.about
        for grip in regimes(found)
    ]
    if not named:
        return ()

    def judged(grip: Grip, advice: bool) -> HoldingReport:
        borne = burden(context, grip, cuts, before)
        prices = prices_of(grip, shop.clamps, shop.locators, shop.rates.currency)
        return certify(
            grip, borne.rows, mass_kg=borne.mass_kg, floors=shop.floors, centre=borne.centre, clamps=shop.clamps,
            least=False, advice=advice, prices=prices, yield_strength=context.material.yield_strength,
        )  # fmt: skip

    reports = [judged(g, False) for g in named]
    best = named[max(range(len(named)), key=lambda k: (reports[k].holding_factor or 0.0) / reports[k].floor)]
    told = [r for r in judged(best, True).reasons if r.unit and r.about not in (best.id, "holding")]
    return tuple(Reason(near.about, f"would hold with {r.about}: {r.text}", r.amount, r.unit) for r in told[:SHOWN])


def least_lack(why: Sequence[Reason]) -> float:
    """What the nearest of the grips that don't hold lacks of its floor; infinite where none is told."""
    return min((r.amount for r in why if r.unit == "holding factor" and r.amount is not None), default=math.inf)


def _lack(reason: Reason) -> float:
    return reason.amount or 0.0
