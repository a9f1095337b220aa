"""Pockets in the carrier under tools that run out of the base: cut from the carrier's body, tools are clear of it."""

from __future__ import annotations

import numpy as np
import pytest
from grip_cases import CASES, block_with_pocket, plate_with_holes, shop, side_drilled

from palletwright.grip import Grip, relieved
from palletwright.grip.reliefs import GRID
from palletwright.solid.bodies import box, cylinder, manifold
from palletwright.solid.model import Mesh

PLATE = box((-200.0, -200.0, -40.0), (200.0, 200.0, 0.0))
HERE = np.eye(4)


def milled(grip: Grip) -> Mesh:
    return relieved(PLATE, [(HERE, r) for r in grip.reliefs])


def tools(case, pose: np.ndarray, lateral: float, vertical: float) -> list[Mesh]:
    """Every assembly of a cut from above at its tips, in the station frame, grown by what reach keeps."""
    found = []
    for direction, tips, rows, _ in case.sweeps:
        if pose[:3, :3] @ np.asarray(direction) @ (0, 0, 1) < 0.999:
            continue
        at = np.atleast_2d(tips) @ pose[:3, :3].T + pose[:3, 3]
        for p in at[:: max(1, len(at) // 40)]:
            for radius, start, end in rows:
                foot = (p[0], p[1], p[2] + start - vertical)
                found.append(cylinder(foot, (0, 0, 1), radius + lateral, end - start + vertical))
    return found


@pytest.mark.parametrize("name", CASES)
def test_a_relieved_carrier_is_clear_of_every_tool_by_its_floor(name: str) -> None:
    floors = shop().floors
    case = CASES[name]()
    for grip in case.solve(most=4)[0]:
        if any(d.id.endswith("jaw") for d in grip.devices) and not grip.reliefs:
            continue  # stands on a step of its jaws, not on the carrier
        body = manifold(milled(grip))
        for pose in grip.poses:
            for tool in tools(case, pose, floors.cutter - 0.02, floors.cutter + floors.tool_setting_error - 0.02):
                assert (body ^ manifold(tool)).volume() < 1e-3, grip.id


def test_a_drill_through_the_base_gets_a_round_pocket_of_its_size_under_it() -> None:
    floors = shop().floors
    case = block_with_pocket()
    flat = [g for g in case.solve()[0] if g.reliefs and len(g.poses) == 1]
    assert flat
    for grip in flat:
        (relief,) = grip.reliefs
        tip = grip.poses[0] @ np.array([70.0, 25.0, -2.0, 1.0])
        np.testing.assert_allclose(relief.at, tip[:2], atol=1e-6)
        assert relief.diameter == pytest.approx(6.0 + 2.0 * (floors.cutter + GRID), rel=0.01)
        need = floors.cutter + floors.tool_setting_error - tip[2]
        assert need <= relief.depth < need + 1.0
        gone = manifold(PLATE).volume() - manifold(milled(grip)).volume()
        assert gone == pytest.approx(np.pi / 4 * relief.diameter**2 * relief.depth, rel=0.02)


@pytest.mark.parametrize("make", [block_with_pocket, plate_with_holes, side_drilled])
def test_what_carries_the_part_stands_beside_the_pockets(make) -> None:
    """Under each point of the seat there is carrier or a rest, and no rest stands over a pocket."""
    for grip in make().solve()[0]:
        body = manifold(milled(grip))
        bodies = [manifold(d.mesh) for d in grip.devices]
        assert all((body ^ b).volume() < 1e-3 for b in bodies), grip.id
        for contact in grip.contacts:
            if contact.id[:1] == "R" and contact.id[1:].isdigit():
                x, y, z = contact.at
                pin = manifold(box((x - 0.2, y - 0.2, z - 0.4), (x + 0.2, y + 0.2, z - 0.1)))
                under = sum((pin ^ b).volume() for b in [body, *bodies])
                assert under == pytest.approx(pin.volume(), rel=1e-3), (grip.id, contact.id)


def test_both_parts_of_a_pair_get_their_pockets() -> None:
    pairs = [g for g in block_with_pocket().solve()[0] if len(g.poses) == 2]
    assert pairs
    for grip in pairs:
        assert len(grip.reliefs) in (0, 2)
        if grip.reliefs:
            tips = [(p @ np.array([70.0, 25.0, -2.0, 1.0]))[:2] for p in grip.poses]
            np.testing.assert_allclose([r.at for r in grip.reliefs], tips, atol=1e-6)


def test_a_carrier_without_pockets_is_returned_as_it_is() -> None:
    assert relieved(PLATE, []) is PLATE
