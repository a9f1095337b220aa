"""The compiled kernels of the elastic contacts: Newton's method on the part's twist, load by load."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]

_DONE = 1e-11
_STEP = 0.05  # mm, greatest motion in one step; states that count move by less than a tenth of a millimetre
_HELD = 1e-6  # imbalance over the size of load and preload up to which a load counts as balanced
_SHARES = 4  # scales below the answer at which loads are tried again
_jit: Any = njit(cache=True, error_model="numpy")


@_jit  # type: ignore[untyped-decorator]
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


@_jit  # type: ignore[untyped-decorator]
def _law(
    grasp: Array, start: Array, normal: Array, stiff: Array, mu: Array, twist: Array, total: Array, trial: Array
) -> float:
    """Add the contacts' wrench to `total`; `trial` (m, 3) gets the sticking forces. Returns the square of `total`."""
    for i in range(len(normal)):
        u0, u1, u2 = 0.0, 0.0, 0.0
        for j in range(6):
            u0 += grasp[i, 0, j] * twist[j]
            u1 += grasp[i, 1, j] * twist[j]
            u2 += grasp[i, 2, j] * twist[j]
        raw = start[i, 0] - normal[i] * u0
        t1 = start[i, 1] - stiff[i] * u1
        t2 = start[i, 2] - stiff[i] * u2
        trial[i, 0], trial[i, 1], trial[i, 2] = raw, t1, t2
        if raw < 0.0:
            continue
        limit = mu[i] * raw
        size = np.sqrt(t1 * t1 + t2 * t2)
        if size > limit:
            t1, t2 = t1 * limit / size, t2 * limit / size
        for j in range(6):
            total[j] += raw * grasp[i, 0, j] + t1 * grasp[i, 1, j] + t2 * grasp[i, 2, j]
    square = 0.0
    for j in range(6):
        square += total[j] * total[j]
    return square


@_jit  # type: ignore[untyped-decorator]
def _tangent(grasp: Array, normal: Array, stiff: Array, mu: Array, trial: Array, damping: float, matrix: Array) -> None:
    """Fill `matrix` (6, 6) with the contacts' stiffness at their sticking forces, `damping` on its diagonal."""
    for r in range(6):
        for c in range(6):
            matrix[r, c] = damping if r == c else 0.0
    for i in range(len(normal)):
        raw = trial[i, 0]
        if raw < 0.0:
            continue
        t1, t2 = trial[i, 1], trial[i, 2]
        size, limit = np.sqrt(t1 * t1 + t2 * t2), mu[i] * raw
        k0, k1, k2, k12, d1, d2 = normal[i], stiff[i], stiff[i], 0.0, 0.0, 0.0
        if size > limit:
            w1, w2, k = t1 / size, t2 / size, stiff[i] * limit / size
            k1, k2, k12 = k * (1.0 - w1 * w1), k * (1.0 - w2 * w2), -k * w1 * w2
            d1, d2 = mu[i] * normal[i] * w1, mu[i] * normal[i] * w2
        for c in range(6):
            g0, g1, g2 = grasp[i, 0, c], grasp[i, 1, c], grasp[i, 2, c]
            a0 = k0 * g0
            a1 = d1 * g0 + k1 * g1 + k12 * g2
            a2 = d2 * g0 + k12 * g1 + k2 * g2
            for r in range(6):
                matrix[r, c] += grasp[i, 0, r] * a0 + grasp[i, 1, r] * a1 + grasp[i, 2, r] * a2


@_jit  # type: ignore[untyped-decorator]
def _balance(
    grasp: Array,
    start: Array,
    normal: Array,
    stiff: Array,
    mu: Array,
    load: Array,
    twist: Array,
    preload: float,
    rounds: int,
    trial: Array,
    work: Array,
) -> float:
    """Bring `twist` (6,) to where the contacts balance `load`, as far as `rounds` steps do.

    Returns the greatest imbalance over the size of the load and preload; `trial` (m, 3) holds the sticking forces.
    `work` (10, 6) is room to work in. Each step is halved until the imbalance falls, up to seven times.
    """
    matrix, total, step, q, kept = work[:6], work[6], work[7], work[8], work[9]
    stiffest = stiff.max()
    floor = 1e-9 * stiffest
    size = max(1.0, np.abs(load).max()) + preload
    damping = floor
    total[:] = load
    before = _law(grasp, start, normal, stiff, mu, twist, total, trial)
    for _ in range(rounds):
        if np.abs(total).max() / size < _DONE:
            break
        _tangent(grasp, normal, stiff, mu, trial, damping, matrix)
        step[:] = total
        _eliminate(matrix, step)
        reach = np.abs(step).max()
        if reach > _STEP:
            step *= _STEP / reach
        share, best, least = 1.0, 0.0, np.inf
        for _ in range(8):
            for j in range(6):
                q[j] = twist[j] + share * step[j]
            total[:] = load
            square = _law(grasp, start, normal, stiff, mu, q, total, trial)
            if square < least:
                least, best = square, share
                kept[:] = total
            if square < before * (1.0 - 0.2 * share):
                break
            share *= 0.5
        for j in range(6):
            twist[j] += best * step[j]
        if best != share:
            total[:] = load
            least = _law(grasp, start, normal, stiff, mu, twist, total, trial)
        # Where sliding leaves a direction without stiffness, steps are damped until they help again.
        damping = min(1e6 * damping, 0.1 * stiffest) if least > 0.8 * before else max(0.03 * damping, floor)
        before = least
    return float(np.abs(total).max() / size)


