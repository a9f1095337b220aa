"""The drawings of how a way runs are to scale, say what they show in words too, and keep hostile names text."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from palletwright.flow import StationLoad, cost, payback, timing
from palletwright.flow.figures import money_figures
from palletwright.flow.running import Start, running
from palletwright.papers.drawn_flow import LEFT, RIGHT, WIDE, cash, how_it_runs, in_numbers, man_machine, sensitivity
from palletwright.shop import example_shop

SHOP = example_shop()


def flow_of(seconds: float, parts: int, sets: int = 2, capital: float = 6000.0):
    rates, machine = SHOP.rates, SHOP.machines[0]
    told = timing(seconds, [StationLoad(0, 2 * parts, 2, 5.0)], parts, sets, rates)
    more = {"per_year": 6000, "batch": 250, "material": 3.0, "setup_hours": 1.0, "scrap": 0.01, "life_starts": 20_000}
    then = cost(told, machine=machine, rates=rates, capital=capital, **more)
    now = replace(then, machine=9.0, labour=8.0, capital=0.0, fixture=0.0)
    back = payback(now, then, rates=rates, hours_now=900, hours_then=300)
    data = running(
        [Start(told, (parts, parts), {"T3": 0.4})], rates, machine_rate=38, edge_use=0.8, batch=250, setup_hours=1.0
    )
    return data | {"money": money_figures(now, then, back, rates), "load_loss": {"money": 300.0}}


@pytest.fixture(scope="module")
def flow():
    return flow_of(1800, 9)


@pytest.fixture(scope="module")
def data(flow):
    way = {"name": "plan 1", "flow": flow}
    return {"shop": {"rates": SHOP.rates.model_dump()}, "today": {"name": "today", "flow": None}, "plans": [way]}


def svgs(html: str):
    return [ElementTree.fromstring(s.replace("&#160;", " ")) for s in re.findall(r"<svg.*?</svg>", html, re.DOTALL)]


def inside(svg):
    _, _, wide, high = (float(v) for v in svg.get("viewBox").split())
    for e in svg.iter("rect"):
        x, y, w, h = (float(e.get(k)) for k in ("x", "y", "width", "height"))
        assert x >= -0.01
        assert x + w <= wide + 0.01
        assert y >= -0.01
        assert y + h <= high + 0.01


def test_bars_of_the_man_machine_chart_fill_its_round(flow):
    (svg,) = svgs(man_machine(flow))
    inside(svg)
    rows: dict[str, float] = {}
    for e in svg.iter("rect"):
        rows[e.get("y")] = rows.get(e.get("y"), 0.0) + float(e.get("width"))
    assert len(rows) == flow["people"]["best_machines"] + 1
    assert all(w == pytest.approx(WIDE - LEFT - RIGHT, abs=2) for w in rows.values())


def test_the_widest_bar_of_sensitivity_is_first_and_about_the_plan(data, flow):
    (svg,) = svgs(sensitivity(data, flow))
    inside(svg)
    wide = [float(e.get("width")) for e in svg.iter("rect")]
    assert wide == sorted(wide, reverse=True)
    assert len(wide) > 4
    line = next(float(re.match(r"M([\d.]+)", e.get("d"))[1]) for e in svg.iter("path") if e.get("class") == "now")
    for e in svg.iter("rect"):
        assert float(e.get("x")) - 0.1 <= line <= float(e.get("x")) + float(e.get("width")) + 0.1


def test_the_cash_curve_crosses_nothing_at_the_payback(data, flow):
    (svg,) = svgs(cash(data, flow))
    points = [tuple(map(float, p.split(","))) for p in next(svg.iter("polyline")).get("points").split()]
    zero = next(float(re.match(r"M[\d.]+ ([\d.]+)", e.get("d"))[1]) for e in svg.iter("path"))
    rows = flow["money"]["cash"]
    for (_, y), row in zip(points, rows, strict=True):
        assert (y < zero) == (row["likely"] > 0)
    assert points[0][1] == max(y for _, y in points)


def test_all_of_it_stands_in_one_piece_and_without_it_it_is_said(data):
    page = how_it_runs(data, data["plans"][0])
    assert len(svgs(page)) == 3
    said = ("simulated", "nobody there", "alone after the shift", "spindle stands", "a whole load lost would cost 300")
    for words in said:
        assert words in page
    assert "doesn't say how it runs" in how_it_runs(data, {"name": "old"})


def test_hostile_names_stay_text(data, flow):
    bars = [b | {"name": "<script>x</script>"} for b in flow["money"]["bars"]]
    page = sensitivity(data, flow | {"money": flow["money"] | {"bars": bars}})
    assert "<script" not in page


def test_a_way_of_several_starts_says_what_a_second_machine_makes_of_it(flow):
    """900 s for 9 parts and 400 s for 9: a shift of the first alone paces, the second machine waits for it."""
    assert flow["two_machines"] is None
    told = [timing(s, [StationLoad(0, 9, 2, 5.0)], 9, 2, SHOP.rates) for s in (900, 400)]
    made = running(
        [Start(t, (9,), {}) for t in told],
        SHOP.rates.model_copy(update={"people": 3}),
        machine_rate=38,
        edge_use=0.8,
        batch=90,
        setup_hours=1.0,
    )
    split = made["two_machines"]
    assert split["machine_of"] == (0, 1)
    shift = SHOP.rates.shift_hours * 3600.0
    assert split["finished_per_shift"] == pytest.approx(9 * shift / told[0].start_seconds)
    assert split["finished_per_shift"] > made["finished_per_shift"]
    way = {"name": "plan 1", "flow": made | {"load_loss": None}}
    drawn = in_numbers({"today": {"flow": None}, "shop": {"rates": SHOP.rates.model_dump()}}, way)
    assert "over two such machines (start 1 on the first, start 2 on the second)" in drawn
    assert "paced by machine 1" in drawn
