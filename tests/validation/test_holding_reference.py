"""The reference case of the methods (section 5): figures computed there by two formulations, mass ignored.

Block 100 × 80 × 50, µ 0.2, safety 2, 64 loads: Σp 3366.9 N with friction everywhere, 4795.9 N with frictionless
clamps; 8-facet cones 3409.3 N inscribed and 3301.3 N circumscribed (as linear programs, solved here by HiGHS).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import sparse
from scipy.optimize import linprog

from palletwright.holding import case_of, hold

LOCATORS = [
    ((10, 10, 0), (0, 0, 1)),
    ((90, 10, 0), (0, 0, 1)),
    ((50, 70, 0), (0, 0, 1)),
    ((20, 0, 25), (0, 1, 0)),
    ((80, 0, 25), (0, 1, 0)),
    ((0, 40, 25), (1, 0, 0)),
]
CLAMPS = [
    ((50, 80, 25), (0, -1, 0)),
    ((100, 40, 25), (-1, 0, 0)),
    ((30, 40, 50), (0, 0, -1)),
    ((70, 40, 50), (0, 0, -1)),
]


def reference(clamp_friction: float, preloads: list[float] | None = None) -> dict[str, object]:
    loads = [
        {"at": [x, y, 50], "force": [600 * math.cos(a * math.pi / 4), 600 * math.sin(a * math.pi / 4), fz]}
        for x in (15, 85)
        for y in (15, 65)
        for a in range(8)
        for fz in (-150, 150)
    ]
    clamps = [{"at": list(p), "normal": list(n), "friction": clamp_friction} for p, n in CLAMPS]
    for clamp, preload in zip(clamps, preloads or [], strict=False):
        clamp["preload"] = preload
    locators = [{"at": list(p), "normal": list(n)} for p, n in LOCATORS]
    return {"friction": 0.2, "safety": 2, "locator": locators, "clamp": clamps, "load": loads}


@pytest.mark.parametrize(("clamp_friction", "published"), [(0.2, 3366.9), (0.0, 4795.9)])
def test_least_preload_and_its_certificate(clamp_friction, published):
    answer = hold(reference(clamp_friction))
    assert answer["least_preload_n"]["sum"] == pytest.approx(published, rel=1e-3)
    proof = answer["certificate"]["least_preload"]
    assert proof["checked"]
    assert proof["lower_bound_n"] == pytest.approx(published, rel=1e-3)
    assert answer["friction_factor"] is None
    assert answer["holding_factor"] is None


@pytest.mark.parametrize("clamp_friction", [0.2, 0.0])
def test_least_preload_fed_back_gives_the_asked_safety(clamp_friction):
    each = hold(reference(clamp_friction))["least_preload_n"]["each"]
    again = hold(reference(clamp_friction, each))
    assert again["friction_factor"] == pytest.approx(2.0, rel=1e-4)
    assert again["certificate"]["friction_factor"]["upper_bound"] == pytest.approx(2.0, rel=1e-4)
    assert again["holding_factor"] == min(again["friction_factor"], again["elastic_factor"])


@pytest.mark.parametrize(("inscribed", "published"), [(True, 3409.3), (False, 3301.3)])
def test_faceted_cones_as_linear_programs(inscribed, published):
    """An independent formulation: forces as sums of eight edges, one linear program, no cone solver of ours."""
    case = case_of(reference(0.2))
    edge = 0.2 if inscribed else 0.2 / math.cos(math.pi / 8)
    contacts, loads = case.contacts, 2.0 * case.wrenches
    # The eight edges stand at 22.5° + i·45° from the axes of the block.
    angles = np.pi / 8 + 2 * np.pi * np.arange(8) / 8
    spokes = np.column_stack([np.ones(8), edge * np.cos(angles), edge * np.sin(angles)])
    per_load = np.concatenate([spokes @ contacts.grasp[c] for c in range(10)]).T
    normals = np.kron(np.eye(10)[6:], np.ones(8))
    k = len(loads)
    balance = sparse.hstack([sparse.csr_matrix((6 * k, 4)), sparse.kron(sparse.identity(k), per_load)])
    pressed = sparse.hstack([sparse.kron(np.ones((k, 1)), -np.eye(4)), sparse.kron(sparse.identity(k), normals)])
    cost = np.concatenate([np.ones(4), np.zeros(80 * k)])
    right = np.concatenate([-loads.ravel(), np.zeros(4 * k)])
    best = linprog(cost, A_eq=sparse.vstack([balance, pressed]).tocsr(), b_eq=right, method="highs")
    assert best.fun == pytest.approx(published, rel=1e-3)
    ours = hold(reference(0.2))["least_preload_n"]["sum"]
    assert (ours <= best.fun) == inscribed
