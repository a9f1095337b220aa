"""How much of each cut's load a grip bears: what every cut has to be eased to, in one pass."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from palletwright.cutting.model import Load
from palletwright.grip.model import Grip
from palletwright.holding.certify import PRELOAD_DROP, down_of, floor_of, pressed_share
from palletwright.holding.contacts import STANDARD_GRAVITY, Array, Contacts, contacts_of, wrench
from palletwright.holding.devices import short_by
from palletwright.holding.elastic import Rest, balanced, elastic_factor, rest
from palletwright.holding.loads import StationCut, loads_of
from palletwright.holding.worst import lower_bounds, worst_factor
from palletwright.shop.model import Clamp, Floors
from palletwright.verdict import Vec


def bearable(
    grip: Grip,
    cuts: Sequence[StationCut | tuple[str, Array, Vec, Load]],
    *,
    mass_kg: float,
    floors: Floors,
    centre: Vec | None = None,
    preload_drop: float = PRELOAD_DROP,
    clamps: Sequence[Clamp] = (),
) -> tuple[float, ...]:
    """Of each cut the share of its load, at most 1, at which both verdicts reach the grip's floor.

    Both factors scale with the load: `s(α·w) = s(w)/α`. So a cut whose factor is half the floor is borne at half its
    load, whatever becomes of the others, and one pass tells what every cut has to be eased to. 0: not at any load.
    Parameters as for `certify`. The weight isn't scaled; it stands in both factors.
    """
    base = contacts_of(grip.contacts, clamp_friction=grip.regime == "friction")
    contacts = base.scaled(short_by(grip, base, clamps, preload_drop))
    floor = floor_of(grip, floors)
    middle = np.array(centre) if centre is not None else (contacts.at.min(axis=0) + contacts.at.max(axis=0)) / 2.0
    known: dict[tuple[float, ...], tuple[Array, Rest]] = {}
    shares = []
    for cut in cuts:
        down = down_of(cut[2])
        key = tuple(np.round(down, 9))
        if key not in known:
            weight = wrench(middle, mass_kg * STANDARD_GRAVITY * down, np.zeros(3))
            known[key] = weight, rest(contacts, weight, pressed_share(grip))
        weight, at_rest = known[key]
        shares.append(min(1.0, _factor(contacts, at_rest, loads_of([cut]).wrenches, weight, floor) / floor))
    return tuple(shares)


def _factor(contacts: Contacts, at_rest: Rest, wrenches: Array, weight: Array, floor: float) -> float:
    """The smaller verdict of one cut's loads (k, 6), or `floor` where it is at least that."""
    rows = lower_bounds(contacts, wrenches, weight) < floor
    if at_rest.balanced and rows.any():
        rows[rows] = ~balanced(contacts, at_rest, floor * wrenches[rows], weight)
    friction = min(floor, worst_factor(contacts, wrenches[rows], weight).factor) if rows.any() else floor
    return min(friction, elastic_factor(contacts, at_rest, wrenches, weight, stop=friction)[0]) if friction else 0.0
