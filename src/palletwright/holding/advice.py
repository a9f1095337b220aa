"""The cheapest change that reaches the floor, each tried again before it is named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from palletwright.grip.model import Grip
from palletwright.holding.bolts import bolt, proof_load, screw_force
from palletwright.holding.contacts import Array, Contacts
from palletwright.holding.devices import GRADE, clamp_of
from palletwright.holding.elastic import elastic_factor, rest
from palletwright.holding.worst import worst_factor
from palletwright.shop.model import Clamp
from palletwright.verdict import Reason

# Without the clamp's data no torque past 1.5 times the nominal is proposed (estimated).
_BLIND = 1.5


def factor_of(contacts: Contacts, wrenches: Array, gravity: Array, enough: float) -> float:
    """Holding factor, the smaller of both; the elastic search ends at `enough`."""
    friction = worst_factor(contacts, wrenches, gravity).factor
    if friction < enough * 0.5:
        return friction
    at_rest = rest(contacts, gravity)
    elastic, _ = elastic_factor(contacts, at_rest, wrenches, gravity, stop=max(enough * 1.01, 0.5))
    return min(friction, elastic)


def advise(
    contacts: Contacts,
    base: Contacts,
    wrenches: Array,
    gravity: Array,
    floor: float,
    factor: float,
    cut: str,
    clamps: Sequence[Clamp],
    grip: Grip,
) -> tuple[Reason, ...]:
    """Ways to the floor, cheapest first: more torque, a second clamp beside one, lighter cuts."""
    reasons = [*_torque(contacts, base, wrenches, gravity, floor, clamps, grip)]
    reasons += _second_clamp(contacts, wrenches, gravity, floor)
    if factor > 0:
        share = factor / floor
        text = f"cuts of at most {share:.0%} of the force of {cut} reach {floor:g}: both factors scale with the load"
        reasons.append(Reason("smaller cut", text, share, "×"))
    if not reasons:
        reasons.append(
            Reason("holding", "neither torque nor a second clamp reaches the floor; a stop against the push is needed")
        )
    return tuple(reasons)


def _torque(
    contacts: Contacts,
    base: Contacts,
    wrenches: Array,
    gravity: Array,
    floor: float,
    clamps: Sequence[Clamp],
    grip: Grip,
) -> list[Reason]:
    limit = _greatest_share(base, clamps, grip)
    if limit <= 1.0:
        return []
    for share in np.linspace(1.0, limit, 6)[1:]:
        more = replace(contacts, preload=contacts.preload * share)
        got = factor_of(more, wrenches, gravity, floor)
        if got >= floor:
            text = f"{share:.0%} of the clamp torque reaches {got:.2f}, within the screws' proof load"
            return [Reason("more torque", text, float(share), "×")]
    return []


def _greatest_share(base: Contacts, clamps: Sequence[Clamp], grip: Grip) -> float:
    """How far all preloads can grow before the first screw, tightened with its scatter, meets its proof load."""
    by_id = {c.id: c for c in grip.contacts}
    shares = []
    for i in range(base.locators, len(base.ids)):
        clamp = clamp_of(grip, by_id[base.ids[i]].device, clamps)
        if clamp is None or base.preload[i] <= 0:
            shares.append(_BLIND)
            continue
        high = screw_force(clamp.torque, bolt(clamp.screw).diameter)[2] * base.preload[i] / clamp.force
        shares.append(proof_load(clamp.screw, GRADE) / high)
    return min(shares, default=0.0)


def _second_clamp(contacts: Contacts, wrenches: Array, gravity: Array, floor: float) -> list[Reason]:
    for i in range(contacts.locators, len(contacts.ids)):
        preload, stiffness = contacts.preload.copy(), contacts.stiffness.copy()
        preload[i], stiffness[i] = 2.0 * preload[i], 2.0 * stiffness[i]
        got = factor_of(replace(contacts, preload=preload, stiffness=stiffness), wrenches, gravity, floor)
        if got >= floor:
            text = f"a second clamp beside {contacts.ids[i]} reaches {got:.2f}"
            return [Reason("another clamp", text, got, "×")]
    return []
