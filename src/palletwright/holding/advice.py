"""Changes that reach the floor, the cheapest first, each tried again before it is named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from palletwright.grip.model import Grip
from palletwright.holding.contacts import LOCATOR_STIFFNESS, Array, Contacts
from palletwright.holding.devices import clamp_of, limits, pressed
from palletwright.holding.elastic import PRESSED, holds, respond, rest
from palletwright.holding.worst import failing
from palletwright.shop.model import Clamp, Locator
from palletwright.verdict import Reason

# Without the clamp's data no torque past 1.5 times the nominal is proposed (estimated).
_BLIND = 1.5
# Serrated jaw on a machined steel face (Roehm RN-1391 p. 45, Table 4).
SERRATED = 0.20
# Money of a pair of serrated faces and of fitting one more device to a station (common practice, no source).
SERRATED_PRICE, FITTING = 25.0, 6.0


@dataclass(frozen=True, slots=True)
class Prices:
    """What changes cost a station: a stop, one more clamp by device, serrated faces; `easing` is the money that a year
    of cuts as light as the grip bears costs. None: not known, and the change comes after those with a price."""

    stop: float | None = None
    clamp: tuple[tuple[str, float], ...] = ()
    serrated: float | None = None
    easing: float | None = None
    currency: str = ""


def prices_of(
    grip: Grip, clamps: Sequence[Clamp], locators: Sequence[Locator], currency: str, easing: float | None = None
) -> Prices:
    """The shop's prices of what could be added to a grip."""
    stops = [k.price for k in locators if k.kind in ("stop", "rail")]
    owned = {c.device: clamp_of(grip, c.device, clamps) for c in grip.contacts if c.kind == "clamp"}
    each = tuple((name, c.price + FITTING) for name, c in owned.items() if c is not None)
    return Prices(min(stops, default=0.0) + FITTING if stops else None, each, SERRATED_PRICE, easing, currency)


@dataclass(frozen=True, eq=False)
class Question:
    """What has to be held: loads (k, 6), the weight (6,), the floor, the factor reached, and by which cut.

    `push` (3,) is the force of the worst load, square to its cut's direction: no stop can stand in the tool's way.
    `limit` is how far all preloads may grow, and `limit_by` what sets it; `friction`: held by friction alone.
    """

    wrenches: Array
    gravity: Array
    floor: float
    factor: float
    cut: str
    push: Array
    limit: float = _BLIND
    limit_by: str = "the screws' limit is unknown"
    friction: bool = False
    devices: tuple[str, ...] = ()
    pressed_from: float = PRESSED


def reaches(contacts: Contacts, wrenches: Array, gravity: Array, floor: float, pressed_from: float = PRESSED) -> bool:
    """True if both verdicts reach `floor` under every load (the elastic one tried at four scales up to it).

    `pressed_from` is the share of the greatest preload from which a locator counts as pressed.
    """
    at_rest = rest(contacts, gravity, pressed_from)
    if not at_rest.balanced:
        return False
    for share in (1.0, 0.75, 0.5, 0.25):
        state = respond(contacts, at_rest, share * floor * wrenches, gravity)
        if not holds(contacts, at_rest, state).all():
            return False
    return len(failing(contacts, wrenches, gravity, floor)) == 0


def least_share(contacts: Contacts, asked: Question) -> float | None:
    """Least share of all preloads, to 1 %, from which both verdicts reach the floor; None where 1 isn't enough."""
    if not _reaches(contacts, asked):
        return None
    low, high = 0.0, 1.0
    while high - low > 0.01:
        middle = (low + high) / 2.0
        low, high = (low, middle) if _reaches(contacts.scaled(middle), asked) else (middle, high)
    return high


def _reaches(contacts: Contacts, asked: Question) -> bool:
    return reaches(contacts, asked.wrenches, asked.gravity, asked.floor, asked.pressed_from)


def advise(contacts: Contacts, asked: Question, prices: Prices | None = None) -> tuple[Reason, ...]:
    """Ways to the floor: more torque, a second clamp beside one, a stop, serrated grippers, lighter cuts.

    The cheapest first; without prices in the order in which they usually cost (common practice, no source).
    """
    money = prices or Prices()
    found = [*_torque(contacts, asked), *_stop(contacts, asked, money), *_second_clamp(contacts, asked, money)]
    if asked.friction:
        found += _serrated(contacts, asked, money)
    found += _smaller(asked, money)
    order = sorted(range(len(found)), key=lambda k: (found[k][0] is None, found[k][0] or 0.0, k))
    if not found:
        text = "no change tried reaches the floor: torque, a second clamp, a stop against the push"
        return (Reason("holding", text),)
    return tuple(_priced(*found[k], money) for k in order)


