"""The order of one cycle: against brute force, the law of identical copies, and the published formula."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, permutations, product

import numpy as np
import pytest
from cycle_shop import machine
from hypothesis import given, settings
from hypothesis import strategies as st

from palletwright.cycle import least_tool_runs, order_visits
from palletwright.cycle.model import Visit
from palletwright.cycle.moves import moves_between
from palletwright.errors import NoPlan

RETRACT, CLEAR = 420.0, 330.0


def visit(
    name: str, tool: int, angle: float = 0.0, station: str = "", at: float = 0.0, after: tuple[str, ...] = ()
) -> Visit:
    where = (at, 0.0, 300.0)
    return Visit(name, tool, "rotary", angle, station or name, "hole 1", "drill", 10, where, where, 3.0, after)


@st.composite
def cycles(draw: st.DrawFn) -> list[Visit]:
    n = draw(st.integers(1, 7))
    made = []
    for k in range(n):
        after = tuple(f"v{b}" for b in range(k) if draw(st.integers(0, 4)) == 0)
        tool, angle = draw(st.integers(1, 3)), draw(st.sampled_from([0.0, 90.0, 180.0]))
        made.append(visit(f"v{k}", tool, angle, f"s{draw(st.integers(0, 2))}", draw(st.floats(-200, 200)), after))
    return made


def allowed(visits: list[Visit], order: tuple[int, ...]) -> bool:
    place = {visits[k].id: at for at, k in enumerate(order)}
    return all(place[a] < place[v.id] for v in visits for a in v.after)


@settings(max_examples=60, deadline=None)
@given(cycles())
def test_small_cycles_agree_with_brute_force(visits: list[Visit]) -> None:
    mill = machine()
    total = moves_between(visits, mill, RETRACT, CLEAR, None).total
    tools = {v.tool for v in visits}
    orders = [o for o in permutations(range(len(visits))) if allowed(visits, o)]
    between = min(sum(total[a, b] for a, b in pairwise(o)) for o in orders)
    least = between + 3.0 * len(visits) + (4.0 if len(tools) > 1 else 0.0)
    cycle = order_visits(visits, mill, retract_z=RETRACT, clear_z=CLEAR)
    assert cycle.seconds == pytest.approx(least, abs=1e-9)
    assert cycle.bound == pytest.approx(least, abs=1e-9)
    runs = min(1 + sum(visits[a].tool != visits[b].tool for a, b in pairwise(o)) for o in orders)
    assert least_tool_runs(visits).least == runs == len(least_tool_runs(visits).tools)


@settings(max_examples=25, deadline=None)
@given(cycles(), st.integers(2, 4))
def test_identical_parts_need_no_more_tool_runs_than_one(visits: list[Visit], copies: int) -> None:
    one = [replace(v, station="one") for v in visits]
    many = [
        replace(v, id=f"{c}.{v.id}", station=f"part {c}", after=tuple(f"{c}.{a}" for a in v.after))
        for c in range(copies)
        for v in one
    ]
    assert least_tool_runs(many).least == least_tool_runs(one).least
    no_short_cut = least_tool_runs(many, extra={many[0].id: ()})  # looks at every copy
    assert no_short_cut.least == least_tool_runs(one).least


def grid(tools: int, sides: int) -> list[Visit]:
    return [visit(f"{t}.{a}", t + 1, a * 90.0, f"s{a}") for a, t in product(range(sides), range(tools))]


@pytest.mark.parametrize(("tools", "sides"), [(2, 2), (3, 4), (5, 3), (4, 4)])
def test_side_first_costs_what_the_formula_says(tools: int, sides: int) -> None:
    """`side-first − tool-first = (A−1)(K−1)(t_change − t_index)`, methods of this project, derived there."""
    cycle = order_visits(grid(tools, sides), machine(4.0, 2.0), retract_z=300.0, clear_z=300.0, index_seconds=2.0)
    seconds = dict(cycle.alternatives)
    assert seconds["side first"] - seconds["tool first"] == pytest.approx((sides - 1) * (tools - 1) * (4.0 - 2.0))
    assert cycle.seconds == pytest.approx(seconds["tool first"])
    assert cycle.bound == pytest.approx(cycle.seconds)


def test_a_slow_index_turns_the_order_side_first() -> None:
    cycle = order_visits(grid(4, 4), machine(2.0, 5.0), retract_z=300.0, clear_z=300.0, index_seconds=5.0)
    assert cycle.by_kind["index"] == pytest.approx(15.0)
    assert cycle.seconds == pytest.approx(dict(cycle.alternatives)["side first"])
    assert cycle.tool_runs > cycle.least_tool_runs == 4


def many_stations(parts: int) -> list[Visit]:
    made = []
    for a, p, f in product(range(4), range(parts), range(10)):
        name, at = f"s{a}.{p}", (p * 70.0 + f % 4 * 12.0, f // 4 * 20.0, 300.0)
        after = (f"{name}.{f - 1}",) if f % 3 == 2 else ()
        made.append(Visit(f"{name}.{f}", 1 + f % 6, "r", a * 90.0, name, f"f{f}", "drill", 10, at, at, 3.0, after))
    return made


@pytest.mark.parametrize("parts", [2, 5, 12])
def test_large_cycles_keep_every_visit_its_precedence_and_an_honest_bound(parts: int) -> None:
    visits = many_stations(parts)
    cycle = order_visits(visits, machine(), retract_z=RETRACT, clear_z=CLEAR)
    assert sorted(cycle.order) == sorted(v.id for v in visits)
    place = {name: k for k, name in enumerate(cycle.order)}
    assert all(place[a] < place[v.id] for v in visits for a in v.after)
    assert cycle.bound <= cycle.seconds <= 1.01 * cycle.bound
    assert cycle.tool_runs == cycle.least_tool_runs == 6
    assert all(cycle.seconds <= seconds + 1e-9 for _, seconds in cycle.alternatives)
    assert cycle.seconds == pytest.approx(cycle.events[-1].start + cycle.events[-1].seconds)
    assert sum(cycle.by_kind.values()) == pytest.approx(cycle.seconds)
    assert np.allclose([e.start for e in cycle.events[1:]], [e.start + e.seconds for e in cycle.events[:-1]])


def test_the_same_seed_gives_the_same_order() -> None:
    visits = many_stations(2)
    one, two = (order_visits(visits, machine(), retract_z=RETRACT, seed=7) for _ in range(2))
    assert one == two


def test_a_forced_group_comes_first() -> None:
    visits = many_stations(1)
    first = [v.id for v in visits if v.station == "s2.0"]
    rest = [v.id for v in visits if v.station != "s2.0"]
    free = order_visits(visits, machine(), retract_z=RETRACT)
    forced = order_visits(visits, machine(), retract_z=RETRACT, forced=[first, rest])
    assert set(forced.order[: len(first)]) == set(first)
    assert forced.seconds > free.seconds


def test_a_circle_is_no_plan_and_names_its_visits() -> None:
    ring = [visit("a", 1, after=("b",)), visit("b", 1, after=("a",)), visit("c", 1)]
    with pytest.raises(NoPlan, match=r"2 visits wait for one another: a, b"):
        order_visits(ring, machine(), retract_z=RETRACT)


def test_an_id_twice_and_an_unknown_forced_id_are_refused() -> None:
    with pytest.raises(ValueError, match="given more than once: a"):
        order_visits([visit("a", 1), visit("a", 2)], machine(), retract_z=RETRACT)
    with pytest.raises(ValueError, match="'z', which is no visit"):
        order_visits([visit("a", 1)], machine(), retract_z=RETRACT, forced=[["z"]])


def test_no_visits_take_no_time() -> None:
    cycle = order_visits([], machine(), retract_z=RETRACT)
    assert (cycle.order, cycle.seconds, cycle.bound, cycle.tool_runs) == ((), 0.0, 0.0, 0)
