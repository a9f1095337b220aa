"""What gives first, in words, from a virtual twist or an elastic state."""

from __future__ import annotations

import numpy as np

from palletwright.holding.contacts import Array, Contacts
from palletwright.holding.elastic import SLIP_LIMIT, Rest, State, bears, opposed
from palletwright.holding.friction import UNLIMITED


def name(contacts: Contacts, i: int) -> str:
    return f"{'clamp' if contacts.is_clamp[i] else 'locator'} {contacts.ids[i]}"


def heading(vector: Array) -> str:
    """The frame's axis nearest to `vector`, such as '+x'."""
    axis = int(np.argmax(np.abs(vector)))
    return f"{'+' if vector[axis] > 0 else '-'}{'xyz'[axis]}"


def by_twist(contacts: Contacts, twist: Array, factor: float) -> str:
    """What a failing motion (6,) in lengths of the contacts does: lifts off a locator, or slides along contacts.

    `factor` is the friction factor that the motion limits: nothing gives where it is unlimited.
    """
    if factor >= UNLIMITED * (1.0 - 1e-6):
        return f"nothing: the contacts take more than {UNLIMITED:g} times the load"
    grasp = contacts.grasp.copy()
    grasp[:, :, 3:] /= contacts.length
    a = np.einsum("mij,j->mi", grasp, twist)
    top = float(np.abs(a).max(initial=0.0))
    if top < 1e-9:
        return "not balanced even without a cut: nothing holds the part against the clamps or its weight"
    n = contacts.locators
    opens = a[:n, 0] - contacts.mu[:n] * np.hypot(a[:n, 1], a[:n, 2])
    if n and opens.max() > 0.02 * top:
        return f"lifts off {name(contacts, int(np.argmax(opens)))}"
    slides = np.hypot(a[:, 1], a[:, 2]) * (contacts.mu > 0)
    i = int(np.argmax(slides))
    motion = a[i, 1] * contacts.basis[i, 1] + a[i, 2] * contacts.basis[i, 2]
    return f"slides along {name(contacts, i)} towards {heading(motion)}"


def by_state(contacts: Contacts, rest: Rest, state: State, row: int) -> str:
    """What fails in an elastic state past the factor."""
    if not rest.balanced:
        return "not balanced even without a cut: nothing holds the part against the clamps or its weight"
    force, slip, gap = state.force[row], state.slip[row], state.gap[row]
    lifted = np.flatnonzero(~bears(contacts, state.force)[row] & rest.pressed & ~opposed(contacts))
    if len(lifted):
        return f"lifts off {name(contacts, int(lifted[np.argmax(gap[lifted])]))}"
    wide = np.where(contacts.is_clamp | opposed(contacts), 0.0, gap)
    if wide.max(initial=0.0) > SLIP_LIMIT:
        return f"lifts off {name(contacts, int(np.argmax(wide)))}"
    loose = np.flatnonzero((force[:, 0] <= 0) & contacts.is_clamp & (contacts.preload > 0))
    if len(loose):
        return f"comes free of {name(contacts, int(loose[0]))}"
    slip = slip * (rest.pressed | contacts.is_clamp)
    i = int(np.argmax(slip))
    if slip[i] == 0:
        return "moves freely: no contact resists it"
    u = contacts.grasp[i] @ state.twist[row]
    motion = u[1] * contacts.basis[i, 1] + u[2] * contacts.basis[i, 2]
    return f"slides along {name(contacts, i)} towards {heading(motion)}"
