"""The report as a page: whole HTML, nothing fetched, hostile names harmless, unknown said."""

from __future__ import annotations

import base64
import copy
import re
import struct
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from palletwright.papers.drawn import facing
from palletwright.papers.report import report, write_report
from palletwright.papers.report_margins import told_once
from palletwright.papers.report_words import num, sig

VOID = {"meta", "link", "input", "br"}


def cube() -> dict[str, str]:
    corners = [(x, y, z) for z in (0, 20) for y in (0, 20) for x in (0, 20)]
    sides = [(0, 2, 1), (1, 2, 3), (4, 5, 6), (5, 7, 6), (0, 1, 4), (1, 5, 4)]
    sides += [(2, 6, 3), (3, 6, 7), (0, 4, 2), (2, 4, 6), (1, 3, 5), (3, 7, 5)]
    pack = lambda kind, rows: base64.b64encode(struct.pack(f"<{3 * len(rows)}{kind}", *sum(rows, ()))).decode()  # noqa: E731
    return {"vertices": pack("f", corners), "triangles": pack("I", sides)}


def body(id: str, kind: str, group: str, owner: str, at: tuple[float, float, float]) -> dict[str, Any]:
    pose = [1, 0, 0, at[0], 0, 1, 0, at[1], 0, 0, 1, at[2], 0, 0, 0, 1]
    return {"id": id, "kind": kind, "group": group, "owner": owner, "state": "cut", "mesh": "m", "pose": pose}


def margin(check: str, subject: str, need: float, have: float | None, unit: str = "mm") -> dict[str, Any]:
    passed = have is not None and have >= need
    return {"check": check, "subject": subject, "obstacle": "10.2/part", "need": need, "have": have, "unit": unit,
            "where": None, "frame": "machine", "note": "", "passed": passed}  # fmt: skip


def scene() -> dict[str, Any]:
    square = [[[0, 0], [20, 0], [20, 20], [0, 20], [0, 0]]]
    station = {"parts": ["10.1"], "operation": 0, "x": 0, "y": 0, "turn": 0,
               "bodies": [{"id": "part1", "rings": square}, {"id": "clamp1", "rings": square}]}  # fmt: skip
    area = [[[-50, -30], [50, -30], [50, 30], [-50, 30], [-50, -30]]]
    bodies = [body("table", "table", "table", "", (0, 0, 0)), body("10.1/part", "part", "rotary", "10.1", (0, 0, 50))]
    bodies[1]["after"] = "m"
    sides = [{"mount": "rotary", "side": "pallet/1", "area": area, "stations": [station]}]
    return {"meshes": {"m": cube()}, "cycles": [{"bodies": bodies, "sides": sides}]}


def way(name: str, **changes: Any) -> dict[str, Any]:
    keys = ("design", "parts_per_start", "starts_per_part", "spindle_minutes_per_part", "attended_minutes_per_part")
    keys += ("unattended_minutes", "cost_per_part", "least_clearance_mm", "least_holding_factor", "payback", "timing")
    keys += ("cost", "cost_range", "cycle", "scene")
    empty: dict[str, Any] = dict.fromkeys(keys)
    lists: dict[str, Any] = {"operations": [], "margins": [], "reasons": [], "bill": [], "packing": []}
    return {"name": name, "capital": 0.0, "feasible": True, **empty, **lists, **changes}


