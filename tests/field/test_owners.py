"""The two greatest heights of different owners, against laying everything but one group; kernels compiled once."""

from __future__ import annotations

import importlib
import pkgutil

import numpy as np
from numba.core.dispatcher import Dispatcher

import palletwright.field
from palletwright.field import NOBODY, compile_kernels, lay, name_at, owned_field, without


def test_leaving_one_group_out_equals_never_having_laid_it() -> None:
    rng = np.random.default_rng(8)
    groups = np.array([0, 0, 1, 2, 3, 2], np.int32)
    bodies = [(rng.uniform(0, 9, (7, 9)), tuple(rng.integers(-3, 12, 2).tolist())) for _ in groups]
    for z, _ in bodies:
        z[rng.random(z.shape) < 0.3] = -np.inf
    low, high = np.array([10.0, -5.0]), np.array([18.0, 2.0])
    for order in range(4):
        field = owned_field(low, (14, 16), 0.5, groups)
        for who in rng.permutation(len(groups)):
            lay(field, bodies[who][0], bodies[who][1], int(who), lift=float(order))
        for group in range(5):
            plain, names = np.full((14, 16), -np.inf), np.full((14, 16), NOBODY)
            for who, (z, (j0, i0)) in enumerate(bodies):
                if groups[who] == group:
                    continue
                for j, i in np.argwhere(np.isfinite(z)):
                    at = (j + j0, i + i0)
                    if 0 <= at[0] < 14 and 0 <= at[1] < 16 and z[j, i] + order > plain[at]:
                        plain[at], names[at] = z[j, i] + order, who
            assert np.array_equal(without(field, group, low, high).z, plain)
            for j, i in ((0, 0), (6, 7), (13, 15), (9, 3)):
                assert name_at(field, group, low + (np.array([i, j]) + 0.5) * 0.5) == names[j, i]
        window = without(field, 0, low + 1.2, high - 1.2)
        assert np.array_equal(window.z, without(field, 0, low, high).z[2:12, 2:14])


INNER = {"_cut", "_upper_at", "_gap", "_nearest", "_ways_out", "_bounds"}
INNER |= {"_row_marks", "_row_runs", "_raise", "_by_table", "_paint"}
"""Only called by other kernels, with which they are kept."""
BOTH_WIDTHS = {"_run_counts", "_all_runs", "_tables", "_grow"}
"""Compiled for 64 and 32 bits: access grows heights of 32 bits."""


def test_every_kernel_is_compiled_ahead() -> None:
    compile_kernels()
    seen = 0
    for module in pkgutil.iter_modules(palletwright.field.__path__):
        for name, value in vars(importlib.import_module(f"palletwright.field.{module.name}")).items():
            if isinstance(value, Dispatcher) and name not in INNER:
                kinds = 2 if name in BOTH_WIDTHS else 1
                assert len(value.signatures) == kinds, f"{module.name}.{name} isn't compiled for {kinds}, ahead"
                seen += 1
    assert seen == 14
