"""One carrier design for a family against one each, reckoned by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from palletwright.layout import Module, Side, Terms, Variant, compare_variants, one_for_all, pack
from palletwright.layout.model import ToolSweep
from palletwright.solid import footprint
from palletwright.solid.bodies import box, union

UP = (0.0, 0.0, 1.0)
SIDE = Side("plate", shapely.box(-200, -25, 200, 25), np.eye(4))
TERMS = Terms(carrier=400.0, station=50.0, life=4.0, change=600.0, start=120.0, rate=90.0)


def of_length(length: float, left: bool = False) -> Module:
    """A bar that begins at the station's origin, 40 wide, with a tool in its middle; a hook tells left from right."""
    part = box((0, -20, 0), (length, 20, 30))
    if left:
        part = union([part, box((-6, 10, 0), (0, 20, 30))])
    moves = ((np.array([[length / 2, 0.0, 20.0]]), ((4.0, 0.0, 60.0),), 1, 30.0),)
    return Module(0, "g", (("part1", part),), (ToolSweep(UP, moves),), footprint(part, UP), 1, (0,))


def family() -> list[Variant]:
    return [Variant("short", of_length(40.0), 6000.0), Variant("long", of_length(60.0), 3000.0)]


def test_counts_change_overs_and_money_by_hand() -> None:
    """400 mm: 9 of 40 + 1 (41 mm pitch), 6 of 60; for all 6. Starts 9000/6 against 6000/9 + 3000/6."""
    one, each = compare_variants(family(), SIDE, TERMS, clearance=2.0, solid_gap=1.0)
    assert one.counts == {"short": 6, "long": 6}
    assert each.counts == {"short": 9, "long": 6}
    assert (one.carriers, one.changes) == (1, 0.0)
    assert (each.carriers, each.changes) == (2, 24.0)
    assert one.money == pytest.approx(
        {"carriers": 100.0, "stations": 75.0, "change-overs": 0.0, "starts": 1500 * 120 * 90 / 3600}
    )
    starts = 6000 / 9 + 3000 / 6
    assert each.money == pytest.approx(
        {"carriers": 200.0, "stations": 187.5, "change-overs": 360.0, "starts": starts * 120 * 90 / 3600}
    )
    assert one.per_year > each.per_year  # 4675 against about 4248


def test_many_small_batches_turn_the_choice() -> None:
    small = [replace(v, batches=60.0) for v in family()]
    one, each = compare_variants(small, SIDE, TERMS, clearance=2.0, solid_gap=1.0)
    assert one.per_year < each.per_year
    assert each.changes == 120.0


def test_a_left_and_a_right_hand_share_a_station_that_clears_both() -> None:
    hands = [Variant("right", of_length(40.0), 1000.0), Variant("left", of_length(40.0, left=True), 1000.0)]
    shared = one_for_all(hands)
    assert {n for n, _ in shared.bodies} == {"right/part1", "left/part1"}
    assert shared.outline.bounds == pytest.approx((-6.0, -20.0, 40.0, 20.0))
    count = pack(shared, SIDE, clearance=2.0, solid_gap=1.0).count
    assert count <= min(pack(v.module, SIDE, clearance=2.0, solid_gap=1.0).count for v in hands)


def test_one_for_all_never_holds_more_than_any_alone() -> None:
    for lengths in ((30.0, 35.0), (40.0, 41.0), (25.0, 90.0)):
        variants = [Variant(str(v), of_length(v), 100.0) for v in lengths]
        one, each = compare_variants(variants, SIDE, TERMS, clearance=2.0, solid_gap=1.0)
        assert all(one.counts[v.name] <= each.counts[v.name] for v in variants)


def test_variants_alike_need_one_design_only() -> None:
    """Two names for one shape: the bodies are there once, so all stand as close as one alone."""
    twins = [Variant("a", of_length(40.0), 100.0), Variant("b", of_length(40.0), 100.0)]
    assert len(one_for_all(twins).bodies) == 1
    one, each = compare_variants(twins, SIDE, TERMS, clearance=2.0, solid_gap=1.0)
    assert one.counts == each.counts
    assert one.per_year < each.per_year


def test_modules_for_one_and_for_two_parts_do_not_mix() -> None:
    pair = replace(of_length(40.0), parts=2)
    with pytest.raises(ValueError, match="different numbers of parts"):
        one_for_all([Variant("a", of_length(40.0), 1.0), Variant("b", pair, 1.0)])
