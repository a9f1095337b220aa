"""The cheapest change that reaches the floor, each tried again before it is named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from palletwright.grip.model import Grip
from palletwright.holding.bolts import proof_load
from palletwright.holding.contacts import LOCATOR_STIFFNESS, Array, Contacts
from palletwright.holding.devices import GRADE, pressed
from palletwright.holding.elastic import holds, respond, rest
from palletwright.holding.worst import failing
from palletwright.shop.model import Clamp
from palletwright.verdict import Reason

# Without the clamp's data no torque past 1.5 times the nominal is proposed (estimated).
_BLIND = 1.5
# Serrated jaw on a machined steel face (Roehm RN-1391 p. 45, Table 4).
SERRATED = 0.20


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
    push: Array,
    clamps: Sequence[Clamp],
    grip: Grip,
) -> tuple[Reason, ...]:
    """Ways to the floor: more torque, a second clamp beside one, a stop, serrated grippers, lighter cuts.

    `push` (3,) is the force of the worst load, square to its cut's direction: no stop can stand in the tool's way.
    """
    reasons = [*_torque(contacts, base, wrenches, gravity, floor, clamps, grip)]
    reasons += _second_clamp(contacts, wrenches, gravity, floor)
    reasons += _stop(contacts, wrenches, gravity, floor, push)
    if grip.regime == "friction":
        reasons += _serrated(contacts, wrenches, gravity, floor)
    if factor > 0:
        share = factor / floor
        text = f"cuts of at most {share:.0%} of the force of {cut} reach {floor:g}: both factors scale with the load"
        reasons.append(Reason("smaller cut", text, share, "of the force"))
    if not reasons:
        reasons.append(
            Reason("holding", "no change tried reaches the floor: torque, a second clamp, a stop against the push")
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
        more = contacts.scaled(share)
        if reaches(more, wrenches, gravity, floor):
            text = f"{share:.0%} of the clamp torque reaches {floor:g}; {limit_by}"
            return [Reason("more torque", text, float(share), "of the torque")]
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
        drag = None if contacts.drag is None else contacts.drag.copy()
        if drag is not None:
            drag[i] *= 2.0
        if reaches(replace(contacts, preload=preload, stiffness=stiffness, drag=drag), wrenches, gravity, floor):
            text = f"a second clamp beside {contacts.ids[i]} reaches {floor:g}"
            return [Reason("another clamp", text, 1.0, "clamp")]
    return []


def _stop(contacts: Contacts, wrenches: Array, gravity: Array, floor: float, push: Array) -> list[Reason]:
    """A stop in the middle of the contacts' box, on the side that the worst push goes to."""
    axis = int(np.argmax(np.abs(push)))
    if push[axis] == 0:
        return []
    way = float(np.sign(push[axis]))
    low, high = contacts.at.min(axis=0), contacts.at.max(axis=0)
    at = (low + high) / 2.0
    at[axis] = high[axis] if way > 0 else low[axis]
    normal = np.zeros(3)
    normal[axis] = -way
    n = contacts.locators
    more = Contacts(
        (*contacts.ids[:n], "new stop", *contacts.ids[n:]),
        n + 1,
        np.insert(contacts.at, n, at, axis=0),
        np.insert(contacts.normal, n, normal, axis=0),
        np.insert(contacts.mu, n, float(contacts.mu[:n].min(initial=0.0))),
        np.insert(contacts.stiffness, n, LOCATOR_STIFFNESS),
        np.insert(contacts.preload, n, 0.0),
        None if contacts.drag is None else np.insert(contacts.drag, n, 0.0, axis=0),
        None if contacts.face is None else np.insert(contacts.face, n, -1),
    )
    if not reaches(more, wrenches, gravity, floor):
        return []
    text = f"a stop against the push towards {'+' if way > 0 else '-'}{'xyz'[axis]} reaches {floor:g}"
    return [Reason("a stop", text, 1.0, "stop")]


def _serrated(contacts: Contacts, wrenches: Array, gravity: Array, floor: float) -> list[Reason]:
    faced = (contacts.normal @ contacts.normal[contacts.locators :].T < -0.9).any(axis=1)
    mu = np.where(contacts.is_clamp | faced, np.maximum(contacts.mu, SERRATED), contacts.mu)
    if not reaches(replace(contacts, mu=mu), wrenches, gravity, floor):
        return []
    text = f"serrated faces on both sides (friction {SERRATED:g} on a machined face; they mark it) reach {floor:g}"
    return [Reason("serrated gripper", text, SERRATED, "friction")]
