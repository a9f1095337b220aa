"""Two ways side by side."""

from __future__ import annotations

import copy
import json
from dataclasses import asdict

import pytest

from palletwright.flow import StationLoad, cost, cost_range, starts_per_part, timing
from palletwright.flow.compare import compare, compare_ways, table, ties, way_of
from palletwright.shop import example_shop

SHOP = example_shop()


def planned(name: str, seconds: float, parts: int, capital: float, range_of: float = 0.05) -> dict:
    """A way as `plan.json` carries it, its numbers computed by the flow room."""
    flow = timing(seconds, [StationLoad(0, parts, 2, 5.0)], parts, 2, SHOP.rates)
    money = cost(
        flow,
        machine=SHOP.machines[0],
        rates=SHOP.rates,
        per_year=4800,
        batch=400,
        material=3.0,
        capital=capital,
        setup_hours=1.5,
        scrap=0.01,
        life_starts=20_000,
    )
    return {
        "name": name,
        "design": {"machine": SHOP.machines[0].id},
        "parts_per_start": float(parts),
        "starts_per_part": 1 / parts,
        "spindle_minutes_per_part": flow.spindle_minutes_per_part,
        "attended_minutes_per_part": flow.attended_minutes_per_part,
        "unattended_minutes": flow.unattended_minutes,
        "cost_per_part": money.per_part,
        "cost_range": [money.per_part * (1 - range_of), money.per_part * (1 + range_of)],
        "cost": asdict(money),
        "capital": capital,
        "payback": {"months": 9.0},
        "least_clearance_mm": 2.5,
        "least_holding_factor": None,
        "operations": [{"number": 1}, {"number": 2}],
        "timing": asdict(flow),
        "cycle": {"cycles": [{"seconds": seconds, "parts": parts}]},
    }


def steps() -> list[dict]:
    row = {"parts_per_start": 2, "cycle_seconds": 400.0, "load_seconds": 60.0, "setup_hours": 1.0}
    return [dict(row, operation=f"op {k}") for k in (1, 2, 3)]


def plan() -> dict:
    today = planned("today", 400.0, 2, 0.0) | {
        "operations": steps(),
        "parts_per_start": 2 / 3,
        "starts_per_part": starts_per_part([2, 2, 2]),
        "payback": None,
        "least_clearance_mm": None,
    }
    return {
        "title": "hinge",
        "job": {"part": "hinge.step", "per_year": 4800, "batch": 400, "material": "6061-T6"},
        "shop": SHOP.model_dump(mode="json"),
        "today": today,
        "plans": [planned("plan 1", 1800, 9, 5200.0), planned("plan 2", 1300, 6, 3900.0)],
    }


def rows(*args, **names):
    return {r.key: r for r in compare_ways(*args, **names)}


def test_a_plan_against_today_has_starts_attended_time_and_cost_together():
    found = rows(plan(), plan(), way_a="today")
    assert found["starts_per_part"].a / found["starts_per_part"].b == pytest.approx(13.5)
    assert found["starts_per_part"].better == "b"
    assert found["attended_minutes_per_part"].b is not None
    assert found["cost_per_part"].b is not None
    assert found["capital"].a == 0.0
    assert found["capital"].better == "a"


def test_both_sides_swapped_change_sides():
    one, other = rows(plan(), plan(), way_a="today"), rows(plan(), plan(), way_b="today")
    flip = {"a": "b", "b": "a", "tie": "tie", "not known": "not known"}
    assert {k: flip[r.better] for k, r in one.items()} == {k: r.better for k, r in other.items()}
    assert all(r.difference is None or r.difference == pytest.approx(-other[k].difference) for k, r in one.items())


def test_a_way_against_itself_ties_everywhere():
    assert {r.better for r in compare_ways(plan(), plan())} <= {"tie", "not known"}


def test_closer_than_the_error_is_a_tie_and_says_so():
    data = plan()
    data["plans"][1] = planned("plan 2", 1750, 9, 9000.0)
    found = rows(data, data, way_b="plan 2")
    assert found["spindle_minutes_per_part"].better == "tie"
    assert found["spindle_minutes_per_part"].note == "closer than the error"
    assert found["cost_per_part"].better == "tie"
    assert found["capital"].better == "a"


def test_what_is_not_known_says_for_whom():
    found = rows(plan(), plan(), way_b="today")
    assert (found["least_clearance_mm"].better, found["least_clearance_mm"].note) == ("not known", "not known for b")
    assert found["least_holding_factor"].note == "not known for a and b"


