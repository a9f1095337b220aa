"""Loading by hand: way in, fingers, keys, and chips, on sides small enough to reckon."""

from __future__ import annotations

import numpy as np
import pytest

from palletwright.reach import Seat, Spot, Thing, chips, loading
from palletwright.reach.chips import filled
from palletwright.solid.bodies import box, cylinder, subtract, union

UP = (0.0, 0.0, 1.0)


def block(name: str, x: float, y: float = 0.0, wide: float = 40.0, high: float = 30.0) -> Thing:
    return Thing(name, box((x, y, 0), (x + wide, y + wide, high)))


def row(count: int, step: float, devices: tuple[Thing, ...] = ()) -> list[Seat]:
    return [Seat(f"P{k}", block(f"P{k}", k * step), devices if k == 0 else ()) for k in range(count)]


def test_two_apart_in_one_row_leave_fingers_the_other_two_sides() -> None:
    found = loading(row(2, 41.0))
    assert all(s.hand == pytest.approx(100.0) for s in found.steps)
    assert not found.reasons


def grid(step: float, count: int = 3) -> list[Seat]:
    return [Seat(f"P{i}{j}", block(f"P{i}{j}", i * step, j * step), ()) for i in range(count) for j in range(count)]


def test_in_a_tight_grid_the_order_from_a_corner_keeps_no_two_opposite_sides_free() -> None:
    """From a corner each part meets loaded ones on two adjacent sides; 1 mm is no room for a finger."""
    found = loading(grid(41.0))
    tight = [s for s in found.steps if s.hand < 18.0]
    assert [s.hand for s in tight] == pytest.approx([1.0] * len(tight))
    assert len(tight) == 4  # all but the first row and the first column
    assert "4 of 9" in found.reasons[0].text


def test_more_room_between_parts_never_makes_loading_harder() -> None:
    easy = [sum(s.easy for s in loading(grid(step)).steps) for step in (41.0, 50.0, 57.0, 59.0)]
    assert easy == sorted(easy)
    assert easy[-1] == 9


def test_an_overhanging_clamp_is_met_from_above_unless_it_comes_off() -> None:
    arm = union([box((-20, 10, 0), (-5, 30, 40)), box((-20, 10, 31), (10, 30, 40))])
    stays = Seat("P", block("P", 0.0), (Thing("P/strap", arm),))
    assert loading([stays]).steps[0].meets == "P/strap"
    off = Seat("P", block("P", 0.0), (Thing("P/strap", arm, loose=True),))
    assert loading([off]).steps[0].meets == ""


def test_a_stop_beside_the_part_is_no_hindrance() -> None:
    stop = Thing("P/stop", box((40, 10, 0), (48, 18, 60)))
    assert loading([Seat("P", block("P", 0.0), (stop,))]).steps[0].meets == ""


def test_a_key_from_beside_needs_its_length_and_a_later_neighbour_is_not_there_yet() -> None:
    clamp = Thing("P0/clamp", box((40, 10, 0), (55, 25, 12)), tighten_from=(1.0, 0.0, 0.0), key=5.0)
    near = [Seat("P0", block("P0", 0.0), (clamp,)), Seat("P1", block("P1", 95.0), ())]
    found = loading(near)
    assert found.order[0] == "P0"  # the other order would leave 40 mm of 50 for the key
    assert found.steps[0].keys[0][1] == pytest.approx(50.0)
    fixed = [Seat("P0", block("P0", 0.0), (clamp, Thing("post", box((95, 0, 0), (100, 40, 30)))))]
    told = loading(fixed)
    assert told.steps[0].keys[0][1] == pytest.approx(40.0 - 50.0)
    assert "lacks 10.0 mm" in told.reasons[0].text


