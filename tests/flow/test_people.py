"""People: charts that add up, time alone, and shifts walked through."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from palletwright.flow import machine_tending_cost, start_seconds
from palletwright.flow.people import (
    Shift,
    best_machines,
    chart_rows,
    longest_alone,
    man_machine_chart,
    shift_walk,
)

MINUTES = st.floats(0.1, 60)


@given(st.integers(1, 8), MINUTES, st.floats(0, 20), MINUTES)
def test_every_row_of_a_chart_fills_the_round(machines, load, attend, run):
    chart = man_machine_chart(machines=machines, load=load, attend=attend, run=run)
    rows = chart_rows(chart)
    assert [who for who, _ in rows] == ["operator", *(f"machine {m + 1}" for m in range(machines))]
    for who, bars in rows:
        assert sum(b.minutes for b in bars) == pytest.approx(chart.cycle), who
        for before, after in pairwise(bars):
            assert after.start == pytest.approx(before.start + before.minutes)


@given(st.integers(1, 8), MINUTES, st.floats(0, 20), MINUTES)
def test_the_cost_is_the_chart_s_round_at_its_rates(machines, load, attend, run):
    chart = man_machine_chart(machines=machines, load=load, attend=attend, run=run)
    cost = machine_tending_cost(load=load, attend=attend, run=run, operator_rate=42, machine_rate=55, machines=machines)
    assert cost == pytest.approx(chart.cycle / 60 * (42 + machines * 55) / chart.pieces)


def test_the_cheapest_number_is_n_prime_down_or_up():
    """The least cost lies at a whole number beside n' = (load + run) / (load + attend)."""
    for run in (5.0, 11.0, 23.0, 47.0):
        n, _ = best_machines(load=4, attend=1, run=run, operator_rate=40, machine_rate=30)
        prime = (4 + run) / 5
        assert n in (int(prime), int(prime) + 1)


def test_the_least_limit_ends_the_time_alone():
    assert longest_alone(42.0).limited_by == "the cycle"
    found = longest_alone(42.0, {"tool life of T4": 30.0, "chips": 90.0})
    assert (found.minutes, found.limited_by) == (30.0, "tool life of T4")
    found = longest_alone(42.0, {"chips": 90.0}, pallets=3)
    assert (found.minutes, found.limited_by) == (90.0, "chips")
    assert longest_alone(42.0, {"chips": 900.0}, pallets=3).minutes == 126.0


@given(st.integers(1, 4), st.floats(5, 60), st.floats(1, 60), st.floats(0.5, 5), st.booleans())
def test_minutes_add_up_to_the_shift(sets, machine, load, swap, pauses):
    shift = Shift(480, ((120, 15), (240, 30)) if pauses else ())
    day = shift_walk(shift, machine=machine, load=load, swap=swap, sets=sets)
    assert day.spindle + day.handling + day.waiting == pytest.approx(480)
    assert min(day.spindle, day.handling, day.waiting + 1e-9, day.alone_after) >= 0
    assert day.attended <= 480 - (45 if pauses else 0) + 1e-6
    assert day.starts - day.finished_starts in (0, 1)


@pytest.mark.parametrize(("sets", "machine", "load"), [(1, 20.0, 10.0), (2, 20.0, 10.0), (2, 10.0, 20.0)])
def test_a_long_shift_runs_at_the_closed_form(sets, machine, load):
    swap = 1.5
    day = shift_walk(Shift(60_000), machine=machine, load=load, swap=swap, sets=sets)
    assert 60_000 / day.starts == pytest.approx(start_seconds(machine, load, swap, sets), rel=0.002)


def test_the_last_start_runs_on_with_nobody_there():
    on = shift_walk(Shift(100), machine=40, load=10, swap=2, sets=2)
    assert (on.starts, on.finished_starts, on.alone_after) == (3, 2, 26.0)
    none = shift_walk(Shift(100), machine=40, load=10, swap=2, sets=2, alone_limit=0)
    assert (none.starts, none.alone_after) == (2, 0.0)
    short = shift_walk(Shift(100), machine=40, load=10, swap=2, sets=2, alone_limit=25)
    assert short.starts == 2


def test_a_swap_waits_for_the_end_of_a_break():
    plain = shift_walk(Shift(120), machine=30, load=10, swap=2, sets=2)
    held = shift_walk(Shift(120, ((31, 29),)), machine=30, load=10, swap=2, sets=2)
    assert (plain.starts, plain.waiting) == (4, 0.0)
    assert held.starts == 3
    assert held.waiting == pytest.approx(28.0)


def test_breaks_in_disorder_are_refused():
    with pytest.raises(ValueError, match="breaks must follow each other"):
        Shift(480, ((240, 30), (120, 15)))
