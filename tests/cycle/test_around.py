"""Spindle starts, tool checks and probing around a cycle; the curve that a cycle lies on."""

from __future__ import annotations

from itertools import pairwise

import pytest
from cycle_shop import machine

from palletwright.cycle import Around, curve_of, edges_by_visit, order_visits, switches_of, with_fresh_edges
from palletwright.cycle.around import CHECK_SECONDS
from palletwright.cycle.model import Cycle, Visit
from palletwright.shop.model import Machine


def visits(parts: int = 6) -> list[Visit]:
    return [
        Visit(
            f"{p}.{t}", t, "r", 90.0 * (p % 2), f"s{p}", "f", "drill", 10, (50.0 * p, 0, 300), (50.0 * p, 0, 300), 7.0
        )
        for p in range(parts)
        for t in (1, 2, 3)
    ]


def cycle(parts: int = 6, mill: Machine | None = None, around: Around | None = None) -> Cycle:
    return order_visits(visits(parts), mill or machine(), retract_z=400.0, around=around)


def test_every_tool_run_starts_and_stops_the_spindle_in_proportion() -> None:
    mill = machine().model_copy(update={"spindle_seconds": 2.0})
    whole = cycle(mill=mill, around=Around({1: 5000.0, 2: 10000.0}))
    runs = [e.tool for e in whole.events if e.what == "tool change"]
    assert whole.by_kind["other"] == pytest.approx(sum(2 * 2.0 * {1: 0.5, 2: 1.0, 3: 0.0}[t] for t in runs))
    assert all(b.start == pytest.approx(a.start + a.seconds) for a, b in pairwise(whole.events))
    assert sum(whole.by_kind.values()) == pytest.approx(whole.seconds)
    assert [e.note for e in whole.events if e.what == "cut"] == list(whole.order)
    assert whole.bound == pytest.approx(whole.seconds), "exact: every tool runs once"


def test_what_the_machine_does_not_say_adds_nothing() -> None:
    assert cycle(around=Around({1: 5000.0}, frozenset({1}))) == cycle()


def test_fragile_tools_are_checked_after_their_run_where_there_is_a_setter() -> None:
    mill = machine().model_copy(update={"tool_setter": True})
    plain, whole = cycle(), cycle(mill=mill, around=Around({}, frozenset({2}), 20.0))
    assert whole.by_kind["probe"] == pytest.approx(20.0 + CHECK_SECONDS)
    assert whole.seconds == pytest.approx(plain.seconds + 20.0 + CHECK_SECONDS)
    assert whole.events[0].what == "probe"
    at = next(k for k, e in enumerate(whole.events) if e.note == "T2 whole")
    assert whole.events[at - 1].tool == 2
    assert at + 1 == len(whole.events) or whole.events[at + 1].what == "tool change"
    side = dict(whole.alternatives)["side first"] - dict(plain.alternatives)["side first"]
    assert side >= 20.0 + CHECK_SECONDS - 1e-9


def test_a_fresh_edge_costs_a_change_and_a_spindle_start_where_it_takes_over() -> None:
    mill, around = machine().model_copy(update={"spindle_seconds": 2.0}), Around({1: 5000.0, 2: 5000.0, 3: 5000.0})
    plain = cycle(mill=mill, around=around)
    by_id = {v.id: v for v in visits()}
    ordered = [by_id[name] for name in plain.order]
    switches = switches_of(ordered, {v.id: 0.3 for v in ordered if v.tool == 2})
    assert len(switches) == 2, "six visits at 0.3 of a life each, two an edge"
    whole = with_fresh_edges(plain, switches, mill, around)
    added = 2 * (mill.chip_to_chip + 2 * 1.0)
    assert whole.seconds == pytest.approx(plain.seconds + added)
    assert sum(whole.by_kind.values()) == pytest.approx(whole.seconds)
    assert all(b.start == pytest.approx(a.start + a.seconds) for a, b in pairwise(whole.events))
    assert dict(whole.alternatives)["side first"] == pytest.approx(dict(plain.alternatives)["side first"] + added)
    for name in switches:
        at = next(k for k, e in enumerate(whole.events) if e.note == name)
        assert [e.what for e in whole.events[at - 3 : at]] == ["other", "tool change", "other"]
    edges = edges_by_visit(ordered, switches)
    assert [edges[v.id] for v in ordered if v.tool == 2] == [0, 0, 1, 1, 2, 2]
    assert {edges[v.id] for v in ordered if v.tool != 2} == {0}
    assert with_fresh_edges(plain, (), mill, around) == plain


def test_slow_spindle_starts_make_a_quick_changer_worth_less() -> None:
    """2 s a change against 5 s an index: side first; with 4 s of spindle in every run it is tool first."""
    mill = machine(2.0, 5.0)
    many = visits(4)
    slow = mill.model_copy(update={"spindle_seconds": 2.0})
    free = order_visits(many, mill, retract_z=300.0)
    held = order_visits(many, slow, retract_z=300.0, around=Around(dict.fromkeys((1, 2, 3), 10000.0)))
    assert held.tool_runs == 3 < free.tool_runs
    assert held.bound == pytest.approx(held.seconds)


@pytest.mark.parametrize("parts", [2, 6, 7])
def test_a_cycle_lies_on_its_curve(parts: int) -> None:
    made = cycle(parts)
    curve = curve_of(made, parts, threshold=0.02)
    assert dict(curve.points)[parts] == pytest.approx(made.seconds / 60.0 / parts)
    minutes = [m for _, m in curve.points]
    assert min(minutes) > curve.limit
    assert curve.enough is not None
    assert curve.enough >= 1
    again = curve_of(made, parts, threshold=0.001, most=400)
    assert again.enough is None or again.enough > curve.enough
