"""The grips of a finished way, proved in full: least preloads, what to set, motions, and what would cut faster."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from palletwright.cutting.model import Cut
from palletwright.holding import HoldingReport, certify, motions, prices_of
from palletwright.plan.context import Context
from palletwright.plan.giving import Gives, gives_of
from palletwright.plan.model import Design, OperationChoice
from palletwright.plan.options import Option, burden
from palletwright.verdict import Reason, Vec


@dataclass(frozen=True, eq=False)
class Proof:
    """One operation's grip under all its cuts, and the changes that would let eased cuts run in full."""

    report: HoldingReport
    faster: tuple[Reason, ...]
    gives: Gives


def proof_of(context: Context, design: Design, choice: OperationChoice, option: Option) -> Proof:
    """The proof of one operation of a design, worked out once for each grip."""
    return context.once(("proof", option), lambda: _proof(context, design, choice, option))


def _proof(context: Context, design: Design, choice: OperationChoice, option: Option) -> Proof:
    machine = context.machine(design.machine)
    before, _ = context.in_process(machine, design.family, design.sequence, choice.clamping)
    borne = burden(context, option.grip, option.cuts, before)
    common: dict[str, Any] = {
        "mass_kg": borne.mass_kg,
        "floors": context.shop.floors,
        "centre": borne.centre,
        "clamps": context.shop.clamps,
        "yield_strength": context.material.yield_strength,
    }
    felt = motions(machine, (0.0, 0.0, 1.0), _axis(option), machine.rotary.swing_radius if machine.rotary else 0.0)
    report = certify(option.grip, borne.rows, advice=False, details=True, motions=felt, **common)
    gives = gives_of(context, design, choice, option)
    full = context.cuts(machine, design.family, design.sequence, choice.clamping)
    lost = sum(c.seconds for c in option.cuts) - sum(c.seconds for c in full)
    if lost <= 1.0:
        return Proof(report, (), gives)
    shop, year = context.shop, lost / 3600.0 * machine.rate * context.job.per_year
    prices = prices_of(option.grip, shop.clamps, shop.locators, shop.rates.currency, year)
    wanted = certify(option.grip, burden(context, option.grip, full, before).rows, least=False, prices=prices, **common)
    return Proof(report, _faster(wanted, option.cuts, lost, year, shop.rates.currency), gives)


def _axis(option: Option) -> Vec | None:
    """The rotary axis in the station frame, None on a table."""
    if option.axis is None:
        return None
    x, y, z = option.grip.poses[0][:3, :3] @ np.asarray(option.axis)
    return float(x), float(y), float(z)


def _faster(wanted: HoldingReport, cuts: tuple[Cut, ...], lost: float, year: float, money: str) -> tuple[Reason, ...]:
    """What the lighter cuts cost, and the changes, cheapest first, that would let the fast ones run."""
    eased = sum(any(n.startswith("eased") for n in c.notes) for c in cuts)
    changes = [r for r in wanted.reasons if r.about in CHANGES]
    text = f"{eased} cuts are lighter than the tools allow, so that the grip bears them: {year:.0f} {money} a year"
    if not changes:
        text += "; more torque, a stop, a second clamp or serrated faces alone don't bear the fast ones"
    return (Reason("cuts", text, lost, "s a part"), *(replace(r, about=f"instead {r.about}") for r in changes))


CHANGES = ("more torque", "a stop", "another clamp", "serrated gripper")
"""What `advise` names beside lighter cuts."""


def told(report: HoldingReport) -> dict[str, Any]:
    """A proof in plain data."""
    return {
        "located": {
            "rank": report.rank,
            "condition": report.condition if np.isfinite(report.condition) else None,
            "located": report.located,
        },
        "least_preload_n": {
            "each": list(report.least_preload),
            "sum": sum(report.least_preload) if report.least_preload else None,
        },
        "set": [asdict(w) for w in report.windows],
        "at_tool": report.at_tool,
        "certificate": report.certificate,
    }
