"""The shipped example, planned from end to end with the shipped shop: what it promises, checked again and broken."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest

from palletwright.plan import check_plan

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], Path]:
    from palletwright import verbs

    out = tmp_path_factory.mktemp("demo")
    return verbs.demo(out=out), out


KEYS = (
    *("parts_per_start", "starts_per_part", "spindle_minutes_per_part", "attended_minutes_per_part"),
    *("unattended_minutes", "cost_per_part", "least_clearance_mm", "least_holding_factor", "operations"),
    *("margins", "reasons"),
)


@pytest.mark.xdist_group("demo")
class TestDemo:
    def test_the_plan_carries_what_the_design_names(self, demo: tuple[dict[str, Any], Path]) -> None:
        data, out = demo
        saved = json.loads((out / "plan.json").read_text(encoding="utf-8"))
        assert saved["identity"] == data["identity"]
        for way in (saved["today"], *saved["plans"]):
            assert set(KEYS) <= set(way)
        assert {"left_over", "turned_down", "one_more", "seed", "stopped_early", "versions", "seconds"} <= set(saved)
        assert "<html" in (out / "report.html").read_text(encoding="utf-8")

    def test_one_start_finishes_eight_or_more_where_today_needs_two_starts_a_part(
        self, demo: tuple[dict[str, Any], Path]
    ) -> None:
        data, _ = demo
        best = data["plans"][0]
        assert data["today"]["starts_per_part"] == pytest.approx(2.0)  # 1/2 + 1/2 + 1/1, from the job's three steps
        assert best["parts_per_start"] >= 8
        assert {p["cycle"] for p in best["design"]["placings"]} == {0}
        assert best["starts_per_part"] == pytest.approx(1 / best["parts_per_start"])
        assert best["least_clearance_mm"] >= 1.0  # the floor where the machine measures its tools
        assert all(m["passed"] for m in best["margins"])

    def test_checking_the_saved_plan_agrees(self, demo: tuple[dict[str, Any], Path]) -> None:
        data, out = demo
        (row,) = check_plan(data, "plan.json", out, only=0)
        assert row.passed, row.failures
        assert row.differs == ()

    def test_the_plan_proves_what_holds_its_parts_and_carriers(self, demo: tuple[dict[str, Any], Path]) -> None:
        data, _ = demo
        assert "location" in {m["check"] for m in data["plans"][0]["margins"]}
        for way in data["plans"]:
            checks = {m["check"] for m in way["margins"]}
            assert {"holding", "moving", "mount slip", "screw proof load"} <= checks
            if any(p["kind"] == "pallet" for p in way["design"]["placings"]):
                assert "rotary brake" in checks
            for operation in way["operations"]:
                held = operation["holding"]
                assert held["factor"] == min(held["friction"], held["elastic"])
                assert held["certificate"]["checked"]
                assert held["certificate"]["least_preload"]["checked"]
                assert held["set"]
                assert all(w["slides"] <= w["set"] <= (w["gives"] or w["set"]) for w in held["set"])
                assert held["located"]["located"]
                parts = {
                    n for s in way["design"]["stations"] for n in s["parts"] if n[0] == str(operation["number"])[0]
                }
                assert {r["station"] for r in operation["location"]} == parts
                assert all(r["across_spread_mm"] <= r["across_worst_mm"] for r in operation["location"])

    def test_a_weaker_brake_is_named_by_the_check(self, demo: tuple[dict[str, Any], Path]) -> None:
        data, out = demo
        broken = copy.deepcopy(data)
        for machine in broken["shop"]["machines"]:
            if machine["rotary"]:
                machine["rotary"]["brake_torque"] = 20.0
        (row,) = check_plan(broken, "plan.json", out, only=0)
        assert not row.passed
        assert any("rotary brake" in text for text in row.failures)

    def test_two_stations_moved_into_one_another_are_named(self, demo: tuple[dict[str, Any], Path]) -> None:
        data, out = demo
        broken = copy.deepcopy(data)
        stations = broken["plans"][0]["design"]["stations"]
        first = stations[0]
        other = next(s for s in stations[1:] if (s["mount"], s["side"]) == (first["mount"], first["side"]))
        other["x"], other["y"] = first["x"] + 3.0, first["y"]
        (row,) = check_plan(broken, "plan.json", out, only=0)
        assert not row.passed
        text = "\n".join(row.failures)
        assert first["parts"][0] in text
        assert other["parts"][0] in text

    def test_an_independent_interpreter_goes_where_its_programs_go(
        self, demo: tuple[dict[str, Any], Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """Every move of every program, at every station, in both dialects, within 1e-3 mm."""
        monkeypatch.syspath_prepend(str(Path(__file__).parents[1] / "cycle"))
        from demo_programs import agree, jobs_of

        data, out = demo
        jobs = jobs_of(data, out)
        assert len(jobs) >= 3
        for job, machine in jobs:
            assert agree(job, machine, tmp_path) > len(job.steps)
