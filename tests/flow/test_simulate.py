"""The simulated floor against closed forms, and its conservation laws."""

from __future__ import annotations

import statistics
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from palletwright.flow import finite_source, start_seconds, utilisation_exponential
from palletwright.flow.simulate import Floor, Spread, ToolBreaks, simulate


def exponential(mean: float) -> Spread:
    return Spread(mean, "exponential")


def within_three_errors(floor, expected, shifts=30):
    """Four runs of different seeds, pooled; wide errors would prove nothing."""
    runs = [simulate(floor, shifts=shifts, seed=seed) for seed in (1, 2, 3, 4)]
    mean = statistics.fmean(r.utilisation for r in runs)
    error = sum(r.utilisation_error**2 for r in runs) ** 0.5 / len(runs)
    assert abs(mean - expected) <= 3 * error
    assert error < 0.02 * expected


@pytest.mark.parametrize("sets", [1, 2, 3, 4])
def test_exponential_sets_in_a_closed_loop(sets):
    floor = Floor(exponential(1800), exponential(1200), sets=sets, shift_seconds=180_000)
    within_three_errors(floor, utilisation_exponential(30, 20, sets))


@pytest.mark.parametrize("sets", [1, 3])
def test_equal_exponential_servers(sets):
    floor = Floor(exponential(600), exponential(600), sets=sets, shift_seconds=120_000)
    within_three_errors(floor, sets / (sets + 1))


@pytest.mark.parametrize(("machines", "factor", "servers"), [(5, 0.125, 1), (10, 0.14, 2), (10, 0.14, 3)])
def test_exponential_finite_source(machines, factor, servers):
    floor = Floor(
        exponential(1000 * (1 - factor)),
        exponential(1000 * factor),
        machines=machines,
        people=servers,
        shift_seconds=200_000 / machines,
    )
    expected = finite_source(machines=machines, service_factor=factor, servers=servers).running / machines
    within_three_errors(floor, expected)


@pytest.mark.parametrize(("machines", "k"), [(6, 0.1), (4, 0.2)])
def test_constant_service_finite_source(machines, k):
    floor = Floor(exponential(1000), Spread(1000 * k), machines=machines, shift_seconds=50_000)
    expected = finite_source(machines=machines, service_factor=k / (1 + k), constant_service=True).running / machines
    within_three_errors(floor, expected)


@pytest.mark.parametrize(
    ("machine", "load", "swap", "sets"),
    [(1800, 1200, 90, 1), (1800, 1200, 90, 2), (1200, 1800, 90, 2), (1800, 1200, 0, 2), (1800, 1200, 90, 3)],
)
def test_fixed_times_give_the_closed_form_exactly(machine, load, swap, sets):
    whole = start_seconds(machine, load, swap, sets)
    floor = Floor(Spread(machine), Spread(load), Spread(swap), sets=sets, shift_seconds=whole * 20)
    found = simulate(floor, shifts=5, warm_up_shifts=2)
    assert found.utilisation == pytest.approx(machine / whole, rel=1e-9)
    assert found.parts_per_shift == (20,) * 5


def test_spread_costs_parts():
    fixed = Floor(Spread(1800), Spread(1500), Spread(90), stations=(9,), sets=2)
    loose = replace(fixed, machine=Spread(1800, "lognormal", 0.3), load=Spread(1500, "lognormal", 0.6))
    late = replace(loose, late=exponential(300))
    broken = replace(late, breaks=ToolBreaks(30_000, exponential(1800), 2))
    found = [simulate(f, shifts=100).percentiles[1] for f in (fixed, loose, late, broken)]
    assert found == sorted(found, reverse=True)
    assert found[0] > found[-1]


def test_percentiles_are_in_order_and_the_seed_decides():
    floor = Floor(Spread(900, "triangular", 0.3), Spread(700, "lognormal", 0.5), Spread(60), stations=(4,), sets=2)
    one, again, other = (simulate(floor, seed=s) for s in (4, 4, 5))
    assert one == again
    assert one.parts_per_shift != other.parts_per_shift
    assert one.percentiles[0] <= one.percentiles[1] <= one.percentiles[2]


def test_an_unbalanced_set_piles_up_what_balance_says():
    floor = Floor(Spread(1000), Spread(100), Spread(0), stations=(9, 6), sets=2, shift_seconds=10_000)
    found = simulate(floor, shifts=10, warm_up_shifts=0)
    assert found.piles[0] == pytest.approx(3 * found.starts, abs=30)
    assert max(found.parts_per_shift) == 60


floors = st.builds(
    Floor,
    machine=st.sampled_from([Spread(900.0), exponential(700.0), Spread(1200.0, "triangular", 0.4)]),
    load=st.sampled_from([Spread(300.0), Spread(800.0, "lognormal", 0.5)]),
    swap=st.sampled_from([Spread(0.0), Spread(90.0)]),
    stations=st.sampled_from([(1,), (4, 4), (9, 6, 6), (3, 5)]),
    machines=st.integers(1, 3),
    sets=st.integers(1, 3),
    people=st.integers(1, 2),
    benches=st.sampled_from([None, 1]),
    wash=st.sampled_from([None, Spread(600.0), exponential(1500.0)]),
    scrap=st.sampled_from([0.0, 0.1]),
    breaks=st.sampled_from([None, ToolBreaks(3000.0, exponential(400.0), 3)]),
    late=st.sampled_from([None, exponential(120.0)]),
    pauses=st.sampled_from([(), ((7200.0, 900.0), (14400.0, 1800.0))]),
)


@settings(max_examples=60)
@given(floors, st.integers(0, 1000))
def test_parts_and_minutes_are_kept(floor, seed):
    found = simulate(floor, shifts=3, warm_up_shifts=1, seed=seed)
    assert found.parts_in == found.finished + found.scrapped + found.in_process
    assert sum(found.machine_seconds.values()) == pytest.approx(found.seconds * floor.machines)
    assert sum(found.people_seconds.values()) == pytest.approx(found.seconds * floor.people)
    assert found.finished > 0
    if floor.scrap == 0 and floor.breaks is None:
        assert found.scrapped == 0


def test_a_pause_is_taken_and_the_spindle_cuts_on():
    floor = Floor(Spread(3600), Spread(600), Spread(60), sets=2, pauses=((3000, 1800),), shift_seconds=28_800)
    found = simulate(floor, shifts=4, warm_up_shifts=0)
    assert found.people_seconds["pause"] == pytest.approx(4 * 1800)
    assert found.machine_seconds["cut"] > 0.9 * found.seconds


@pytest.mark.parametrize(
    "wrong", [{"sets": 0}, {"scrap": 1.0}, {"stations": (0,)}, {"benches": 0}, {"shift_seconds": 0.0}]
)
def test_impossible_floors_are_refused(wrong):
    with pytest.raises(ValueError):
        Floor(Spread(100), Spread(10), **wrong)


@pytest.mark.parametrize("wrong", [{"mean": -1.0}, {"mean": 1.0, "shape": "triangular", "ratio": 1.5}])
def test_impossible_spreads_are_refused(wrong):
    with pytest.raises(ValueError):
        Spread(**wrong)


def test_spreads_have_their_mean():
    import numpy as np

    rng = np.random.default_rng(1)
    for spread in (exponential(50.0), Spread(50, "triangular", 0.5), Spread(50, "lognormal", 0.5)):
        drawn = [spread.draw(rng) for _ in range(20_000)]
        assert np.mean(drawn) == pytest.approx(50, abs=3 * np.std(drawn) / 20_000**0.5)