def test_lead_time_and_pile_by_hand():
    found = rows(plan(), plan(), way_a="today")
    assert found["lead_hours"].a == pytest.approx(3 + 1 / 3 + 3 * 200 * 460 / 3600)
    whole = plan()["plans"][0]["timing"]["start_seconds"]
    assert found["lead_hours"].b == pytest.approx(1.5 + 1 / 3 + 45 * whole / 3600)
    assert (found["floor_pile"].a, found["floor_pile"].b) == (400, 9)


def test_the_kinds_of_cost_add_up_in_the_rows():
    found = rows(plan(), plan(), way_b="plan 2")
    kinds = [r for k, r in found.items() if k.startswith("cost_") and k != "cost_per_part"]
    assert sum(r.a for r in kinds) == pytest.approx(found["cost_per_part"].a)
    assert sum(r.b for r in kinds) == pytest.approx(found["cost_per_part"].b)


def test_a_kind_of_cost_ties_within_its_own_error():
    """Machine money goes with cutting times, ± 25 %; the blank's price is the same for both."""
    data = plan()
    cost_of = data["plans"][1]["cost"] = dict(data["plans"][0]["cost"])
    cost_of["machine"] *= 1.2
    cost_of["material"] *= 1.2
    found = rows(data, data, way_b="plan 2")
    assert found["cost_machine"].better == "tie"
    assert found["cost_machine"].note == "closer than the error"
    assert found["cost_material"].better == "a"
    cost_of["machine"] *= 1.2
    assert rows(data, data, way_b="plan 2")["cost_machine"].better == "a"


def test_the_table_names_its_columns_and_writes_nothing_as_0():
    data = plan()
    printed = {row[0]: row for row in table(compare(data, data, way_b="plan 2"))}
    assert {row[4] for row in printed.values()} <= {"first", "second", "tie", "not known"}
    assert printed["Capital for fixtures"][3].startswith("0 ")


def test_plans_on_other_ground_are_warned_of():
    other = copy.deepcopy(plan())
    other["job"]["per_year"] = 100
    other["shop"]["rates"]["operator"] = 99.0
    data = compare(plan(), other)
    assert len(data["warnings"]) == 2
    assert "per_year: 4800 and 100" in data["warnings"][0]
    assert compare(plan(), plan())["warnings"] == []


def test_the_answer_is_plain_data_and_a_table():
    data = json.loads(json.dumps(compare(plan(), plan(), way_b="today")))
    lines = table(data)
    assert len(lines) == len(data["rows"])
    assert all(len(line) == 5 and all(isinstance(x, str) for x in line) for line in lines)
    assert lines[5][1].endswith(" EUR")


def test_an_unknown_way_lists_those_there_are():
    with pytest.raises(ValueError, match="'plan 9'; there are plan 1, plan 2, today"):
        way_of(plan(), "plan 9")


def test_the_money_range_of_a_way_ties_ways_within_it():
    """Ranges from the flow room itself: two ways 1 % apart tie, two 60 % apart do not."""
    data = plan()
    for w, seconds in zip(data["plans"], (1800, 1820), strict=True):
        w |= planned(w["name"], seconds, 9, 5200.0)
        w["cost_range"] = cost_range(_cost(w))
    assert rows(data, data, way_b="plan 2")["cost_per_part"].better == "tie"
    data["plans"][1] |= planned("plan 2", 6000, 9, 5200.0)
    data["plans"][1]["cost_range"] = cost_range(_cost(data["plans"][1]))
    assert rows(data, data, way_b="plan 2")["cost_per_part"].better == "a"


def _cost(way: dict):
    from palletwright.flow import Cost

    return Cost(**way["cost"])


def test_ways_of_one_plan_within_three_per_cent_tie():
    """By hand: 10.2 within 3 % of 10; 10.35 isn't, and begins the next; unknown cost ties with nothing."""
    ways = [{"cost_per_part": c} for c in (10.0, 10.2, 10.35, 10.5, 12.0, None, 12.1)]
    assert ties(ways) == [0, 0, 2, 2, 4, 5, 6]
    # The order within a tie is not by cost: the cheapest may stand second, and all must be near it.
    assert ties([{"cost_per_part": c} for c in (10.2, 10.0, 10.35)]) == [0, 0, 2]
    assert ties([]) == []
