"""The worst of many loads without solving each: a cheap balanced state gives a factor never above the true one."""

from __future__ import annotations

from dataclasses import dataclass

import clarabel
import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from palletwright.holding import friction as f
from palletwright.holding.contacts import Array, Contacts
from palletwright.holding.elastic import balanced, rest

_FIRST = 4
_CHUNK = 8


@dataclass(frozen=True, eq=False)
class Worst:
    """Least friction factor, its load's row, a bound never below that load's factor, and its virtual twist (6,).

    `order` (k,) names all loads by the lower bound of their factor, the least first.
    """

    factor: float
    row: int
    bound: float
    twist: Array
    solved: int
    order: NDArray[np.int64]


def worst_factor(contacts: Contacts, wrenches: Array, gravity: Array) -> Worst:
    """Least friction factor over all loads (k, 6), exact.

    A load that a state within the cones balances at the least factor found can't be worse and is dropped; the others
    are solved, those with the least lower bound first.
    """
    lower = lower_bounds(contacts, wrenches, gravity)
    order = pending = np.argsort(lower, kind="stable")
    at_rest = rest(contacts, gravity)
    best, solved, chunk = None, 0, _FIRST
    while len(pending):
        rows, pending = pending[:chunk], pending[chunk:]
        got = f.friction_factors(contacts, wrenches[rows], gravity)
        solved += len(rows)
        least = int(np.argmin(got.factor))
        if best is None or got.factor[least] < best.factor:
            bound, twist = float(got.bound[least]), got.twist[least]
            best = Worst(float(got.factor[least]), int(rows[least]), bound, twist, solved, order)
            pending = pending[lower[pending] < best.factor]
            if at_rest.balanced and len(pending):
                scaled = best.factor * (1.0 - 1e-6) * wrenches[pending]
                pending = pending[~balanced(contacts, at_rest, scaled, gravity)]
        chunk = _CHUNK
    assert best is not None
    return best


def failing(contacts: Contacts, wrenches: Array, gravity: Array, factor: float) -> NDArray[np.int64]:
    """Rows of loads (k, 6) whose friction factor is under `factor` by more than 0.01 %, the worst first.

    Some of them if there are any, none only if there is none.
    """
    at_rest = rest(contacts, gravity)
    rows = np.arange(len(wrenches))
    if at_rest.balanced:
        rows = rows[~balanced(contacts, at_rest, factor * (1.0 - 1e-6) * wrenches, gravity)]
    if len(rows) == 0:
        return rows
    rows = rows[np.argsort(lower_bounds(contacts, wrenches[rows], gravity), kind="stable")]
    for start in range(0, len(rows), _CHUNK):
        part = rows[start : start + _CHUNK]
        got = f.friction_factors(contacts, wrenches[part], gravity).factor
        bad = got < factor * (1.0 - 1e-4)
        if bad.any():
            return part[bad][np.argsort(got[bad], kind="stable")]
    return rows[:0]


def lower_bounds(contacts: Contacts, wrenches: Array, gravity: Array) -> Array:
    """(k,) factor of each load that one linear answer of the contacts reaches: never above the true one."""
    nothing = np.zeros(len(wrenches))
    rest = _centred(contacts, gravity)
    weight = np.ones((len(contacts.ids), 3))
    weight[contacts.is_clamp, 0] = 0.0
    weight[contacts.mu == 0, 1:] = 0.0
    grasp = f._scaled(contacts).reshape(-1, 6)
    stiffness = grasp.T @ (weight.reshape(-1, 1) * grasp)
    if rest is None or np.linalg.cond(stiffness) > 1e9:
        return nothing
    scaled = f._balance_scaled(wrenches, contacts.length)
    answer = -(np.linalg.solve(stiffness, scaled.T).T @ grasp.T) * weight.reshape(-1)
    return _reach(contacts, rest, answer.reshape(len(wrenches), -1, 3))


def _centred(contacts: Contacts, gravity: Array) -> Array | None:
    """(m, 3) balanced forces at scale 0, as far inside all cones as they get."""
    block, pressed = f._block(contacts), contacts.preload[contacts.locators :]
    weight = f._balance_scaled(gravity, contacts.length)
    size = max(1.0, float(np.abs(weight).max()), float(pressed.max(initial=0.0)))
    height, width = block.forces.shape
    right = -(block.preloads @ (pressed / size))
    right[:6] -= weight / size
    slack = np.zeros(height)
    slack[6 : 6 + block.nonneg] = 1.0
    slack[6 + block.nonneg :: 3] = 1.0
    rows = np.vstack([np.column_stack([block.forces, slack]), np.append(np.zeros(width), 1.0)])
    cost = np.append(np.zeros(width), -1.0)
    cones = [*f._cones(block, 1), clarabel.NonnegativeConeT(1)]
    answer = f._solve(cost, sparse.csc_matrix(rows), np.append(right, 1.0), cones)
    if str(answer.status) != "Solved" or answer.x[-1] <= 0:
        return None
    values = np.append(np.array(answer.x)[:width], 0.0) * size
    forces = np.where(block.column >= 0, values[block.column], 0.0)
    forces[contacts.locators :, 0] = pressed
    return forces


def _reach(contacts: Contacts, rest: Array, answer: Array) -> Array:
    """Largest s with rest + s·answer in every cone: first root of µ²(n₀ + s·n)² = |t₀ + s·t|², or of the normal."""
    n0, t0, n, t = rest[:, 0], rest[:, 1:], answer[..., 0], answer[..., 1:]
    mu = contacts.mu
    a = mu**2 * n**2 - (t**2).sum(axis=2)
    b = 2.0 * (mu**2 * n0 * n - (t0 * t).sum(axis=2))
    c = mu**2 * n0**2 - (t0**2).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.sqrt(np.maximum(b**2 - 4.0 * a * c, 0.0))
        # The stable forms of both roots; the first positive one leaves the cone.
        q = -0.5 * (b + np.where(b >= 0, root, -root))
        first, second = q / a, c / q
        real = b**2 - 4.0 * a * c >= 0
        roots = [np.where(real & (r > 0), r, np.inf) for r in (first, second)]
        lift = np.where(n < 0, -n0 / n, np.inf)
    cone = np.where(
        mu > 0, np.minimum(np.nan_to_num(roots[0], nan=np.inf), np.nan_to_num(roots[1], nan=np.inf)), np.inf
    )
    return np.asarray(np.minimum(cone, np.where(contacts.is_clamp & (mu == 0), np.inf, lift)).min(axis=1))
