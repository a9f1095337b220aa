"""Does some friction state balance the load? Second-order cone programs, with certificates checked in closed form."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import clarabel
import numpy as np
from scipy import sparse

from palletwright.holding.contacts import Array, Contacts

# A factor past this one is not limited by the load.
UNLIMITED = 1000.0
_LIGHT = 100.0  # a load over preload and weight from which it is measured against itself


@dataclass(frozen=True, eq=False)
class LeastPreload:
    """`each` (N) per clamp, their sum, and the certificate: a lower bound from virtual twists, one a load."""

    status: str
    each: Array
    total: float
    certificate: dict[str, object]


@dataclass(frozen=True, eq=False)
class Factors:
    """`factor` (k,) per load, and per load a bound never below it from the virtual `twist` (k, 6)."""

    factor: Array
    bound: Array
    twist: Array


@dataclass(frozen=True, eq=False)
class _Block:
    """Rows of one load: A·f + P·p, cones `zero 6, nonneg a, SOC(3) × b`, in lengths of `contacts.length`."""

    forces: Array
    preloads: Array
    nonneg: int
    cones: int
    column: Array


def _scaled(contacts: Contacts) -> Array:
    grasp = contacts.grasp.copy()
    grasp[:, :, 3:] /= contacts.length
    return grasp


def _block(contacts: Contacts) -> _Block:
    """Variables: locator normals, then tangents of every contact with friction. Clamp normals are the preloads."""
    grasp, n, m = _scaled(contacts), contacts.locators, len(contacts.ids)
    column = np.full((m, 3), -1)
    width = 0
    for i in range(m):
        for axis in range(3):
            if (axis == 0 and i < n) or (axis > 0 and contacts.mu[i] > 0):
                column[i, axis] = width
                width += 1
    balance, pressed = np.zeros((6, width)), np.zeros((6, m - n))
    for i in range(m):
        for axis in range(3):
            if column[i, axis] >= 0:
                balance[:, column[i, axis]] = grasp[i, axis]
        if i >= n:
            pressed[:, i - n] = grasp[i, 0]
    rows, also = [balance], [pressed]
    smooth = [i for i in range(n) if contacts.mu[i] == 0]
    for i in smooth:
        rows.append(_unit(width, column[i, 0], -1.0))
        also.append(np.zeros((1, m - n)))
    rough = [i for i in range(m) if contacts.mu[i] > 0]
    for i in rough:
        cone = np.vstack([_unit(width, column[i, a], -1.0) if column[i, a] >= 0 else np.zeros(width) for a in range(3)])
        on_preload = np.zeros((3, m - n))
        if i < n:
            cone[0] *= contacts.mu[i]
        else:
            on_preload[0, i - n] = -contacts.mu[i]
        rows.append(cone)
        also.append(on_preload)
    return _Block(np.vstack(rows), np.vstack(also), len(smooth), len(rough), column)


def _unit(width: int, at: int, value: float) -> Array:
    row = np.zeros((1, width))
    row[0, at] = value
    return row


def _cones(block: _Block, loads: int) -> list[Any]:
    one = [clarabel.ZeroConeT(6)]
    if block.nonneg:
        one.append(clarabel.NonnegativeConeT(block.nonneg))
    one += [clarabel.SecondOrderConeT(3)] * block.cones
    return one * loads


def _solve(cost: Array, rows: Any, right: Array, cones: list[Any]) -> Any:
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.max_threads = 1
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = 1e-9
    nothing = sparse.csc_matrix((len(cost), len(cost)))
    matrix = sparse.csc_matrix(rows)
    matrix.eliminate_zeros()
    return clarabel.DefaultSolver(nothing, cost, matrix, right, cones, settings).solve()


def _balance_scaled(wrenches: Array, length: float) -> Array:
    scaled = np.array(wrenches, dtype=float, copy=True)
    scaled[..., 3:] /= length
    return scaled


def least_preload(contacts: Contacts, wrenches: Array, gravity: Array, safety: float) -> LeastPreload:
    """Least sum of clamp preloads that lets every load be balanced within the friction cones.

    `min Σ p  s.t.  G·f_k = −(S·w_k + g), ‖f_t‖ ≤ µ·f_n, f_n(clamp c) = p_c` for every load k (methods: second-order
    cone program). The bound is Σ_k v_k·(S·w_k + g) for virtual twists v_k with a_n ≥ µ‖a_t‖ at every locator and
    1 + Σ_k (a_n − µ‖a_t‖) ≥ 0 at every clamp, a = the contact's virtual displacement: never above the optimum.

    Parameters
    ----------
    wrenches : (k, 6) N and N·mm about the origin, acting on the part
    gravity : (6,) not multiplied by `safety`
    """
    clamps, loads = len(contacts.ids) - contacts.locators, len(wrenches)
    size = max(1.0, float(np.abs(_balance_scaled(safety * wrenches + gravity, contacts.length)).max(initial=0.0)))
    needed = _balance_scaled(safety * wrenches + gravity, contacts.length) / size
    block = _block(contacts)
    height, width = block.forces.shape
    rows = sparse.hstack(
        [
            sparse.csc_matrix(np.tile(block.preloads, (loads, 1))),
            sparse.kron(sparse.identity(loads), block.forces) if width else sparse.csc_matrix((height * loads, 0)),
        ]
    )
    positive = sparse.hstack([-sparse.identity(clamps), sparse.csc_matrix((clamps, width * loads))])
    right = np.zeros((loads, height))
    right[:, :6] = -needed
    cost = np.concatenate([np.ones(clamps), np.zeros(width * loads)])
    cones = [*_cones(block, loads)] + ([clarabel.NonnegativeConeT(clamps)] if clamps else [])
    answer = _solve(cost, sparse.vstack([rows, positive]), np.concatenate([right.ravel(), np.zeros(clamps)]), cones)
    status = str(answer.status)
    twists = np.array(answer.z)[: height * loads].reshape(loads, height)[:, :6]
    if status not in ("Solved", "AlmostSolved"):
        proof = _infeasible_certificate(contacts, twists, needed) if "PrimalInfeasible" in status else {}
        named = "infeasible" if "PrimalInfeasible" in status else "unproven"
        return LeastPreload(named, np.full(clamps, np.nan), float("nan"), {"solver": status} | proof)
    each = np.clip(np.array(answer.x)[:clamps], 0.0, None) * size
    return LeastPreload("ok", each, float(each.sum()), _bound(contacts, twists, needed, size, float(each.sum())))


def _cone_slack(contacts: Contacts, twists: Array) -> Array:
    """(k, m): a_n − µ‖a_t‖ of each contact under each virtual twist (lengths of `contacts.length`)."""
    a = np.einsum("mij,kj->kmi", _scaled(contacts), twists)
    return np.asarray(a[..., 0] - contacts.mu * np.hypot(a[..., 1], a[..., 2]))


def _bound(contacts: Contacts, twists: Array, needed: Array, size: float, total: float) -> dict[str, object]:
    slack, n = _cone_slack(contacts, twists), contacts.locators
    at_clamps = 1.0 + slack[:, n:].sum(axis=0)
    bound = float((twists * needed).sum()) * size
    violation = max(0.0, float(-slack[:, :n].min(initial=0.0)), float(-at_clamps.min(initial=0.0)))
    return {
        "kind": "virtual twists, one a load: no smaller sum of preloads can balance all loads",
        "lower_bound_n": bound,
        "gap": abs(total - bound) / max(1.0, total),
        "violation": violation,
        "checked": violation <= 1e-6 and abs(total - bound) <= 1e-5 * max(1.0, total),
    }


def _infeasible_certificate(contacts: Contacts, twists: Array, needed: Array) -> dict[str, object]:
    slack, n = _cone_slack(contacts, twists), contacts.locators
    work = float((twists * needed).sum())
    scale = max(1e-300, work)
    violation = max(0.0, float(-slack[:, :n].min(initial=0.0)), float(-slack[:, n:].sum(axis=0).min(initial=0.0)))
    return {
        "kind": "virtual twists that every contact allows and the loads drive: no preload is enough",
        "work": work,
        "violation": violation / scale,
        "checked": work > 0 and violation <= 1e-6 * scale,
    }


def friction_factors(contacts: Contacts, wrenches: Array, gravity: Array) -> Factors:
    """Largest scale of each load that some reactions within the cones balance, clamp normals held at their preload.

    0 where not even the preload and the weight alone are balanced. Each bound comes from a virtual twist v with
    v·w = 1 and a_n ≥ µ‖a_t‖ at the locators: s ≤ −v·g − Σ_c p_c·(a_n − µ‖a_t‖). Capped at `UNLIMITED`.
    """
    loads = len(wrenches)
    block, length = _block(contacts), contacts.length
    pressed = contacts.preload[contacts.locators :]
    weight = _balance_scaled(gravity, length)
    scaled = _balance_scaled(wrenches, length)
    # Each load in units of its own size, so that all factors of the program are of one order; what it is measured
    # against is preload and weight, or where there is hardly any, the load itself.
    unit = np.maximum(np.abs(scaled).max(axis=1), 1e-12)
    size = np.maximum(max(float(np.abs(weight).max()), float(pressed.max(initial=0.0))), unit / _LIGHT)
    height, width = block.forces.shape
    fixed = -(block.preloads @ pressed)
    fixed[:6] -= weight
    with_load = np.zeros((loads, height))
    with_load[:, :6] = scaled / unit[:, None]
    own = sparse.block_diag([np.column_stack([with_load[i], block.forces]) for i in range(loads)], format="csc")
    index = np.arange(loads) * (width + 1)
    one = np.ones(loads)
    picks = sparse.csc_matrix((one, (np.arange(loads), index)), shape=(loads, loads * (width + 1)))
    right = np.concatenate([np.outer(1.0 / size, fixed).ravel(), UNLIMITED * unit / size, np.zeros(loads)])
    cost = np.zeros(loads * (width + 1))
    cost[index] = -1.0
    cones = [*_cones(block, loads), clarabel.NonnegativeConeT(2 * loads)]
    answer = _solve(cost, sparse.vstack([own, picks, -picks]), right, cones)
    if str(answer.status) not in ("Solved", "AlmostSolved"):
        return _one_by_one(contacts, wrenches, gravity, str(answer.status))
    factor = np.array(answer.x)[index] * size / unit
    twists = np.array(answer.z)[: height * loads].reshape(loads, height)[:, :6]
    return Factors(np.clip(factor, 0.0, UNLIMITED), _factor_bounds(contacts, twists, scaled, weight), twists)


def _one_by_one(contacts: Contacts, wrenches: Array, gravity: Array, status: str) -> Factors:
    """A batch fails as one: part it until the load that can't be balanced even at scale 0 stands alone."""
    if len(wrenches) == 1:
        if "Infeasible" not in status:
            raise ArithmeticError(f"the friction program ended with {status}")
        return Factors(np.zeros(1), np.zeros(1), np.zeros((1, 6)))
    middle = len(wrenches) // 2
    a = friction_factors(contacts, wrenches[:middle], gravity)
    if not a.factor.any() and not a.bound.any():
        rest = len(wrenches) - middle
        return Factors(*(np.concatenate([x, np.zeros((rest, *x.shape[1:]))]) for x in (a.factor, a.bound, a.twist)))
    b = friction_factors(contacts, wrenches[middle:], gravity)
    return Factors(*(np.concatenate(p) for p in ((a.factor, b.factor), (a.bound, b.bound), (a.twist, b.twist))))


def _factor_bounds(contacts: Contacts, twists: Array, scaled: Array, weight: Array) -> Array:
    work = (twists * scaled).sum(axis=1)
    slack, n = _cone_slack(contacts, twists), contacts.locators
    lost = twists @ weight + slack[:, n:] @ contacts.preload[n:]
    with np.errstate(divide="ignore", invalid="ignore"):
        bound = -lost / work
    sound = (work > 1e-12) & (slack[:, :n].min(axis=1, initial=0.0) >= -1e-6 * np.abs(twists).max(axis=1))
    return np.where(sound, bound, UNLIMITED)