def greatest_share(
    base: Contacts, clamps: Sequence[Clamp], grip: Grip, yield_strength: float | None = None
) -> tuple[float, str]:
    """How far all preloads can grow before the first clamp, with its screw's scatter, gives or marks the part."""
    rows = pressed(grip, base, clamps)
    if any(p.clamp.pressure is not None for p in rows):
        return 0.0, "pressure drives the clamps"
    ends = [end for p in rows for end in limits(p, yield_strength)]
    if ends:
        most, by = min(ends)
        return most, f"past {most:.0%} it {by}" if by.startswith(
            ("marks", "strips", "sinks")
        ) else f"past {most:.0%} {by}"
    return (_BLIND if len(base.ids) > base.locators else 0.0), "the screws' limit is unknown"


_Change = tuple[float | None, Reason]


def _priced(money: float | None, change: Reason, prices: Prices) -> Reason:
    if money is None:
        return change
    each = "a year" if change.about == "smaller cut" else "a station"
    told = "no money" if money == 0 else f"about {money:.0f} {prices.currency or 'in money'} {each}"
    return replace(change, text=f"{change.text}; {told}")


def _torque(contacts: Contacts, asked: Question) -> list[_Change]:
    for share in np.linspace(1.0, asked.limit, 6)[1:] if asked.limit > 1.0 else ():
        if _reaches(contacts.scaled(share), asked):
            text = f"{share:.0%} of the clamp torque reaches {asked.floor:g}; {asked.limit_by}"
            return [(0.0, Reason("more torque", text, float(share), "of the torque"))]
    return []


def _second_clamp(contacts: Contacts, asked: Question, prices: Prices) -> list[_Change]:
    known = dict(prices.clamp)
    rows = list(range(contacts.locators, len(contacts.ids)))
    owner = dict(zip(rows, asked.devices or [contacts.ids[i] for i in rows], strict=True))
    for i in sorted(rows, key=lambda i: known.get(owner[i], np.inf)):
        preload, stiffness = contacts.preload.copy(), contacts.stiffness.copy()
        preload[i], stiffness[i] = 2.0 * preload[i], 2.0 * stiffness[i]
        drag = None if contacts.drag is None else contacts.drag.copy()
        if drag is not None:
            drag[i] *= 2.0
        more = replace(contacts, preload=preload, stiffness=stiffness, drag=drag)
        if _reaches(more, asked):
            text = f"a second clamp beside {contacts.ids[i]} reaches {asked.floor:g}"
            return [(known.get(owner[i]), Reason("another clamp", text, 1.0, "clamp"))]
    return []


def _stop(contacts: Contacts, asked: Question, prices: Prices) -> list[_Change]:
    """A stop in the middle of the contacts' box, on the side that the worst push goes to."""
    axis = int(np.argmax(np.abs(asked.push)))
    if asked.push[axis] == 0:
        return []
    way = float(np.sign(asked.push[axis]))
    low, high = contacts.at.min(axis=0), contacts.at.max(axis=0)
    at = (low + high) / 2.0
    at[axis] = high[axis] if way > 0 else low[axis]
    normal = np.zeros(3)
    normal[axis] = -way
    if not _reaches(_with_stop(contacts, at, normal), asked):
        return []
    text = f"a stop against the push towards {'+' if way > 0 else '-'}{'xyz'[axis]} reaches {asked.floor:g}"
    return [(prices.stop, Reason("a stop", text, 1.0, "stop"))]


def _with_stop(contacts: Contacts, at: Array, normal: Array) -> Contacts:
    n = contacts.locators
    return Contacts(
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


def _serrated(contacts: Contacts, asked: Question, prices: Prices) -> list[_Change]:
    faced = (contacts.normal @ contacts.normal[contacts.locators :].T < -0.9).any(axis=1)
    mu = np.where(contacts.is_clamp | faced, np.maximum(contacts.mu, SERRATED), contacts.mu)
    if (mu == contacts.mu).all():
        return []
    if not _reaches(replace(contacts, mu=mu), asked):
        return []
    text = (
        f"serrated faces on both sides (friction {SERRATED:g} on a machined face; they mark it) reach {asked.floor:g}"
    )
    return [(prices.serrated, Reason("serrated gripper", text, SERRATED, "friction"))]


def _smaller(asked: Question, prices: Prices) -> list[_Change]:
    if asked.factor <= 0:
        return []
    share = asked.factor / asked.floor
    text = f"cuts of at most {share:.0%} of the force of {asked.cut} reach {asked.floor:g}: both factors scale with it"
    return [(prices.easing, Reason("smaller cut", text, share, "of the force"))]
