"""Money adds up; scrap, tools and payback against formulas of their own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from palletwright.flow import Cost, StationLoad, cost, payback, timing
from palletwright.flow.money import Loss, ToolUse, load_loss, scrap_cost, taylor_life, tool_cost
from palletwright.flow.returns import (
    SPREAD,
    annuity,
    cost_range,
    cumulative_cash,
    draw,
    sensitivity,
    yearly_saving,
)
from palletwright.shop import example_shop
from palletwright.shop.model import Rates

MACHINE = example_shop().machines[0]
RATES = Rates()
NOTHING_MOVED = dict.fromkeys(SPREAD, 1.0)


def way(seconds: float, parts: int, capital: float = 0.0, sets: int = 2, **more: object) -> Cost:
    what = {
        "per_year": 4000,
        "batch": 400,
        "material": 3.0,
        "setup_hours": 1.0,
        "scrap": 0.02,
        "life_starts": 20_000,
        "capital": capital,
    } | more
    flow = timing(seconds, [StationLoad(0, parts, 2, 5.0)], parts, sets, RATES)
    return cost(flow, machine=MACHINE, rates=RATES, **what)


def test_kinds_add_up_to_the_cost_per_part():
    c = way(1800, 9, 5400.0)
    kinds = (c.material, c.machine, c.labour, c.tools, c.fixture, c.setup, c.bench, c.wash, c.inspection, c.scrap)
    assert c.per_part == pytest.approx(sum(kinds))
    assert c.running == pytest.approx(c.per_part - c.fixture)
    assert min(kinds) > 0


def test_machine_and_labour_are_hours_at_their_rates():
    flow = timing(1800, [StationLoad(0, 9, 2, 5.0)], 9, 2, RATES)
    c = way(1800, 9)
    assert c.machine * 9 * RATES.up_time == pytest.approx(flow.start_seconds / 3600 * MACHINE.rate)
    assert c.labour * 9 * RATES.up_time == pytest.approx(flow.attended_minutes / 60 * RATES.operator)


def test_fixtures_are_spread_over_their_life_but_no_longer_than_three_years():
    assert way(1800, 9, 6000.0, life_starts=1000).fixture == pytest.approx(6000 / 9000)
    assert way(1800, 9, 6000.0, life_starts=10**6).fixture == pytest.approx(6000 / 12_000)


amounts = st.floats(0, 100)
chances = st.lists(st.tuples(amounts, st.floats(0, 0.5)), min_size=1, max_size=5)


@given(amounts, chances)
def test_scrap_is_what_the_lost_parts_had_cost(material, steps):
    """All money spent on a stream of parts = good parts × (cost + scrap): the loss, part by part."""
    alive, spent, lost = 1.0, 0.0, 0.0
    value = material
    spent += material
    for added, chance in steps:
        spent += alive * added
        value += added
        lost += alive * chance * value
        alive *= 1 - chance
    good = scrap_cost(material, [a for a, _ in steps], [p for _, p in steps])
    assert spent == pytest.approx(alive * (material + sum(a for a, _ in steps)) + lost)
    assert good * alive == pytest.approx(lost, abs=1e-9)


def test_scrap_early_costs_less_than_scrap_late():
    early = way(1800, 9, losses=[Loss(0.5, 0.05), Loss(0.5, 0.0)])
    late = way(1800, 9, losses=[Loss(0.5, 0.0), Loss(0.5, 0.05)])
    whole = way(1800, 9, scrap=0.05)
    assert 0 < early.scrap < late.scrap
    assert late.scrap == pytest.approx(whole.scrap)


def test_shares_that_do_not_add_up_are_refused():
    with pytest.raises(ValueError, match=r"must add up to 1, not 0\.9"):
        way(1800, 9, losses=[Loss(0.5, 0.05), Loss(0.4, 0.0)])


def test_a_whole_load_lost():
    once, expected = load_loss(3.0, [4.0, 2.0], [9, 9], 0.001)
    assert once == pytest.approx(9 * 7 + 9 * 9)
    assert expected == pytest.approx(once / 1000)


def test_tools_cost_the_share_of_the_edge_that_is_worn():
    uses = [ToolUse("T1", 90.0, 30.0, 24.0, 120.0), ToolUse("T2", 30.0, 60.0, 60.0)]
    assert tool_cost(uses, 60.0) == pytest.approx(1.5 / 30 * (24 + 2.0) + 0.5 / 60 * 60)
    assert way(1800, 9, tools=0.42).tools == 0.42


def test_taylor_life_and_how_its_error_grows():
    assert taylor_life(200, 400, 0.25) == pytest.approx(16.0)
    assert taylor_life(200, 440, 0.25) / taylor_life(200, 400, 0.25) == pytest.approx(1.1**4)


def test_capital_recovery_as_published():
    """200,000 at 10 % over 20 years: 23,491 a year (a solved set of tool engineering problems, title not shown)."""
    published = 23491
    assert 200_000 / annuity(0.10, 20) == pytest.approx(published, abs=1)


def test_break_even_and_payback_by_hand():
    now, then = way(2400, 4, sets=1), way(1800, 9, 5000.0)
    found = payback(now, then, rates=RATES, hours_now=900, hours_then=300)
    saving = now.running - then.running
    assert found.break_even_parts == pytest.approx(5000 / saving)
    assert found.saving_per_year == pytest.approx(saving * 4000)
    assert found.months == pytest.approx(12 * 5000 / (saving * 4000))
    assert found.npv == pytest.approx(saving * 4000 * annuity(RATES.discount_rate, 5) - 5000)
    assert found.machine_hours_freed == 600
    assert found.low < found.months < found.high
    assert found.npv_range[0] < found.npv < found.npv_range[1]
    assert 0 <= found.chance_within_limit <= 1
    assert len(found.matters_most) == 3


def test_freed_hours_are_worth_what_is_said():
    now, then = way(2400, 4, sets=1), way(1800, 9, 5000.0)
    full, half, none = (
        payback(now, then, rates=RATES, hours_now=900, hours_then=300, hours_worth=w) for w in (1.0, 0.5, 0.0)
    )
    assert full.months < half.months < none.months
    assert full.months_without_hours == none.months
    assert full.saving_per_year - none.saving_per_year == pytest.approx((now.machine - then.machine) * 4000)


def test_a_way_that_costs_more_never_pays_back():
    now, then = way(1800, 9), way(2400, 4, 5000.0, sets=1)
    found = payback(now, then, rates=RATES, hours_now=300, hours_then=900)
    assert found.months is None
    assert found.break_even_parts is None
    assert found.npv < 0
    assert found.chance_within_limit < 0.05


def test_the_limit_decides_the_chance():
    now, then = way(2400, 4, sets=1), way(1800, 9, 40_000.0)
    chance = [
        payback(
            now, then, rates=RATES.model_copy(update={"payback_limit_months": m}), hours_now=1, hours_then=1
        ).chance_within_limit
        for m in (1, 6, 12, 24, 600)
    ]
    assert chance == sorted(chance)
    assert chance[0] < 0.01
    assert chance[-1] > 0.9


@pytest.mark.parametrize("name", sorted(SPREAD))
def test_every_input_moves_the_result(name):
    """With only one input's spread left, the result spreads, and that input is the one that matters."""
    now, then = way(2400, 4, sets=1), replace(way(1800, 9, 5000.0), material=3.4, bench=0.9)
    only = {k: (s if k == name else 0.0) for k, s in SPREAD.items()}
    found = payback(now, then, rates=RATES, hours_now=1, hours_then=1, spreads=only)
    assert [k for k, _ in found.matters_most] == [name]
    assert found.npv_range[0] < found.npv_range[1]
    (bar,) = [b for b in sensitivity(now, then, rates=RATES, spreads=only) if b.swing > 0]
    assert bar.name == name
    assert min(bar.at_low, bar.at_high) == pytest.approx(found.npv_range[0], rel=0.05)
    assert max(bar.at_low, bar.at_high) == pytest.approx(found.npv_range[1], rel=0.05)


