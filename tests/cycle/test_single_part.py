"""A shop's own single-part programs in a cycle: their times win, their cuts stand in the many-station program."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cycle_shop import machine
from independent import feeds

from palletwright.cycle import (
    Place,
    Told,
    ToolLine,
    check_programs,
    cutting_basis,
    in_program_order,
    order_visits,
    place_of,
    program_runs,
    program_seconds,
    shipped_dialects,
    skeleton_job,
    told_times,
    write_programs,
)
from palletwright.cycle.modal_state import OFFSETS, offset_name
from palletwright.cycle.model import Visit
from palletwright.cycle.trace import trace
from palletwright.errors import InputError
from palletwright.scene.turn import rotation

PROGRAM = """%
O77 (TRAILER HITCH, ONE PART)
G21 G90 G17 G54
T3 M6
G43 H3 Z50 M8
S3000 M3
G0 X5 Y10
G99 G81 Z-12 R3 F200
X20
G80
G28 G91 Z0
G90
T7 M6
S5000 M3
G43 H7 Z50
G0 X-4 Y0
Z2
G1 Z-1 F400
X10
G3 X15 Y5 I0 J5
G1 Y20
G0 Z50
T3 M6
G43 H3
G0 X12 Y3
Z3
G1 Z-6 F200
G0 Z50
M30
%
"""
TOOLS = (ToolLine(3, "drill 5", 120, 3000, 200), ToolLine(7, "end mill 10", 130, 5000, 400))


@pytest.fixture
def program(tmp_path: Path) -> Path:
    file = tmp_path / "hitch.nc"
    file.write_text(PROGRAM)
    return file


def places(count: int) -> list[Place]:
    """Stations with the program's zero at their middle, turned by quarters, two a side."""
    made = []
    for k in range(count):
        pose = np.eye(4)
        pose[:3, :3] = rotation((0.0, 0.0, 1.0), 90.0 * k)
        pose[:3, 3] = (60.0 * (k % 2), 0.0, 200.0)
        made.append(place_of(f"s{k}", 90.0 * (k // 2), pose, (2.0, 0.0, 0.0), (1.0, 0.0, 0.0), "pallet"))
    return made


def visits(stations: list[Place]) -> list[Visit]:
    """As access would find them: two holes, a profile that waits for the first, a hole in the profile's floor."""
    made = []
    for place in stations:
        for name, tool, before in (("a", 3, ()), ("b", 3, ()), ("p", 7, ("a",)), ("c", 3, ("p",))):
            at = (place.origin[0], place.origin[1], 205.0)
            after = tuple(f"{place.station}.{n}" for n in before)
            key = f"{place.station}.{name}"
            made.append(Visit(key, tool, "pallet", place.angle, place.station, name, "cut", 10, at, at, 9.0, after))
    return made


def test_the_programs_times_take_the_place_of_geometrys(program: Path) -> None:
    told = program_seconds(program, machine())
    assert set(told) == {3, 7}
    made, reasons = told_times(visits(places(2)), {10: Told(by_tool=told)})
    for station in ("s0", "s1"):
        for tool in (3, 7):
            mine = [v for v in made if v.station == station and v.tool == tool]
            assert sum(v.cut_seconds for v in mine) == pytest.approx(told[tool])
            assert {v.basis for v in mine} == {"program"}
    assert reasons == []
    whole, _ = told_times(visits(places(2)), {10: Told(seconds=50.0, by_tool=told)})
    assert sum(v.cut_seconds for v in whole) == pytest.approx(100.0)
    assert cutting_basis(whole) == pytest.approx({"geometry": 0.0, "measured": 100.0, "program": 0.0})
    assert told_times(visits(places(2)), {})[0] == visits(places(2))


def test_tools_that_only_one_side_has_are_named() -> None:
    _, reasons = told_times(visits(places(1)), {10: Told(by_tool={3: 5.0, 9: 8.0})})
    assert [r.text for r in reasons] == [
        "its program also cuts with T9, which the plan doesn't use there: that time isn't in the plan",
        "its program doesn't cut with T7: their time stays as geometry says",
    ]
    assert reasons[0].amount == 8.0


def test_runs_are_taken_from_the_program_in_its_order(program: Path) -> None:
    runs = program_runs(program)
    assert [run.tool for run in runs] == [3, 7, 3]
    assert runs[0].lines[1:4] == ("G0 X5 Y10", "G99 G81 Z-12 R3 F200", "X20")
    assert runs[2].lines == ("G0 X12 Y3", "Z3", "G1 Z-6 F200", "G0 Z50")
    program.write_text(PROGRAM.replace("G0 X12 Y3", "G0 A90"))
    with pytest.raises(InputError, match="turns a rotary axis"):
        program_runs(program)


def test_the_plan_keeps_the_programs_order_of_tools(program: Path) -> None:
    once = program_runs(program)[:2]
    held = in_program_order(visits(places(1)), {10: once})
    assert next(v for v in held if v.feature == "p").after == ("s0.a", "s0.b", "s0.c")


@pytest.mark.parametrize("stations", [1, 4, 8])
def test_the_many_station_program_makes_each_part_as_its_program_does(
    stations: int, program: Path, tmp_path: Path
) -> None:
    there = places(stations)
    todo = visits(there)
    cycle = order_visits(todo, machine(), retract_z=400.0, clear_z=260.0)
    given = {"number": 3000, "title": "Hitch", "identity": "p", "carrier": "P-1", "machine_zero": (0, 0, 700)}
    zero = given.pop("machine_zero")
    made = skeleton_job(
        cycle,
        todo,
        TOOLS,
        there,
        clear_z=260.0,
        programs={10: program_runs(program)},
        **given,  # type: ignore[arg-type]
    )
    made = replace(made, machine_zero=zero)  # type: ignore[arg-type]
    assert len(made.steps) == 3 * stations
    alone = [s for s in trace(PROGRAM)[0] if not s.rapid]
    for dialect in shipped_dialects():
        texts = write_programs(made, dialect)
        assert check_programs(made, texts, dialect) == ()
        spots = [s for s in trace(texts["3000.nc"], None, texts["3000_offsets.nc"])[0] if not s.rapid]
        for k, place in enumerate(there):
            mine = [s for s, w in zip(spots, _stations(made), strict=True) if w == k]
            assert [s.tool for s in mine] == [s.tool for s in alone]
            for a, b in zip(mine, alone, strict=True):
                x, y = b.at[:2]
                for _ in range(place.turn):
                    x, y = -y, x
                assert a.at == pytest.approx((x, y, b.at[2]), abs=1e-9)
                assert a.machine == pytest.approx(
                    (place.origin[0] + x, place.origin[1] + y, place.origin[2] + b.at[2] - 700.0), abs=1e-4
                )
    number = {offset_name(n): str(n) for n in OFFSETS.values()}
    text = write_programs(made, "rs274")["3000.nc"]
    ours = [(number[s.offset], *s.at) for s in trace(text)[0] if not s.rapid]
    theirs = feeds(text, {3: 120.0, 7: 130.0}, tmp_path)
    assert len(theirs) == len(ours)
    for a, b in zip(theirs, ours, strict=True):
        assert a[0] == b[0]
        assert a[1:] == pytest.approx(b[1:], abs=1e-3)


def _stations(made) -> list[int]:  # type: ignore[no-untyped-def]
    """The place of every feed in the job's order."""
    out = []
    for step in made.steps:
        text = "\n".join(["G21 G90", *made.cuts[step.cut], "M30"])
        out += [step.place for s in trace(text)[0] if not s.rapid]
    return out


def test_a_program_with_other_tool_runs_than_the_plan_is_refused(program: Path) -> None:
    there = places(1)
    todo = visits(there)
    cycle = order_visits(todo, machine(), retract_z=400.0, clear_z=260.0)
    runs = program_runs(program)
    given = {"number": 3000, "title": "Hitch", "identity": "p", "carrier": "P-1", "clear_z": 260.0}
    with pytest.raises(InputError, match="has T3 1 times in the spindle, the plan needs it oftener"):
        skeleton_job(cycle, todo, TOOLS, there, programs={10: runs[:2]}, **given)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="is 2 times in its program, the plan has it 1 times"):
        skeleton_job(cycle, todo, TOOLS, there, programs={10: (*runs, runs[1])}, **given)  # type: ignore[arg-type]


def test_a_station_off_a_quarter_turn_cannot_take_the_programs_code() -> None:
    pose = np.eye(4)
    pose[:3, :3] = rotation((0.0, 0.0, 1.0), 30.0)
    with pytest.raises(InputError, match=r"stands 30\.00° off a quarter turn at s1"):
        place_of("s1", 0.0, pose, (0.0, 0.0, 0.0), (1.0, 0.0, 0.0))
    with pytest.raises(InputError, match=r"leans 90\.00°"):
        place_of("s1", 0.0, np.eye(4), (0.0, 0.0, 0.0), (0.0, 0.0, 1.0))
