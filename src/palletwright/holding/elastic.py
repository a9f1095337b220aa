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
    scale = _scale(contacts)
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


def _scale(contacts: Contacts) -> Array:
    """(6,): brings the twist's turns and the wrench's moments to the size of motions and forces."""
    return np.array([1.0, 1.0, 1.0, *[contacts.length] * 3])


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
    contacts: Contacts,
    at_rest: Rest,
    wrenches: Array,
    gravity: Array,
    *,
    stop: float = _CAP,
    order: NDArray[np.int64] | None = None,
) -> tuple[float, int]:
    """Largest common scale that all loads survive, and the load that fails first past it.

    A load that holds at the least scale found so far can't lower it; one that fails is bisected to 0.01 %. Loads that
    bend the contacts' answer are tried at four scales below the answer as well, so that one that fails, holds and
    fails again is met; where no contact slides or opens, the answer is straight in the scale and holding at one scale
    is holding at all below it. Where Newton's method finds no balance the load counts as not held. An answer of `stop`
    means at least that. `order` names the loads expected to be worst first; it changes the time, not the answer.
    """
    if not at_rest.balanced:
        return 0.0, 0
    scale = _scale(contacts)
    lone = np.arange(len(contacts.ids))
    best, row = newton.least_scale(
        np.ascontiguousarray(contacts.grasp / scale),
        np.ascontiguousarray(at_rest.force, dtype=float),
        np.ascontiguousarray(contacts.stiffness, dtype=float),
        TANGENTIAL * contacts.stiffness,
        contacts.mu,
        np.ascontiguousarray(wrenches / scale, dtype=float),
        np.ascontiguousarray(gravity / scale, dtype=float),
        np.argsort(-np.linalg.norm(wrenches / scale, axis=1), kind="stable") if order is None else order,
        at_rest.pressed,
        contacts.is_clamp,
        opposed(contacts),
        lone if contacts.face is None else contacts.face.astype(np.int64),
        SLIP_LIMIT,
        float(stop),
        _ROUNDS,
    )
    return float(best), int(row)
