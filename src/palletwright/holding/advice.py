"""The cheapest change that reaches the floor, each tried again before it is named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from palletwright.grip.model import Grip
from palletwright.holding.bolts import proof_load
from palletwright.holding.contacts import Array, Contacts
from palletwright.holding.devices import GRADE, pressed
from palletwright.holding.elastic import holds, respond, rest
from palletwright.holding.worst import failing
from palletwright.shop.model import Clamp
from palletwright.verdict import Reason

# Without the clamp's data no torque past 1.5 times the nominal is proposed (estimated).
_BLIND = 1.5


def reaches(contacts: Contacts, wrenches: Array, gravity: Array, floor: float) -> bool:
    """True if both verdicts reach `floor` under every load (the elastic one tried at four scales up to it)."""
    at_rest = rest(contacts, gravity)
    if not at_rest.balanced:
        return False
    for share in (1.0, 0.75, 0.5, 0.25):
        state = respond(contacts, at_rest, share * floor * wrenches, gravity)
        if not holds(contacts, at_rest, state).all():
            return False
    return len(failing(contacts, wrenches, gravity, floor)) == 0


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
    limit, limit_by = _greatest_share(base, clamps, grip)
    if limit <= 1.0:
        return []
    for share in np.linspace(1.0, limit, 6)[1:]:
        more = replace(contacts, preload=contacts.preload * share)
        if reaches(more, wrenches, gravity, floor):
            text = f"{share:.0%} of the clamp torque reaches {floor:g}; {limit_by}"
            return [Reason("more torque", text, float(share), "×")]
    return []


def _greatest_share(base: Contacts, clamps: Sequence[Clamp], grip: Grip) -> tuple[float, str]:
    """How far all preloads can grow before the first screw, tightened with its scatter, meets its proof load."""
    shares = [proof_load(p.clamp.screw, GRADE) / p.screw for p in pressed(grip, base, clamps)]
    blind = not shares
    if blind and len(base.ids) > base.locators:
        shares = [_BLIND]
    told = "the screws' limit is unknown" if blind else "within the screws' proof load"
    return min(shares, default=0.0), told


def _second_clamp(contacts: Contacts, wrenches: Array, gravity: Array, floor: float) -> list[Reason]:
    for i in range(contacts.locators, len(contacts.ids)):
        preload, stiffness = contacts.preload.copy(), contacts.stiffness.copy()
        preload[i], stiffness[i] = 2.0 * preload[i], 2.0 * stiffness[i]
        if reaches(replace(contacts, preload=preload, stiffness=stiffness), wrenches, gravity, floor):
            text = f"a second clamp beside {contacts.ids[i]} reaches {floor:g}"
            return [Reason("another clamp", text, 1.0, "clamp")]
    return []