def test_nothing_spread_gives_one_answer():
    none = dict.fromkeys(SPREAD, 0.0)
    now, then = way(2400, 4, sets=1), way(1800, 9, 5000.0)
    found = payback(now, then, rates=RATES, hours_now=1, hours_then=1, spreads=none)
    assert found.low == pytest.approx(found.months)
    assert found.high == pytest.approx(found.months)
    assert found.npv_range == pytest.approx((found.npv, found.npv))
    assert found.matters_most == ()
    assert cost_range(then, spreads=none) == pytest.approx((then.per_part, then.per_part))


def test_the_same_seed_gives_the_same_money():
    now, then = way(2400, 4, sets=1), way(1800, 9, 5000.0)
    one, again, other = (payback(now, then, rates=RATES, hours_now=1, hours_then=1, seed=s) for s in (3, 3, 4))
    assert one == again
    assert one.npv_range != other.npv_range


def test_a_told_way_is_surer_than_a_planned_one():
    c = way(1800, 9)
    told, planned = cost_range(c, planned=False), cost_range(c)
    assert planned[0] < c.per_part < planned[1]
    assert told[1] - told[0] < planned[1] - planned[0]


def test_savings_add_up_over_kinds():
    now, then = way(2400, 4, sets=1), way(1800, 9, 5000.0)
    kinds = sum(now.kinds[k] - then.kinds[k] for k in now.kinds if k != "fixture")
    assert float(yearly_saving(now, then, NOTHING_MOVED)[0]) == pytest.approx(kinds * 4000)


def test_draws_stay_within_their_spread():
    for name, values in draw({}, 1).items():
        assert np.abs(values - 1).max() <= SPREAD[name]
        assert values.mean() == pytest.approx(1, abs=4 * SPREAD[name] / 4000**0.5)


def test_an_unknown_spread_is_refused_by_name():
    with pytest.raises(ValueError, match=r"weather = 0\.1"):
        draw({"weather": 0.1}, 1)


def test_cash_crosses_nothing_at_the_payback():
    cash = cumulative_cash(6000.0, 12_000.0, 12)
    assert (cash[0], cash[6], cash[12]) == pytest.approx((-6000, 0, 6000))


@pytest.mark.parametrize("wrong", [([1.0], [0.1, 0.1]), ([1.0], [1.0]), ([], [])])
def test_impossible_scrap_is_refused(wrong):
    with pytest.raises(ValueError, match="chance"):
        scrap_cost(1.0, *wrong)
