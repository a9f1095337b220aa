"""Small parts: what holds them is still wide enough to be made."""

from __future__ import annotations

import numpy as np
from grip_cases import Case, shop

from palletwright.solid.bodies import box

LEAST = 2.5 * 12  # mm: the example shop's jaws are drawn by an M12 screw


def test_jaws_on_a_plate_are_never_cut_narrower_than_their_screw_needs() -> None:
    block = box((0, 0, 0), (18, 14, 12))
    found, _ = Case(block, block, block, block).solve(most=12)
    jaws = [d for g in found for d in g.devices if d.id in ("fixed-jaw", "moving-jaw")]
    assert {g.kind for g in found} >= {"jaw", "soft_jaw"}
    for jaw in jaws:
        size = np.ptp(jaw.mesh.vertices, axis=0)
        assert size[:2].max() >= LEAST - 1e-6, size


def test_a_jaw_as_wide_as_a_wide_part_is_cut_to_the_part() -> None:
    block = box((0, 0, 0), (80, 60, 30))
    found, _ = Case(block, block, block, block).solve(most=12)
    wide = shop().clamps
    most = max(c.footprint[0] for c in wide if c.kind == "jaw")
    jaws = [d for g in found if g.kind == "jaw" for d in g.devices if d.id == "fixed-jaw"]
    assert jaws
    for jaw in jaws:
        assert np.ptp(jaw.mesh.vertices, axis=0)[:2].max() <= min(most, 80.0) + 1e-6
