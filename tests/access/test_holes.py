"""Holes: none missed, none invented, whatever the faces are split into and however the part is turned."""

from __future__ import annotations

import csv
import random

import numpy as np
import pytest
from access_cases import SHARED, block, built

from palletwright.access.holes import bores, sides
from palletwright.access.shapes import body_of, rod
from palletwright.solid import read_step

SIZE = (100.0, 80.0, 50.0)
PARTS = SHARED / "parts"

# Places of bores whose axis is free at both ends, as the table counts them, while a tool of their width can't leave at
# the far one: behind two of this part's lugs, 67 mm further on, stands a rib in the tool's way, beside the axis.
AXIS_FREE_ONLY = {"nist__nist_ftc_06_asme1_rd.stp": {(-127.0, 78.74), (127.0, 78.74)}}


def found(solid):
    return bores(solid, body_of(solid.mesh))


def test_counterbored_through_hole_is_one_hole_with_two_steps():
    tools = [("cylinder", (30, 40, 0), (0, 0, 1), 3.3, 50), ("cylinder", (30, 40, 43), (0, 0, 1), 5.5, 10)]
    holes, shut = found(block(tools))
    assert (len(holes), len(shut)) == (1, 0)
    assert holes[0].through
    assert holes[0].axis == (0.0, 0.0, 1.0)
    assert [round(2 * p.radius, 3) for p in holes[0].pieces] == [6.6, 11.0]
    assert holes[0].length == pytest.approx(50.0, abs=1e-6)


def test_bore_through_a_slot_is_one_hole_but_two_blind_ones_stay_two():
    bridged = [("cylinder", (30, 0, 25), (0, 1, 0), 4, 80), ("box", (20, 30, -1), (40, 50, 51))]
    holes, _ = found(block(bridged))
    assert [(h.through, len(h.gaps)) for h in holes] == [(True, 1)]
    blind = [("cylinder", (30, 0, 25), (0, 1, 0), 4, 20), ("cylinder", (30, 80, 25), (0, -1, 0), 4, 20)]
    holes, _ = found(block(blind))
    assert [h.through for h in holes] == [False, False]
    assert {h.axis for h in holes} == {(0.0, 1.0, 0.0), (0.0, -1.0, 0.0)}


def test_rounded_pocket_corners_are_no_holes():
    corners = [("cylinder", (x, y, 30), (0, 0, 1), 5, 30) for x in (25, 75) for y in (25, 55)]
    pocket = [("box", (20, 25, 30), (80, 55, 60)), ("box", (25, 20, 30), (75, 60, 60))]
    holes, shut = found(block(pocket + corners))
    assert (holes, shut) == ([], [])


def test_chamber_wider_than_both_mouths_is_not_called_a_hole():
    # A cross hole's own walls stand in for the chamber's way in: only coaxial narrow mouths lead to it.
    tools = [("cylinder", (50, 40, 0), (0, 0, 1), 4, 50), ("cylinder", (50, 40, 20), (0, 0, 1), 9, 10)]
    holes, shut = found(block(tools))
    assert len(shut) == 1
    assert shut[0].core.radius == pytest.approx(9.0)
    assert all(h.core.radius == pytest.approx(4.0) for h in holes)


def scripted(seed: int):
    """(tools, truth): holes at random on a grid in a block, some blind, stepped, crossing; (axis index, d, blind)."""
    rng = random.Random(seed)
    tools, truth = [], []
    spots = [(x, y) for x in (15, 38, 61, 84) for y in (15, 40, 65)]
    rng.shuffle(spots)
    for x, y in spots[: rng.randint(2, 6)]:
        r, blind = rng.choice([2.1, 2.5, 3.3, 4.0, 5.1]), rng.random() < 0.5
        deep = rng.uniform(8, 14) if blind else 51.0
        tools.append(("cylinder", (x, y, 50 - deep if blind else -0.5), (0, 0, 1), r, deep + (1 if blind else 0)))
        if rng.random() < 0.3:
            tools.append(("cylinder", (x, y, 46), (0, 0, 1), r + 2.5, 5))
        truth.append((2, round(2 * r, 3), blind))
    for x, z in [s for s in ((26.5, 12), (49.5, 25), (72.5, 12)) if rng.random() < 0.6]:
        r, blind = rng.choice([1.65, 2.1, 2.5]), rng.random() < 0.5
        deep = rng.uniform(8, 30) if blind else 82.0
        tools.append(("cylinder", (x, -1, z), (0, 1, 0), r, deep))
        truth.append((1, round(2 * r, 3), blind))
    return tools, sorted(truth)


def test_random_blocks_lose_and_invent_no_hole():
    """40 blocks with known holes, each turned at random: recall and precision both 1."""
    jobs, truths = [], []
    for seed in range(40):
        tools, truth = scripted(seed)
        rng = random.Random(1000 + seed)
        turn = ((rng.uniform(-1, 1), rng.uniform(-1, 1), rng.uniform(0.1, 1)), rng.uniform(0, 6.28))
        jobs.append((SIZE, tools, turn, seed % 2 == 1))
        truths.append(truth)
    for k, (solid, truth) in enumerate(zip(built(jobs), truths, strict=True)):
        holes, shut = found(solid)
        assert not shut
        got = sorted((round(2 * h.core.radius, 3), not h.through) for h in holes if not h.other_end)
        assert got == sorted((d, blind) for _, d, blind in truth), f"seed {k}"


def table() -> list[dict[str, str]]:
    if not (PARTS / "parts.csv").exists():
        return []
    with (PARTS / "parts.csv").open() as rows:
        return [r for r in csv.DictReader(rows) if r["bores_clear_both_ends"]]


@pytest.mark.skipif(not PARTS.exists(), reason="shared parts absent: set PALLETWRIGHT_SHARED")
@pytest.mark.parametrize("row", table(), ids=lambda r: r["file"])
def test_bore_counts_of_the_shared_parts(row):
    solid = read_step(PARTS / row["file"])
    part = body_of(solid.mesh)
    both, one = int(row["bores_clear_both_ends"]), int(row["bores_clear_one_end"])
    holes = [h for h in bores(solid, part)[0] if not h.other_end]
    free = [sum(leaves(h, part, end, 0.05) for end in (1.0, -1.0)) for h in holes]
    assert (free.count(2), free.count(1)) == (both, one)
    # The directions: where the axis is free at an end a tool of the bore's own width gets out too, but for those named.
    differ = {
        tuple(round(x, 2) for x in h.at(h.top)[:2]) for h, n in zip(holes, free, strict=True) if n != len(sides(h))
    }
    assert differ == AXIS_FREE_ONLY.get(row["file"], set())
    for h in holes:
        assert leaves(h, part, 1.0, 0.9 * h.core.radius), "the mouth"
        assert leaves(h, part, -1.0, 0.9 * h.core.radius) == (len(sides(h)) == 2)


def leaves(hole, part, end: float, radius: float) -> bool:
    """Whether a rod of that radius gets from the hole's mouth (1) or bottom (-1) out of the part along its axis."""
    way = end * np.asarray(hole.axis)
    start = np.asarray(hole.at(hole.top if end > 0 else hole.bottom)) + 0.05 * way
    return bool((rod(tuple(start), tuple(way), [(0.0, radius), (2e3, radius)], 24) ^ part).volume() < 1e-3)