def best() -> dict[str, Any]:
    events = [
        {"start": 0.0, "seconds": 4.0, "what": "tool change", "tool": 1, "angle": 0.0, "station": "10.1", "note": ""},
        {"start": 4.0, "seconds": 54.7, "what": "cut", "tool": 1, "angle": 0.0, "station": "10.1", "note": ""},
        {"start": 58.7, "seconds": 1.3, "what": "index", "tool": 1, "angle": 90.0, "station": "10.1", "note": ""},
    ]
    cycle = {"seconds": 60.0, "bound": 60.0, "tool_runs": 1, "least_tool_runs": 1, "parts": 1, "events": events,
             "by_kind": {"cut": 54.7, "tool change": 4.0, "index": 1.3},
             "other_orders": [["part first", 70.0]]}  # fmt: skip
    operation = {"number": 10, "directions": [[0, 0, 1]], "features": ["hole-1"], "up": [0, 0, 1], "carrier": "pallet",
                 "grip": {"id": "edge-1", "kind": "edge", "notes": []}, "stations": 1, "cutting_seconds": 54.7,
                 "holding": {"factor": 2.6, "floor": 2.5, "worst_load": "drill", "gives_first": "clamp"},
                 "tools": [1], "locating": "assumed"}  # fmt: skip
    placing = {"mount": "rotary", "kind": "pallet", "carrier": "pallet", "sides": 4, "at": [0, 0], "cycle": 0}
    margins = [margin("tool clearance", f"10.{i} T1", 1.0, 1.0 + i) for i in range(9, 0, -1)]
    holding = [margin("holding", "operation 10", 2.5, 2.6, "factor"), margin("holding", "operation 10", 2.5, 2.6, "×")]
    return way(
        "plan 1",
        design={"machine": "mc", "placings": [placing], "stations": [{}], "sets": 1, "operations": []},
        parts_per_start=1, cost_per_part=None, timing={"label": "pallet with 4 sides on mc", "load_basis": ""},
        operations=[operation], margins=[*margins, *holding], cycle={"cycles": [cycle]}, scene=scene(),
        bill=[["pallet: blank", 100.0]], capital=100.0,
    )  # fmt: skip


def plan_data() -> dict[str, Any]:
    tool = {"number": 1, "name": "Drill 6", "holder": {"id": "h"}, "stick_out": 40.0}
    rotary = {"axis": "x", "faceplate_at": [0, 0], "centre_height": 50.0}
    shop = {"rates": {"currency": "EUR", "payback_limit_months": 18.0}, "tools": [tool],
            "machines": [{"id": "mc", "name": "Small one", "rotary": rotary}]}  # fmt: skip
    part = {"name": "cleat", "file": "cleat.step", "unit": "millimetre", "size_mm": [20, 20, 20], "volume_mm3": 8000.0,
            "blank_mm": [22, 22, 22], "blank_kg": 0.03, "material": "6061-T6", "faces": 6, "notes": []}  # fmt: skip
    reason = {"about": "today", "text": "nothing is known", "amount": None, "unit": ""}
    down = {"arrangement": "plate", "stopped_by": "plate: no room", "amount": None, "unit": ""}
    return {
        "title": "Cleat: 1 finished part a start", "makeable": True, "part": part,
        "job": {"per_year": 5000, "facts": []}, "shop": shop, "today": way("today", reasons=[reason]),
        "plans": [best()], "left_over": [], "turned_down": [down, dict(down, arrangement="vise", stopped_by="no room")],
        "one_more": [{"change": "longer", "parts_per_start": 2, "before": 1, "verified": True, "note": ""}],
        "assumptions": ["Loading is a default."], "seed": 1, "stopped_early": False, "versions": {"numpy": "2"},
        "access": {"features": [], "operations": {"fixed": None, "rotary": None}}, "seconds": 1.0, "identity": "abc",
    }  # fmt: skip


