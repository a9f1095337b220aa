"""One part over several machines alike: pace, piles and a batch, against brute force and against doing it."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from palletwright.flow.batch import lead_seconds
from palletwright.flow.machines import Step, split_over

SHIFT = 28_800.0
whole = st.integers(1, 12)
steps = st.lists(st.builds(Step, whole, st.integers(10, 900), st.integers(0, 300), st.integers(0, 3600)), max_size=5)


def shared(rows: list[Step], machines: int, people: int = 9, batch: int = 40):  # type: ignore[no-untyped-def]
    return split_over(rows, machines, shift_seconds=SHIFT, people=people, batch=batch)


def test_each_machine_has_a_step_and_the_slower_one_paces() -> None:
    """10 and 6 s a part: 2,880 parts of a shift at 10 s; the second machine is busy for six tenths."""
    found = shared([Step(3, 30, 0), Step(2, 12, 0)], 2)
    assert found.machine_of == (0, 1)
    assert found.finished_per_shift == pytest.approx(SHIFT / 10)
    assert found.paced_by == "machine 1"
    assert found.busy == pytest.approx((1.0, 0.6))
    assert found.piles == ()


def test_a_quick_first_machine_piles_up_before_a_slow_second() -> None:
    found = shared([Step(2, 12, 0), Step(3, 30, 0)], 2)
    ((step, more),) = found.piles
    assert step == 1
    assert more == pytest.approx(SHIFT / 6 - SHIFT / 10)


def test_one_pair_of_hands_can_be_the_slowest() -> None:
    rows = [Step(1, 10, 8), Step(1, 10, 8)]
    assert shared(rows, 2, people=1).paced_by == "hands"
    assert shared(rows, 2, people=1).finished_per_shift == pytest.approx(SHIFT / 16)
    assert shared(rows, 2, people=2).finished_per_shift == pytest.approx(SHIFT / 10)


@given(steps.filter(bool), st.integers(1, 3))
def test_no_other_sharing_finishes_more(rows: list[Step], machines: int) -> None:
    found = shared(rows, machines)
    each = [s.start_seconds / s.parts for s in rows]
    hands = sum(s.attended_seconds / s.parts for s in rows) / 9
    ways = itertools.product(range(machines), repeat=len(rows))
    best = min(
        max(hands, *(sum(t for t, m in zip(each, way, strict=True) if m == k) for k in range(machines)), 0.0)
        for way in ways
    )
    assert found.finished_per_shift == pytest.approx(SHIFT / best)


@given(steps.filter(bool), st.integers(1, 60))
def test_a_batch_ends_as_the_machines_make_it(rows: list[Step], batch: int) -> None:
    """One machine makes step after step; as many machines as steps make what `lead_seconds` says of flowing."""
    alone = shared(rows, 1, batch=batch)
    told = [(s.parts, s.start_seconds, s.setup_seconds) for s in rows]
    assert alone.lead_seconds == pytest.approx(lead_seconds(batch, told))
    if shared(rows, len(rows), batch=batch).machine_of == tuple(range(len(rows))):
        each = shared(rows, len(rows), batch=batch)
        assert each.lead_seconds == pytest.approx(lead_seconds(batch, told, wait_for_batch=False))
        assert each.lead_seconds <= alone.lead_seconds + 1e-6


@pytest.mark.parametrize("wrong", [{"machines": 0}, {"people": 0}, {"batch": 0}])
def test_counts_below_one_are_refused(wrong: dict[str, int]) -> None:
    given_counts = {"machines": 1, "people": 1, "batch": 1} | wrong
    with pytest.raises(ValueError, match="at least 1"):
        split_over([Step(1, 1, 0)], shift_seconds=SHIFT, **given_counts)
    with pytest.raises(ValueError, match="above 0"):
        Step(0, 1, 0)