def test_a_key_from_above_passes_beside_the_part_and_its_arm_over_low_neighbours_only() -> None:
    clamp = Thing("P/clamp", box((40, 15, 0), (50, 25, 10)), tighten_from=UP, key=4.0)
    (step,) = loading([Seat("P", block("P", 0.0), (clamp,))]).steps
    assert step.keys[0][1] == pytest.approx(5.0 - 4.0)
    assert step.keys[0][2] == 360.0
    tower = Thing("tower", box((-20, -60, 0), (40, 100, 140)))
    (step,) = loading([Seat("P", block("P", 0.0), (clamp, tower))]).steps
    assert 170.0 <= step.keys[0][2] <= 180.0  # a wall 5 mm beside the screw: a little less than half a turn


def area(size: float) -> tuple[np.ndarray, np.ndarray]:
    return np.array([0.0, 0.0]), np.array([size, size])


def test_a_cup_keeps_its_volume_and_one_with_a_spout_only_what_is_below_it() -> None:
    cup = subtract(box((20, 20, 0), (80, 80, 30)), box((30, 30, 10), (70, 70, 40)))
    (pocket,) = chips(area(100), [cup], [], [], []).pockets
    assert pocket.volume == pytest.approx(40 * 40 * 20, rel=0.06)
    assert pocket.depth == pytest.approx(20.0)
    spout = subtract(cup, box((60, 45, 15), (90, 55, 40)))
    (pocket,) = chips(area(100), [spout], [], [], []).pockets
    assert pocket.depth == pytest.approx(5.0)


def test_a_relief_in_the_carrier_is_a_pocket_and_the_rim_drains() -> None:
    hole = cylinder((50, 50, -15), UP, 10.0, 20.0, segments=64)
    (pocket,) = chips(area(100), [], [hole], [], []).pockets
    assert pocket.depth == pytest.approx(15.0)
    assert pocket.volume == pytest.approx(np.pi * 100 * 15, rel=0.15)
    assert not chips(area(100), [box((20, 20, 0), (80, 80, 30))], [], [], []).pockets


def test_filling_agrees_with_a_flood_from_the_lowest_rim() -> None:
    """The same by a priority queue, on random ground."""
    import heapq

    ground = np.random.default_rng(7).uniform(0.0, 10.0, (24, 31))
    level = np.full_like(ground, np.inf)
    rim = [(j, i) for j in range(24) for i in range(31) if j in (0, 23) or i in (0, 30)]
    queue = [(ground[p], p) for p in rim]
    for z, p in queue:
        level[p] = z
    heapq.heapify(queue)
    while queue:
        z, (j, i) = heapq.heappop(queue)
        for q in ((j + 1, i), (j - 1, i), (j, i + 1), (j, i - 1)):
            if 0 <= q[0] < 24 and 0 <= q[1] < 31 and level[q] == np.inf:
                level[q] = max(z, ground[q])
                heapq.heappush(queue, (level[q], q))
    np.testing.assert_allclose(filled(ground), level)


def test_a_seat_in_a_deep_narrow_well_is_hidden_from_the_jet_and_one_in_a_wide_well_is_not() -> None:
    """A jet comes in at 75 degrees at the steepest: into a well 40 mm deep it needs about 10 mm beside the spot."""
    spot = Spot("seat", (50.0, 50.0, 0.0), UP)
    for half, hidden in ((6, ("seat",)), (24, ())):
        inside = box((50 - half, 50 - half, -1), (50 + half, 50 + half, 60))
        well = subtract(box((10, 10, 0), (90, 90, 40)), inside)
        assert chips(area(100), [], [], [well], [spot]).hidden == hidden


def test_what_lies_under_an_overhang_counts_as_hidden() -> None:
    """A height field fills the room under a lid: the careful side, told as such."""
    lid = union([box((30, 30, 0), (40, 70, 20)), box((30, 30, 20), (90, 70, 25))])
    under, beside = Spot("under", (60.0, 50.0, 0.0), UP), Spot("beside", (10.0, 50.0, 0.0), UP)
    assert chips(area(100), [], [], [lid], [under, beside]).hidden == ("under",)