class Page(HTMLParser):
    """Open tags must be closed in order; text and addresses are gathered."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.faults: list[str] = []
        self.words = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.faults.append(tag)

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] not in ("script", "style"):
            self.words += data


@pytest.fixture
def data() -> dict[str, Any]:
    return plan_data()


def test_every_tag_is_closed_in_order(data: dict[str, Any]) -> None:
    page = Page(report(data))
    assert page.faults == []
    assert page.open == []


def test_nothing_is_fetched_from_anywhere(data: dict[str, Any]) -> None:
    text = report(data)
    assert re.search(r"(?:https?:)?//[a-z]", re.sub(r"[ ;}]// ", "", text)) is None
    found = [(t, a.get(k)) for t, a in Page(text).tags for k in ("src", "href", "action") if a.get(k)]
    assert [f for f in found if not str(f[1]).startswith(("#", "data:,"))] == []
    assert "@import" not in text


def test_links_of_the_contents_lead_to_sections(data: dict[str, Any]) -> None:
    tags = Page(report(data)).tags
    ids = {a["id"] for _, a in tags if "id" in a}
    assert {str(a["href"])[1:] for t, a in tags if t == "a"} <= ids


def spoiled(value: Any, evil: str) -> Any:
    if isinstance(value, dict):
        return {k: v if k in KEPT else spoiled(v, evil) for k, v in value.items()}
    if isinstance(value, list):
        return [spoiled(v, evil) for v in value]
    return value + evil if isinstance(value, str) else value


KEPT = {"axis", "group", "mesh", "after", "meshes", "locating", "machine", "machines", "what", "kind", "check", "pose"}


def test_no_text_of_a_plan_becomes_markup(data: dict[str, Any]) -> None:
    clean = [t for t, _ in Page(report(spoiled(data, " and more"))).tags]
    evil = "\"'></script><img src=x onerror=alert(1)><b>&"
    page = Page(report(spoiled(data, evil)))
    assert [t for t, _ in page.tags] == clean
    assert page.faults == []
    assert "<img src=x" in page.words


def test_unknown_numbers_are_called_unknown(data: dict[str, Any]) -> None:
    assert num(None) == sig(None) == "unknown"
    page = Page(report(data))
    assert page.words.count("unknown") >= 5
    assert "None" not in page.words
    assert "nan" not in page.words


def test_the_tightest_margin_is_shown_and_the_rest_folded(data: dict[str, Any]) -> None:
    data["plans"][0]["margins"].append(margin("tool clearance", "20.1 T1", 1.0, 0.25))
    text = report(data)
    section = text[text.index('id="margins"') : text.index('id="more"')]
    shown, folded = section.split("<details>", 1)
    assert "10.1 T1" in shown
    assert "20.1 T1" in shown
    assert 'class="short"' in shown
    assert "10.9 T1" not in shown
    assert "10.9 T1" in folded


def test_holding_that_two_rooms_agree_on_stands_once(data: dict[str, Any]) -> None:
    rows = [m for m in told_once(data["plans"][0]["margins"]) if m["check"] == "holding"]
    assert len(rows) == 1
    other = [margin("holding", "operation 10", 2.5, 2.6), margin("holding", "operation 20", 2.5, 2.6)]
    assert len(told_once(other)) == 2


def test_what_was_turned_down_is_grouped_with_its_count(data: dict[str, Any]) -> None:
    assert "<b>2 ×</b> no room" in report(data)


def test_material_left_over_is_said_first(data: dict[str, Any]) -> None:
    left = {"feature": "slot-9", "mm3": 12.5, "why": "no tool is small enough", "would_do": "an end mill of 2 mm"}
    page = Page(report({**data, "makeable": False, "left_over": [left]})).words
    assert page.index("material left over") < page.index("slot-9") < page.index("What is the part?")


@pytest.mark.parametrize(("normal", "angle"), [((0, 0, 1), 0), ((0, -1, 0), 270), ((0, 0, -1), 180), ((0, 1, 0), 90)])
def test_a_side_faces_the_spindle_at_the_angle_that_turns_its_normal_up(
    normal: tuple[int, int, int], angle: float
) -> None:
    held = body("10.1/clamp", "clamp", "rotary", "10.1", (0, 0, 0))
    for row, value in zip((2, 6, 10), normal, strict=True):
        held["pose"][row] = value
    side = {"stations": [{"parts": ["10.1"]}]}
    assert facing([held], side, "x") == pytest.approx(angle)
    assert facing([dict(held, group="table")], side, "x") is None


def test_the_toggle_stands_only_where_both_states_are_known(data: dict[str, Any]) -> None:
    assert "id='as-cut'" in report(data)
    bare = copy.deepcopy(data)
    del bare["plans"][0]["scene"]["cycles"][0]["bodies"][1]["after"]
    assert "id='as-cut'" not in report(bare)


def test_a_report_without_a_plan_is_refused_and_nothing_is_written(data: dict[str, Any], tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="at least one plan"):
        write_report({**data, "plans": []}, tmp_path / "report.html")
    assert list(tmp_path.iterdir()) == []
