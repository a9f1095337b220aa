"""The report's tables about holding: both verdicts, what to set, and where each feature's worst station stands."""

from __future__ import annotations

from typing import Any

from palletwright.papers.report_holding import proofs


def place(station: str, worst: float, limit: float | None = 0.1) -> dict[str, Any]:
    return {
        "station": station, "feature": "hole-2", "across_worst_mm": worst, "across_spread_mm": worst / 2,
        "along_worst_mm": 0.01, "along_spread_mm": 0.005, "limit_mm": limit, "drawing": "position 0.2", "with": [],
        "raw": False,
    }  # fmt: skip


def operation(**changes: Any) -> dict[str, Any]:
    window = {"clamp": "clamp1", "screw": "M8", "slides": 11.2, "set": 20.0, "gives": 26.1, "by": "marks the part",
              "unit": "N·m"}  # fmt: skip
    holding = {
        "factor": 2.2, "floor": 2.0, "friction": 4.75, "elastic": 2.2, "worst_load": "x", "gives_first": "y",
        "certificate": {"checked": True}, "least_preload_n": {"each": [1500.4, 900.0], "sum": 2400.4},
        "set": [window], "at_tool": {"mm": 0.0123, "load": "x"},
    }  # fmt: skip
    return {"number": 10, "holding": holding | changes, "location": [place("10.1", 0.031), place("10.2", 0.047)]}


def test_both_verdicts_stand_with_what_proves_them_and_what_to_set() -> None:
    text = proofs({"operations": [operation()]})
    for told in (
        "4.75, proven",
        "2.2",
        "1500, 900",
        "0.012 mm at most",
        "11.2 N·m",
        "20.0 N·m",
        "26.1 N·m",
        "marks the",
    ):
        assert told in text, told
    assert "unproven" in proofs({"operations": [operation(certificate={"checked": False})]})


def test_the_worst_station_of_a_feature_stands_first_and_all_behind_a_fold() -> None:
    text = proofs({"operations": [operation()]})
    shown, whole = text.split("<details>")
    assert "10.2" in shown
    assert "10.1" not in shown
    assert "position 0.2: ±0.100" in shown
    assert "10.1" in whole


def test_what_is_not_known_says_so_and_old_plans_without_a_proof_show_nothing() -> None:
    bare = operation(at_tool=None, set=[], least_preload_n={"each": [], "sum": None})
    assert proofs({"operations": [bare]}).count("unknown") == 2
    plain = {"number": 10, "holding": {"factor": 2.2, "floor": 2.0}}
    assert proofs({"operations": [plain]}) == ""
