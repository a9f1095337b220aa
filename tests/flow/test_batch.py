"""Johnson's order against all orders, and lead times."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from palletwright.flow.batch import johnson, lead_seconds, makespan

TIMES = st.lists(st.tuples(st.integers(0, 20), st.integers(0, 20)), min_size=1, max_size=6)


@given(TIMES)
def test_no_order_ends_sooner(times):
    jobs = {f"job {i}": t for i, t in enumerate(times)}
    _, end = johnson(jobs)
    assert end == min(makespan(order) for order in itertools.permutations(times))


def test_a_batch_that_waits_takes_the_sum():
    assert lead_seconds(10, [(4, 100, 50), (5, 200, 30)]) == 50 + 3 * 100 + 30 + 2 * 200


def test_parts_that_flow_on_are_sooner():
    steps = [(4, 100.0, 0.0), (4, 100.0, 0.0)]
    assert lead_seconds(12, steps, wait_for_batch=False) == 400
    assert lead_seconds(12, steps) == 600


def test_a_step_without_time_is_refused():
    with pytest.raises(ValueError, match="above 0"):
        lead_seconds(10, [(4, 0.0, 50)])
