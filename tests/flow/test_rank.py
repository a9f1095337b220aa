"""The ranking against enumeration of every set."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from palletwright.flow.rank import RankJob, ordered, rank_jobs

cents = st.integers(0, 40_000).map(lambda n: n / 100)
job_lists = st.lists(st.tuples(st.integers(-5_000, 40_000).map(lambda n: n / 100), cents, cents, cents), max_size=10)
limits = st.one_of(st.none(), st.integers(0, 120_000).map(lambda n: n / 100))


def best_of_all(jobs, **held):
    """(saving, building hours) of the best set, in whole hundredths, by trying every one."""
    rows = [[round(getattr(j, k) * 100) for k in ("saving_per_year", "building_hours", *held)] for j in jobs]
    best = (0, 0)
    for chosen in itertools.product((0, 1), repeat=len(rows)):
        sums = [sum(c * r[i] for c, r in zip(chosen, rows, strict=True)) for i in range(2 + len(held))]
        if all(s <= round(limit * 100) for s, limit in zip(sums[2:], held.values(), strict=True) if limit is not None):
            best = max(best, (sums[0], -sums[1]))
    return best[0] / 100, -best[1] / 100


@settings(max_examples=60)
@given(job_lists, limits, limits)
def test_the_choice_is_that_of_enumeration(rows, capital, hours):
    jobs = [RankJob(f"job {i}", *row) for i, row in enumerate(rows)]
    found = rank_jobs(jobs, capital=capital, machine_hours=hours)
    saving, building = best_of_all(jobs, capital=capital, machine_hours=hours)
    assert found.proven
    assert found.saving == pytest.approx(saving, abs=1e-6)
    if capital is not None or hours is not None:
        assert found.building_hours == pytest.approx(building, abs=1e-6)
    assert capital is None or found.capital <= capital + 1e-9
    assert hours is None or found.machine_hours <= hours + 1e-9


@given(job_lists)
def test_the_order_is_by_saving_per_building_hour(rows):
    jobs = [RankJob(f"job {i}", *row) for i, row in enumerate(rows)]
    order = rank_jobs(jobs, capital=100).order
    assert sorted(j.name for j in order) == sorted(j.name for j in jobs)
    per_hour = [j.saving_per_hour for j in order]
    assert per_hour == sorted(per_hour, reverse=True)


def test_greed_by_saving_per_hour_is_not_the_best_choice():
    """The known trap: the best per hour leaves no room for two that save more together."""
    jobs = [RankJob("quick", 600, 10, 60), RankJob("big", 500, 50, 50), RankJob("also", 500, 50, 50)]
    found = rank_jobs(jobs, capital=100)
    assert ordered(jobs)[0].name == "quick"
    assert {j.name for j in found.chosen} == {"big", "also"}


def test_all_that_save_are_chosen_without_a_limit():
    found = rank_jobs([RankJob("a", 10, 1), RankJob("b", -10, 1), RankJob("c", 0, 0)])
    assert [j.name for j in found.chosen] == ["a"]
    assert math.isinf(RankJob("free", 10, 0).saving_per_hour)


def test_two_thousand_jobs_are_chosen_in_seconds():
    rng = np.random.default_rng(7)
    jobs = [
        RankJob(f"job {i}", *(round(float(x), 2) for x in rng.uniform([50, 10, 200, 2], [9000, 90, 9000, 60])))
        for i in range(2000)
    ]
    found = rank_jobs(jobs, capital=60_000, machine_hours=400)
    assert found.saving <= found.bound + 1e-6
    assert found.bound <= found.saving * 1.001
    assert found.capital <= 60_000
    assert found.machine_hours <= 400


def test_two_jobs_of_one_name_are_refused():
    with pytest.raises(ValueError, match="each name stands once"):
        rank_jobs([RankJob("a", 10, 1), RankJob("a", 10, 1)])


@pytest.mark.parametrize("wrong", [{"capital": -1}, {"machine_hours": float("nan")}])
def test_impossible_limits_are_refused(wrong):
    with pytest.raises(ValueError, match="limits must not be below 0"):
        rank_jobs([RankJob("a", 10, 1)], **wrong)
