"""Rounds of kits: nothing left over in an exact one, parts are kept, time is shared, long rounds change less."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from palletwright.flow.kitting import MOST_KITS, KitPart, kit_round

ARM, PIN = KitPart(6, 1800.0, 90.0), KitPart(20, 1200.0, 90.0)
parts = st.builds(KitPart, st.integers(1, 24), st.floats(60, 7200, allow_nan=False), st.floats(0, 600, allow_nan=False))


def test_a_kit_of_one_arm_and_two_pins_by_hand():
    """30 kits: 5 starts of arms give 30, 3 of pins give 60; fewer kits leave a start of one of them broken."""
    found = kit_round({"arm": ARM, "pin": PIN}, {"arm": 1, "pin": 2}, 28_800.0)
    assert (found.kits, dict(found.starts), dict(found.surplus)) == (30, {"arm": 5, "pin": 3}, {})
    assert found.seconds == 5 * 1800 + 3 * 1200 + 2 * 90
    assert found.kits_per_shift == pytest.approx(30 * 28_800 / found.seconds)
    assert found.half_done == 30


@given(st.dictionaries(st.sampled_from("abcd"), st.tuples(parts, st.integers(1, 6)), min_size=1))
def test_parts_are_kept_and_the_round_is_shared(rows):
    made = {n: p for n, (p, _) in rows.items()}
    kit = {n: k for n, (_, k) in rows.items()}
    found = kit_round(made, kit, 28_800.0)
    for n, p in made.items():
        assert found.starts[n] * p.parts_per_start == pytest.approx(found.kits * kit[n] + found.surplus.get(n, 0.0))
        assert 0 <= found.surplus.get(n, 0.0) < p.parts_per_start
    assert sum(found.shares.values()) == pytest.approx(1.0)
    exact = [k for k in range(1, found.kits + 1) if all((k * kit[n]) % p.parts_per_start == 0 for n, p in made.items())]
    if not found.surplus and found.kits <= MOST_KITS:
        assert exact == [found.kits]


def test_a_longer_round_changes_less_and_has_more_waiting():
    kit = {"arm": 1, "pin": 2}
    short, long = (kit_round({"arm": ARM, "pin": PIN}, kit, 28_800.0, kits=k) for k in (30, 120))
    assert long.kits_per_shift > short.kits_per_shift
    assert long.half_done == 4 * short.half_done


def test_one_part_number_never_changes():
    found = kit_round({"arm": ARM}, {"arm": 1}, 28_800.0)
    assert (found.kits, found.seconds, found.half_done) == (6, 1800.0, 0.0)


@pytest.mark.parametrize("kit", [{"arm": 1}, {"arm": 1, "pin": 0}, {"arm": 1, "bolt": 2}])
def test_a_kit_that_does_not_go_with_its_parts_is_refused(kit):
    with pytest.raises(ValueError, match="doesn't go with"):
        kit_round({"arm": ARM, "pin": PIN}, kit, 28_800.0)
