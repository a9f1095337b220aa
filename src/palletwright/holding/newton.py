"""The compiled kernel of the elastic contacts: Newton's method on the part's twist, load by load."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]

_DONE = 1e-11
_STEP = 0.05  # mm, greatest motion in one step; states that count move by less than a tenth of a millimetre


@njit(cache=True)  # type: ignore[untyped-decorator]
def _eliminate(matrix: Array, right: Array) -> None:
    """Solve in place by Gaussian elimination with row pivots; the answer stands in `right`."""
    n = 6
    for c in range(n):
        top = c
        for r in range(c + 1, n):
            if abs(matrix[r, c]) > abs(matrix[top, c]):
                top = r
        if top != c:
            for j in range(n):
                matrix[c, j], matrix[top, j] = matrix[top, j], matrix[c, j]
            right[c], right[top] = right[top], right[c]
        pivot = matrix[c, c]
        if abs(pivot) < 1e-30:
            pivot = 1e-30
        for r in range(c + 1, n):
            share = matrix[r, c] / pivot
            if share != 0.0:
                for j in range(c, n):
                    matrix[r, j] -= share * matrix[c, j]
                right[r] -= share * right[c]
    for c in range(n - 1, -1, -1):
        total = right[c]
        for j in range(c + 1, n):
            total -= matrix[c, j] * right[j]
        pivot = matrix[c, c]
        right[c] = total / (pivot if abs(pivot) > 1e-30 else 1e-30)


@njit(cache=True)  # type: ignore[untyped-decorator]
def _law(
    grasp: Array,
    start: Array,
    normal: Array,
    stiff: Array,
    mu: Array,
    twist: Array,
    total: Array,
    tangent: Array,
    force: Array,
    slip: Array,
    gap: Array,
    with_tangent: bool,
) -> None:
    """Add the contacts' wrench to `total` and their stiffness (positive) to `tangent`; fill force, slip and gap."""
    d = np.zeros((3, 3))
    for i in range(len(normal)):
        u = np.zeros(3)
        for a in range(3):
            for j in range(6):
                u[a] += grasp[i, a, j] * twist[j]
        raw = start[i, 0] - normal[i] * u[0]
        closed = raw >= 0.0
        f_n = raw if closed else 0.0
        t1 = start[i, 1] - stiff[i] * u[1]
        t2 = start[i, 2] - stiff[i] * u[2]
        size = np.sqrt(t1 * t1 + t2 * t2)
        limit = mu[i] * f_n
        slides = size > limit
        ratio = limit / size if slides else 1.0
        force[i, 0], force[i, 1], force[i, 2] = f_n, t1 * ratio, t2 * ratio
        slip[i] = (size - limit) / stiff[i] if slides and closed and mu[i] > 0.0 else 0.0
        gap[i] = -raw / normal[i] if not closed and normal[i] > 0.0 else 0.0
        for a in range(3):
            for j in range(6):
                total[j] += force[i, a] * grasp[i, a, j]
        if not with_tangent:
            continue
        d[:, :] = 0.0
        if closed:
            d[0, 0] = normal[i]
        w1, w2 = (t1 / size, t2 / size) if slides else (0.0, 0.0)
        k_t = stiff[i] * ratio
        d[1, 1], d[2, 2] = k_t * (1.0 - w1 * w1), k_t * (1.0 - w2 * w2)
        d[1, 2] = d[2, 1] = -k_t * w1 * w2
        if slides and closed:
            d[1, 0], d[2, 0] = mu[i] * normal[i] * w1, mu[i] * normal[i] * w2
        for a in range(3):
            for b in range(3):
                if d[a, b] != 0.0:
                    for r in range(6):
                        share = grasp[i, a, r] * d[a, b]
                        for c in range(6):
                            tangent[r, c] += share * grasp[i, b, c]


@njit(cache=True)  # type: ignore[untyped-decorator]
def solve_many(
    grasp: Array,
    start: Array,
    normal: Array,
    stiff: Array,
    mu: Array,
    load: Array,
    twist: Array,
    preload: float,
    rounds: int,
) -> tuple[Array, Array, Array, Array]:
    """Solve every load (k, 6); `twist` (k, 6) holds the first guesses and then the answers.

    Returns forces (k, m, 3) along the contacts' rows, slip (k, m), gap (k, m) in mm, and the greatest imbalance over
    the size of the load and preload (k,). Each step is halved until the imbalance falls, up to seven times.
    """
    loads, m = len(load), len(normal)
    force, slip, gap = np.zeros((loads, m, 3)), np.zeros((loads, m)), np.zeros((loads, m))
    residual = np.zeros(loads)
    floor = 1e-9 * stiff.max()
    tangent = np.zeros((6, 6))
    total, trial, q = np.zeros(6), np.zeros(6), np.zeros(6)
    for k in range(loads):
        size = max(1.0, np.abs(load[k]).max()) + preload
        worst = np.inf
        damping = floor
        for _ in range(rounds):
            tangent[:, :] = 0.0
            total[:] = load[k]
            _law(grasp, start, normal, stiff, mu, twist[k], total, tangent, force[k], slip[k], gap[k], True)
            worst = np.abs(total).max() / size
            if worst < _DONE:
                break
            for j in range(6):
                tangent[j, j] += damping
            before = (total * total).sum()
            step = total.copy()
            _eliminate(tangent, step)
            reach = np.abs(step).max()
            if reach > _STEP:
                step *= _STEP / reach
            share, best, least = 1.0, 0.0, np.inf
            for _ in range(8):
                q[:] = twist[k] + share * step
                trial[:] = load[k]
                _law(grasp, start, normal, stiff, mu, q, trial, tangent, force[k], slip[k], gap[k], False)
                norm = (trial * trial).sum()
                if norm < least:
                    least, best = norm, share
                if norm < before * (1.0 - 0.2 * share):
                    break
                share *= 0.5
            twist[k] += best * step
            # Where sliding leaves a direction without stiffness, steps are damped until they help again.
            damping = min(1e6 * damping, 0.1 * stiff.max()) if least > 0.8 * before else max(0.03 * damping, floor)
        residual[k] = worst
    return force, slip, gap, residual
