"""Edges: whole starts below the share of life, sisters, the magazine; parts at risk; forced orders."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from cycle_shop import machine
from hypothesis import given, settings
from hypothesis import strategies as st

from palletwright.cycle import edge_plan, forced_groups, order_visits, parts_at_risk
from palletwright.cycle.model import Visit


def visit(name: str, tool: int, station: str = "s", seconds: float = 60.0, stage: str = "drill", op: int = 10) -> Visit:
    return Visit(name, tool, "m", 0.0, station, name, stage, op, (0, 0, 50), (0, 0, 50), seconds)


def test_an_edge_never_starts_a_cycle_that_it_cannot_finish() -> None:
    """0.25 of a life a start, 0.8 allowed: three whole starts (0.75), not 3.2."""
    plan = edge_plan([visit("a", 1)], {"a": 0.25}, parts=6, start_minutes=20.0, magazine=1)
    (row,) = plan.tools
    assert (row.starts_per_edge, row.pieces_per_edge, row.starts) == (3, 18, 3)
    assert plan.unattended_minutes == plan.plain_minutes == 60.0
    assert plan.fits
    exact = edge_plan([visit("a", 1)], {"a": 0.2}, parts=6, start_minutes=20.0, magazine=1)
    assert exact.tools[0].starts_per_edge == 4, "4 · 0.2 is 0.8 and counts"


def test_sisters_go_to_the_tool_that_is_due_first_as_long_as_they_fit() -> None:
    visits = [visit("a", 1), visit("b", 2), visit("c", 3)]
    plan = edge_plan(visits, {"a": 0.4, "b": 0.1, "c": 0.25}, parts=4, start_minutes=10.0, magazine=7)
    assert {r.tool: (r.edges, r.starts) for r in plan.tools} == {1: (4, 8), 2: (1, 8), 3: (2, 6)}
    assert (plan.slots, plan.first_due, plan.unattended_minutes, plan.plain_minutes) == (7, 3, 60.0, 20.0)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0.01, 0.79), min_size=1, max_size=4), st.integers(0, 4))
def test_no_way_to_share_out_the_magazine_runs_longer(shares: list[float], free: int) -> None:
    names = [f"v{k}" for k in range(len(shares))]
    visits = [visit(n, k + 1) for k, n in enumerate(names)]
    plan = edge_plan(
        visits, dict(zip(names, shares, strict=True)), parts=1, start_minutes=1.0, magazine=len(shares) + free
    )
    each = [math.floor(0.8 / s * (1 + 1e-12)) for s in shares]
    ways = (w for w in product(range(1, free + 2), repeat=len(shares)) if sum(w) <= len(shares) + free)
    assert plan.unattended_minutes == max(min(n * e for n, e in zip(w, each, strict=True)) for w in ways)


def test_where_one_start_takes_more_than_an_edge_sisters_share_it_between_visits() -> None:
    visits = [visit(f"v{k}", 1) for k in range(5)]
    plan = edge_plan(visits, {v.id: 0.3 for v in visits}, parts=5, start_minutes=10.0, magazine=3)
    (row,) = plan.tools
    assert (row.edges_per_start, row.switch_before, row.starts) == (3, ("v2", "v4"), 1)
    assert plan.fits
    short = edge_plan(visits, {v.id: 0.3 for v in visits}, parts=5, start_minutes=10.0, magazine=2)
    assert not short.fits
    assert any(r.about == "magazine" and r.amount == 1 for r in short.reasons)


def test_a_cut_that_outlasts_an_edge_does_not_fit_and_says_so() -> None:
    plan = edge_plan([visit("a", 1)], {"a": 0.9}, parts=1, start_minutes=10.0, magazine=9)
    assert not plan.fits
    assert "a alone takes 0.90 of an edge's life, 0.8 is allowed" in plan.reasons[0].text


def test_what_scatter_means_agrees_with_a_drawn_sample() -> None:
    """Chance that an edge is worn early and the spread of its pieces, against 400,000 drawn lives."""
    plan = edge_plan([visit("a", 1)], {"a": 0.25}, parts=6, start_minutes=20.0, magazine=1, spread=0.3)
    row = plan.tools[0]
    deviation = math.sqrt(math.log1p(0.09))
    lives = np.random.default_rng(3).lognormal(-(deviation**2) / 2, deviation, 400_000)
    assert lives.mean() == pytest.approx(1.0, abs=3e-3)
    assert row.early == pytest.approx(np.mean(lives < 0.75), abs=3e-3)
    assert row.pieces is not None
    assert row.pieces == pytest.approx((*[np.quantile(lives, 0.1) * 24], 24.0, np.quantile(lives, 0.9) * 24), rel=0.01)
    sure = edge_plan([visit("a", 1)], {"a": 0.25}, parts=6, start_minutes=20.0, magazine=1, spread=0.0)
    assert sure.tools[0].early == 0.0


def test_an_unknown_life_is_said_and_limits_nothing() -> None:
    plan = edge_plan([visit("a", 1), visit("b", 2)], {"b": 0.5}, parts=1, start_minutes=5.0, magazine=2)
    assert plan.tools[0].starts is None
    assert plan.reasons[0].text == "the life of its edge isn't known: it counts as lasting for good"
    assert (plan.first_due, plan.unattended_minutes) == (2, 5.0)
    with pytest.raises(ValueError, match="above 0"):
        edge_plan([], {}, parts=0, start_minutes=5.0, magazine=2)


def stations(count: int) -> list[Visit]:
    made = []
    for k, (tool, stage) in product(range(count), ((1, "rough"), (2, "drill"), (3, "finish"))):
        name = f"s{k}.{stage}"
        before = {"rough": (), "drill": (), "finish": (f"s{k}.rough", f"s{k}.drill")}[stage]
        at = (60.0 * k, 0.0, 50.0)
        made.append(Visit(name, tool, "m", 0.0, f"s{k}", stage, stage, 10 + k % 2, at, at, 5.0, before))
    return made


def test_parts_at_risk_are_all_that_are_begun_before_one_is_complete() -> None:
    visits = stations(6)
    free = order_visits(visits, machine(), retract_z=200.0)
    ordered = [next(v for v in visits if v.id == name) for name in free.order]
    risk = parts_at_risk(ordered, cap=4, operations=2)
    assert (risk.parts, risk.within, risk.first_article_parts) == (6, False, 2)
    first = order_visits(visits, machine(), retract_z=200.0, forced=forced_groups(visits, "one part first"))
    ordered = [next(v for v in visits if v.id == name) for name in first.order]
    assert {v.station for v in ordered[:6]} == {"s0", "s1"}, "one station of each operation"
    assert parts_at_risk(ordered, cap=4, operations=2).parts == 2
    assert parts_at_risk(ordered, cap=4, operations=2).within
    assert first.seconds > free.seconds


def test_heavy_cuts_and_what_they_wait_for_come_before_fine_ones() -> None:
    visits = stations(4)
    visits[0] = replace(visits[0], after=("s0.drill",))
    cycle = order_visits(visits, machine(), retract_z=200.0, forced=forced_groups(visits, "heavy first"))
    place = {name: k for k, name in enumerate(cycle.order)}
    rough = max(place[f"s{k}.rough"] for k in range(4))
    assert rough < min(place[f"s{k}.finish"] for k in range(4))
    assert rough < min(place[f"s{k}.drill"] for k in range(1, 4))
    assert place["s0.drill"] < place["s0.rough"]
    assert forced_groups(visits, "free") is None
