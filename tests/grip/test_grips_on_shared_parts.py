"""Real parts, as blanks and as finished: every grip touches the part, locates it and stands clear of it."""

from __future__ import annotations

import os
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from grip_cases import shop
from test_grips import surface

from palletwright.grip import grips
from palletwright.solid import read_step
from palletwright.solid.bodies import manifold

SHARED = Path(os.environ.get("PALLETWRIGHT_SHARED", Path(__file__).parents[3] / "shared")) / "parts"
PARTS = (
    "headframe__NT_NCS002_001_P_001.stp",
    "mfcadpp__363.step",
    "opm2p__baseblock_for_AOTF.stp",
    "opm2p__beam_steering_subassy_mounting_bracket.stp",
)


@pytest.mark.slow
@pytest.mark.parametrize("name", PARTS)
def test_a_real_part_is_held_where_it_says(name: str) -> None:
    if not (SHARED / name).exists():
        pytest.skip(f"{SHARED / name} isn't there: set PALLETWRIGHT_SHARED")
    mesh = read_step(SHARED / name).mesh
    held = 0
    for up in np.concatenate([np.eye(3), -np.eye(3)]):
        found, reasons = grips(
            mesh, mesh, mesh, mesh, tuple(up), [], [], shop(), shop().materials[0], tolerance=0.1, floors=shop().floors,
            carrier_kind="plate", most=4,
        )  # fmt: skip
        held += bool(found)
        assert found or reasons
        for grip in found:
            here = mesh.moved(grip.poses[0])
            assert all(len(surface(here, np.asarray(c.at))) for c in grip.contacts), grip.id
            bodies = [manifold(mesh.moved(p)) for p in grip.poses] + [manifold(d.mesh) for d in grip.devices]
            assert all((a ^ b).volume() < 0.05 for a, b in combinations(bodies, 2)), grip.id
    assert held >= 2