@_jit  # type: ignore[untyped-decorator]
def _compliance(
    grasp: Array, start: Array, normal: Array, stiff: Array, mu: Array, gravity: Array, trial: Array
) -> Array:
    """(6, 6) motion a load, for small loads at rest: the first step of every load in one matrix."""
    total, inverse = gravity.copy(), np.zeros((6, 6))
    matrix, column = np.zeros((6, 6)), np.zeros(6)
    _law(grasp, start, normal, stiff, mu, np.zeros(6), total, trial)
    for c in range(6):
        _tangent(grasp, normal, stiff, mu, trial, 1e-9 * stiff.max(), matrix)
        column[:] = 0.0
        column[c] = 1.0
        _eliminate(matrix, column)
        inverse[:, c] = column
    return inverse


@_jit  # type: ignore[untyped-decorator]
def _first_step(
    grasp: Array,
    start: Array,
    normal: Array,
    stiff: Array,
    mu: Array,
    push: Array,
    gravity: Array,
    inverse: Array,
    trial: Array,
    total: Array,
    twist: Array,
) -> None:
    """Set `twist` to the first whole step from rest if that takes off enough of the imbalance, else to zero."""
    reach = 0.0
    for r in range(6):
        twist[r] = 0.0
        for c in range(6):
            twist[r] += inverse[r, c] * push[c]
        reach = max(reach, abs(twist[r]))
    if reach > _STEP:
        for r in range(6):
            twist[r] *= _STEP / reach
    before = 0.0
    for r in range(6):
        before += push[r] * push[r]  # at rest the contacts balance the weight
        total[r] = push[r] + gravity[r]
    if _law(grasp, start, normal, stiff, mu, twist, total, trial) >= 0.8 * before:
        twist[:] = 0.0


