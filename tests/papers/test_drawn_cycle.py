"""The curve, the edges and the parts at risk of a cycle, as the report draws them."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import pytest

from palletwright.cycle import edge_plan, minutes_per_part_curve, parts_at_risk
from palletwright.cycle.model import Visit
from palletwright.papers.drawn_cycle import curve, cycle_more, edges, said
from palletwright.papers.report_ways import _tied

DATA: dict[str, Any] = {"shop": {"tools": [{"number": 1, "name": "end mill"}, {"number": 2, "name": "drill"}]}}


def cycle(share: float = 0.3, cap: int | None = None, parts: int = 4) -> dict[str, Any]:
    visits = [
        Visit(f"{p}.{t}", t, "m", 0.0, f"s{p}", "f", "drill", 10, (0, 0, 50), (0, 0, 50), 30.0)
        for t in (1, 2)
        for p in range(parts)
    ]
    wear = {v.id: share if v.tool == 1 else 0.01 for v in visits}
    told = edge_plan(visits, wear, parts=parts, start_minutes=6.0, magazine=5)
    return {
        "parts": parts,
        "curve": asdict(minutes_per_part_curve(60.0, 120.0, threshold=0.05)),
        "edges": asdict(told),
        "parts_at_risk": asdict(parts_at_risk(visits, cap=cap, added_seconds=33.0)),
        "cutting_basis": {"geometry": 180.0, "measured": 0.0, "program": 60.0},
        "order": "heavy first",
        "reasons": [{"about": "operation 0", "text": "its program is longer", "amount": None, "unit": ""}],
    }


def test_the_curve_names_this_start_its_limit_and_what_is_enough() -> None:
    """t(n) = 2/n + 1 min: 4 parts take 1.5 min; from n = 6 (1.333) the next (1.286) gains less than 5 %."""
    drawn = curve(cycle())
    assert "4 parts, 1.5 min" in drawn
    assert "limit 1" in drawn
    enough = next(n for n in range(1, 60) if (2 / (n + 1) + 1) > 0.95 * (2 / n + 1))
    assert f"From {enough} parts on" in drawn


def test_edges_that_share_a_start_are_said() -> None:
    drawn = edges(DATA, cycle())
    assert "T1 end mill" in drawn
    assert "2 edges a start" in drawn
    assert drawn.index("T1 end mill") < drawn.index("T2 drill"), "the most worn first"
    assert "edges a start" not in edges(DATA, cycle(0.1))


@pytest.mark.parametrize(("cap", "word"), [(None, "4 parts at risk"), (2, "the job allows 2")])
def test_risk_basis_and_forced_order_are_said(cap: int | None, word: str) -> None:
    drawn = said(cycle(cap=cap))
    assert word in drawn
    assert "with one part first 1, for 33 s a start more" in drawn
    assert "75 % of the cutting time is worked out from the geometry" in drawn
    assert "25 % of the cutting time is from the shop" in drawn
    assert "forces the order: heavy first" in drawn
    assert "its program is longer" in drawn


def test_a_plan_of_an_earlier_version_has_nothing_to_say() -> None:
    assert cycle_more(DATA, {"seconds": 1.0}) == ""


def test_ties_name_the_plan_before_them() -> None:
    plans = [{"name": f"plan {k + 1}", "cost_per_part": c} for k, c in enumerate((10.0, 10.2, 11.0, 11.2))]
    assert _tied(plans) == ["", "plan 1", "", "plan 3"]
