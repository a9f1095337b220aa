"""Balance against playing it through, against enumeration, and in kits."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from palletwright.flow.balance import CarrierKind, balance, best_mix, kits, play

COUNTS = st.lists(st.integers(1, 12), min_size=1, max_size=5)


def test_nine_of_each_give_nine_finished_every_start():
    found = balance([9, 9, 9], [1800.0] * 3, 8 * 3600.0)
    assert (found.finished_per_start, found.startup_starts, found.work_in_process) == (9, 2, 18)
    assert found.balanced
    assert found.finished_per_shift == pytest.approx(9 * 16)


def test_the_pile_of_an_unbalanced_way_is_told():
    found = balance([9, 6], [1800.0] * 2, 8 * 3600.0)
    (pile,) = found.piles
    assert (pile.operation, pile.per_start, pile.per_shift) == pytest.approx((1, 3, 48))
    assert found.finished_per_start == pytest.approx(6)


def test_two_machines_with_different_cycles():
    """Nine every 30 min feed six every 20 min: as many an hour, no pile."""
    even = balance([9, 6], [1800.0, 1200.0], 8 * 3600.0)
    assert even.balanced
    assert even.finished_per_start == pytest.approx(6)
    slower = balance([9, 6], [1800.0, 1500.0], 8 * 3600.0)
    assert slower.piles[0].per_shift == pytest.approx(8 * 3600 * (9 / 1800 - 6 / 1500))


@given(COUNTS, st.integers(20, 60))
def test_balance_is_what_playing_it_gives(counts, starts):
    told = balance(counts, [60.0] * len(counts), 3600.0)
    early, late = play(counts, starts), play(counts, starts + 10)
    assert late.finished - early.finished == pytest.approx(10 * told.finished_per_start)
    growing = {p.operation: p.per_start for p in told.piles}
    for k, (before, after) in enumerate(zip(early.piles, late.piles, strict=True), start=1):
        assert after - before == pytest.approx(10 * growing.get(k, 0.0))
    if told.balanced and len(set(counts)) == 1:
        assert sum(early.piles) == told.work_in_process


@given(COUNTS, st.integers(0, 40))
def test_parts_are_kept(counts, starts):
    found = play(counts, starts)
    assert found.put_in == found.finished + sum(found.piles)


@given(st.integers(1, 12), st.integers(1, 5))
def test_the_first_finished_part_leaves_after_the_startup_starts(n, operations):
    startup = balance([n] * operations, [60.0] * operations, 3600.0).startup_starts
    assert play([n] * operations, startup).finished == 0
    assert play([n] * operations, startup + 1).finished == n


def test_kits_wait_for_the_scarcest_part():
    found = kits({"arm": 8, "pin": 12, "cap": 4}, {"arm": 1, "pin": 4, "cap": 1})
    assert found.per_start == pytest.approx(3)
    assert dict(found.surplus) == pytest.approx({"arm": 5, "cap": 1})


def test_a_kit_without_one_of_its_parts_is_refused():
    with pytest.raises(ValueError, match=r"not so: \['pin'\]"):
        kits({"arm": 8}, {"arm": 1, "pin": 2})


KINDS = (
    CarrierKind("plate A", {("yoke", 1): 6}, room=1, most=3),
    CarrierKind("plate B", {("yoke", 2): 4}, room=1, most=4),
    CarrierKind("split plate", {("yoke", 1): 3, ("yoke", 2): 3}, room=1, most=2),
    CarrierKind("pallet", {("yoke", 1): 8, ("yoke", 2): 8}, room=2, most=1),
)


@pytest.mark.parametrize("rooms", [(1,), (2,), (3,), (4,), (2, 2), (3, 1)])
def test_the_best_mix_is_that_of_enumeration(rooms):
    best, fewest = 0, 99
    for counts in itertools.product(*(range(kind.most + 1) for kind in KINDS for _ in rooms)):
        grid = [counts[k * len(rooms) : (k + 1) * len(rooms)] for k in range(len(KINDS))]
        fits = all(
            sum(kind.room * row[m] for kind, row in zip(KINDS, grid, strict=True)) <= room
            for m, room in enumerate(rooms)
        )
        if not fits or any(sum(row) > kind.most for kind, row in zip(KINDS, grid, strict=True)):
            continue
        made = min(
            sum(kind.stations.get(("yoke", op), 0) * sum(row) for kind, row in zip(KINDS, grid, strict=True))
            for op in (1, 2)
        )
        if made > best or (made == best and sum(counts) < fewest):
            best, fewest = made, sum(counts)
    found = best_mix(KINDS, rooms)
    assert (0 if found is None else found.kits_per_start) == best
    if found is not None:
        assert sum(len(c) for c in found.carriers) == fewest


def test_a_family_is_mixed_in_its_proportions():
    kinds = (
        CarrierKind("arms", {("arm", 1): 4}),
        CarrierKind("pins", {("pin", 1): 10}),
    )
    found = best_mix(kinds, (4,), {"arm": 1, "pin": 2})
    assert found is not None
    # Two and two give 8 arms and 20 pins, three and one 12 and 10, one and three 4 and 30: 8, 5 and 4 kits.
    assert found.kits_per_start == 8
    assert found.carriers == (("arms", "arms", "pins", "pins"),)


def test_a_carrier_stands_only_where_it_can():
    """A pallet on the axis (the first room), plates on the table; nothing else may take the axis."""
    kinds = (
        CarrierKind("pallet", {("yoke", 1): 8}, where=(0,)),
        CarrierKind("plate", {("yoke", 2): 5}, where=(1,)),
    )
    found = best_mix(kinds, (1, 1))
    assert found is not None
    assert (found.kits_per_start, found.carriers) == (5, (("pallet",), ("plate",)))
    assert best_mix((kinds[0], CarrierKind("plate", {("yoke", 2): 5}, where=(0,))), (1, 1)) is None


def test_no_mix_where_an_operation_finds_no_room():
    assert best_mix((CarrierKind("a", {("p", 1): 4}), CarrierKind("b", {("p", 2): 4})), (1,)) is None


@pytest.mark.parametrize(("stations", "seconds"), [([0, 3], [1.0, 1.0]), ([3], [1.0, 2.0]), ([], []), ([3], [0.0])])
def test_what_makes_no_sense_is_refused(stations, seconds):
    with pytest.raises(ValueError, match="needs"):
        balance(stations, seconds, 100.0)