@_jit  # type: ignore[untyped-decorator]
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
    the size of the load and preload (k,).
    """
    loads, m = len(load), len(normal)
    force, slip, gap = np.zeros((loads, m, 3)), np.zeros((loads, m)), np.zeros((loads, m))
    residual = np.zeros(loads)
    work = np.zeros((10, 6))
    for k in range(loads):
        trial = force[k]
        residual[k] = _balance(grasp, start, normal, stiff, mu, load[k], twist[k], preload, rounds, trial, work)
        for i in range(m):
            raw, t1, t2 = trial[i, 0], trial[i, 1], trial[i, 2]
            if raw < 0.0:
                trial[i] = 0.0
                if normal[i] > 0.0:
                    gap[k, i] = -raw / normal[i]
                continue
            size, limit = np.sqrt(t1 * t1 + t2 * t2), mu[i] * raw
            if size > limit:
                trial[i, 1], trial[i, 2] = t1 * limit / size, t2 * limit / size
                if mu[i] > 0.0:
                    slip[k, i] = (size - limit) / stiff[i]
    return force, slip, gap, residual


@_jit  # type: ignore[untyped-decorator]
def _verdict(
    start: Array,
    normal: Array,
    stiff: Array,
    mu: Array,
    trial: Array,
    pressed: NDArray[np.bool_],
    clamp: NDArray[np.bool_],
    opposed: NDArray[np.bool_],
    face: NDArray[np.int64],
    limit: float,
) -> int:
    """0: something lifted off or slid by more than `limit` mm; 1: it holds; 2: it holds at every smaller scale too.

    2: each contact either starts without force, so that its law is the same at every scale, or sticks at rest and
    now, its trial force inside its cone: forces then lie on the straight line between, and balance there as well.
    """
    straight = True
    for i in range(len(normal)):
        raw, t1, t2 = trial[i, 0], trial[i, 1], trial[i, 2]
        size, most = np.sqrt(t1 * t1 + t2 * t2), mu[i] * raw
        if raw <= 0.0:
            if clamp[i]:
                if start[i, 0] > 0.0:
                    return 0
            elif not opposed[i]:
                if normal[i] > 0.0 and -raw / normal[i] > limit:
                    return 0
                if pressed[i]:
                    bears = False
                    for j in range(len(normal)):
                        bears = bears or (face[j] == face[i] and trial[j, 0] > 0.0)
                    if not bears:
                        return 0
        elif mu[i] > 0.0 and (size - most) / stiff[i] > limit and (pressed[i] or clamp[i]):
            return 0
        if start[i, 0] > 0.0:
            rest = start[i, 1] * start[i, 1] + start[i, 2] * start[i, 2]
            sticks = size <= most and rest <= mu[i] * mu[i] * start[i, 0] * start[i, 0] * (1.0 + 1e-12)
            if raw < 0.0 or (mu[i] > 0.0 and not sticks):
                straight = False
    return 2 if straight else 1


@_jit  # type: ignore[untyped-decorator]
def _holds_up_to(
    grasp: Array, start: Array, normal: Array, stiff: Array, mu: Array, wrench: Array, gravity: Array,
    pressed: NDArray[np.bool_], clamp: NDArray[np.bool_], opposed: NDArray[np.bool_], face: NDArray[np.int64],
    limit: float, high: float, preload: float, rounds: int,
    trial: Array, work: Array, load: Array, twist: Array, guess: Array,
) -> float:  # fmt: skip
    """Scale (to 0.01 %) up to which one load (6,) holds, when it doesn't at `high`.

    Seven scales upwards to the first that fails, then halvings; the last twist that held is each next one's guess.
    `trial`, `work`, `load`, `twist` and `guess` are room to work in.
    """
    low, step, tiny = 0.0, high / 8.0, 1e-6 * high
    guess[:] = 0.0
    halving = False
    while not halving or (high - low > 1e-4 * high and high > tiny):
        at = 0.5 * (low + high) if halving else low + step
        if not halving and at > 7.5 * step:
            halving = True
            continue
        for j in range(6):
            load[j] = at * wrench[j] + gravity[j]
            twist[j] = guess[j] * at / low if low > 0.0 else 0.0
        left = _balance(grasp, start, normal, stiff, mu, load, twist, preload, rounds, trial, work)
        good = left < _HELD
        if good:
            good = _verdict(start, normal, stiff, mu, trial, pressed, clamp, opposed, face, limit) > 0
        if good:
            low = at
            guess[:] = twist
        else:
            high = at
            halving = True
    return low


@_jit  # type: ignore[untyped-decorator]
def least_scale(
    grasp: Array,
    start: Array,
    normal: Array,
    stiff: Array,
    mu: Array,
    wrenches: Array,
    gravity: Array,
    order: NDArray[np.int64],
    pressed: NDArray[np.bool_],
    clamp: NDArray[np.bool_],
    opposed: NDArray[np.bool_],
    face: NDArray[np.int64],
    limit: float,
    stop: float,
    rounds: int,
) -> tuple[float, int]:
    """Largest common scale up to `stop` that all loads (k, 6) survive, and the row of the load that fails past it.

    Loads are taken in `order`: one that holds at the least scale found so far can't lower it; one that fails is
    bisected to 0.01 %. What doesn't hold at every smaller scale as well is tried at four below the answer.
    """
    best, row = stop, order[0]
    m = len(normal)
    preload = np.abs(start[:, 0]).max()
    trial, work = np.zeros((m, 3)), np.zeros((10, 6))
    push, load, twist, guess = np.zeros(6), np.zeros(6), np.zeros(6), np.zeros(6)
    inverse = _compliance(grasp, start, normal, stiff, mu, gravity, trial)
    bent = np.zeros(len(order), dtype=np.bool_)
    for lower in range(2):
        for k in order:
            if lower and not bent[k]:
                continue
            top = best
            for tried in range(_SHARES if lower else 1):
                high = top * (_SHARES - tried) / (_SHARES + 1.0) if lower else top
                for j in range(6):
                    push[j] = high * wrenches[k, j]
                    load[j] = push[j] + gravity[j]
                _first_step(grasp, start, normal, stiff, mu, push, gravity, inverse, trial, work[6], twist)
                left = _balance(grasp, start, normal, stiff, mu, load, twist, preload, rounds, trial, work)
                state = 0
                if left < _HELD:
                    state = _verdict(start, normal, stiff, mu, trial, pressed, clamp, opposed, face, limit)
                if state == 2:
                    break
                bent[k] = True
                if state == 1:
                    continue
                low = _holds_up_to(grasp, start, normal, stiff, mu, wrenches[k], gravity, pressed, clamp, opposed, face,
                                   limit, high, preload, rounds, trial, work, load, twist, guess)  # fmt: skip
                if low < best:
                    best, row = low, k
    return best, row
