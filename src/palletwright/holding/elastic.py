"""What the contacts really do: elastic, unilateral, with Coulomb friction and clamps as preloaded springs.

The part is rigid, so its state is one twist of six numbers. Each contact answers it in closed form: its normal force
is its force at rest less stiffness times the part's motion away from it, never below zero; its tangential force is
the sticking one, drawn back to µ times the normal force where it would be more (slip). Newton's method finds the
twist that balances the load; thousands of loads are solved side by side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from palletwright.holding import newton
from palletwright.holding.contacts import TANGENTIAL, Array, Contacts

SLIP_LIMIT = 0.01  # mm, methods section 5
# A locator that the preload presses with less than this share of the preload counts as not pressed.
PRESSED = 0.01
# Where friction alone holds, what a grip presses by the way (a rest under an edge clamp) isn't what holds the part:
# it may unload, but not stand off by more than the slip limit. Common practice, no source.
PRESSED_BY_FRICTION = 0.25
_CAP = 1000.0
# Newton steps: at most this many, and fewer where a load without an answer is solved in another way anyhow.
_ROUNDS = 50
_QUICK = 14


@dataclass(frozen=True, eq=False)
class Rest:
    """Contact forces (m, 3) along the basis after clamping, before the cut; `balanced` if they carry the preload."""

    force: Array
    balanced: bool
    pressed: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class State:
    """k loads: forces (k, m, 3) N along the basis, slip and gap (k, m) mm, twist (k, 6), residual (k,) relative."""

    force: Array
    slip: Array
    gap: Array
    twist: Array
    residual: Array


def rest(contacts: Contacts, gravity: Array, share: float = PRESSED) -> Rest:
    """Reactions to the preload and the weight, clamp normals held at their preload.

    A locator counts as pressed from `share` of the greatest preload.
    """
    start = np.zeros((len(contacts.ids), 3))
    normal = np.where(contacts.is_clamp, 0.0, contacts.stiffness)
    twist = np.zeros((1, 6))
    # In one go, or else with the preload and the weight growing in ten steps.
    for steps in ((1.0,), tuple(np.arange(1, 11) / 10.0)):
        for grown in steps:
            start[:, 0] = grown * contacts.preload
            if contacts.drag is not None:
                start[:, 1:] = grown * np.einsum("mij,mj->mi", contacts.basis[:, 1:], contacts.drag)
            state = _solve(contacts, start, normal, grown * gravity[None, :], twist)
            twist = state.twist
        if state.residual[0] < 1e-6:
            break
        twist = np.zeros((1, 6))
    force = state.force[0]
    reference = max(1e-9, float(contacts.preload.max(initial=0.0)))
    pressed = (force[:, 0] > share * reference) & ~contacts.is_clamp
    return Rest(force, bool(state.residual[0] < 1e-6), pressed)


def balanced(contacts: Contacts, at_rest: Rest, wrenches: Array, gravity: Array) -> NDArray[np.bool_]:
    """(k,): a state within the cones balances the load with every clamp's normal force at its preload.

    True proves that the load's friction factor is at least 1; False proves nothing.
    """
    normal = np.where(contacts.is_clamp, 0.0, contacts.stiffness)
    state = _solve(contacts, at_rest.force, normal, wrenches + gravity, np.zeros((len(wrenches), 6)), _QUICK)
    return np.asarray(state.residual < 1e-7)


def respond(contacts: Contacts, at_rest: Rest, wrenches: Array, gravity: Array, guess: Array | None = None) -> State:
    """State under each of the loads (k, 6), each applied in one step from rest."""
    start = np.zeros((len(wrenches), 6)) if guess is None else guess
    return _solve(contacts, at_rest.force, contacts.stiffness, wrenches + gravity, start)


def _solve(contacts: Contacts, start: Array, normal: Array, load: Array, twist: Array, rounds: int = _ROUNDS) -> State:
    length = contacts.length
    scale = np.array([1.0, 1.0, 1.0, length, length, length])
    found = twist * scale
    stiff = TANGENTIAL * contacts.stiffness
    force, slip, gap, residual = newton.solve_many(
        np.ascontiguousarray(contacts.grasp / scale),
        np.ascontiguousarray(start, dtype=float),
        np.ascontiguousarray(normal, dtype=float),
        stiff,
        contacts.mu,
        np.ascontiguousarray(load / scale, dtype=float),
        found,
        float(np.abs(start[:, 0]).max(initial=0.0)),
        rounds,
    )
    return State(force, slip, gap, found / scale, residual)


def opposed(contacts: Contacts) -> NDArray[np.bool_]:
    """(m,) locators that another one faces, as both sides of a pin do: leaving one is pressing on the other."""
    facing = contacts.normal[: contacts.locators] @ contacts.normal[: contacts.locators].T < -0.5
    return np.concatenate([facing.any(axis=1), np.zeros(len(contacts.ids) - contacts.locators, dtype=bool)])


def bears(contacts: Contacts, force: Array) -> NDArray[np.bool_]:
    """(k, m): the face that each contact belongs to still presses somewhere.

    A face that tilts off at one edge still stands at the other: it has lifted when all its contacts have.
    """
    closed = force[..., 0] > 0
    if contacts.face is None:
        return np.asarray(closed)
    alike = contacts.face[:, None] == contacts.face[None, :]
    return np.asarray(closed @ alike)


def holds(contacts: Contacts, at_rest: Rest, state: State) -> NDArray[np.bool_]:
    """(k,): balanced, no pressed face lifted off, no locator by more than the slip limit, no more slip.

    A locator that another faces may stand off: a pin in its hole does so on one side. Slip counts where
    the preload presses: elsewhere no friction held the part.
    """
    lifted = ~bears(contacts, state.force) & at_rest.pressed & ~opposed(contacts)
    wide = (state.gap > SLIP_LIMIT) & ~contacts.is_clamp & ~opposed(contacts)
    slipped = (state.slip > SLIP_LIMIT) & (at_rest.pressed | contacts.is_clamp)
    loose = (state.force[..., 0] <= 0) & contacts.is_clamp & (contacts.preload > 0)
    return np.asarray((state.residual < 1e-6) & ~(lifted | wide | slipped | loose).any(axis=1))


def elastic_factor(
    contacts: Contacts, at_rest: Rest, wrenches: Array, gravity: Array, *, stop: float = _CAP
) -> tuple[float, int]:
    """Largest common scale that all loads survive, and the load that fails first past it.

    A load that holds at the least scale found so far can't lower it; one that fails is bisected to 0.01 %. In the end
    all loads are tried at eight scales below the answer as well, so that one that fails, holds and fails again is
    met. Where Newton's method finds no balance the load counts as not held. An answer of `stop` means at least that.
    """
    if not at_rest.balanced:
        return 0.0, 0
    best, row = stop, 0
    pending = np.arange(len(wrenches))
    while len(pending):
        good = holds(contacts, at_rest, respond(contacts, at_rest, best * wrenches[pending], gravity))
        pending = pending[~good]
        if len(pending):
            row = int(pending[_heaviest(contacts, wrenches[pending])])
            best = _bisect(contacts, at_rest, wrenches[row], gravity, best)
            pending = pending[pending != row]
    for share in np.arange(1, 9) / 9.0:
        good = holds(contacts, at_rest, respond(contacts, at_rest, share * best * wrenches, gravity))
        for i in np.flatnonzero(~good):
            lower = _bisect(contacts, at_rest, wrenches[i], gravity, share * best)
            if lower < best:
                best, row = lower, int(i)
    return best, row


def _heaviest(contacts: Contacts, wrenches: Array) -> int:
    scale = np.array([1.0, 1.0, 1.0, *[contacts.length] * 3])
    return int(np.argmax(np.linalg.norm(wrenches / scale, axis=1)))


def _bisect(contacts: Contacts, at_rest: Rest, load: Array, gravity: Array, high: float) -> float:
    """Largest scale below `high`, which fails, at which the load holds, to 0.01 %; 0 if it never does."""
    low, tiny = 0.0, 1e-4 * high
    while high - low > max(1e-4 * high, tiny * 1e-2):
        # Seven scales at once: three halvings in one call.
        scales = low + (high - low) * np.arange(1, 8) / 8.0
        good = holds(contacts, at_rest, respond(contacts, at_rest, scales[:, None] * load, gravity))
        first = int(np.argmin(good)) if not good.all() else 7
        low, high = (low if first == 0 else float(scales[first - 1])), (high if first == 7 else float(scales[first]))
    return low
