"""What keeps a dense fixture from scrapping a load: carriers by serial, lengths, restarts, heights, limits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from independent import feeds, run, without_what_it_lacks

from palletwright.cycle import (
    CarrierId,
    Dialect,
    Place,
    ProgramJob,
    Step,
    ToolLine,
    WarmUp,
    check_programs,
    shipped_dialects,
    time_program,
    write_programs,
)
from palletwright.cycle.modal_state import OFFSETS, offset_name
from palletwright.cycle.trace import Spot, trace
from palletwright.errors import InputError
from palletwright.shop.model import Travel

CUTS = {
    "drill": ("G0 X5 Y10", "Z3", "G1 Z-12 F200", "G0 Z3", "X20", "G1 Z-12"),
    "mill": ("G0 X-4 Y0", "Z2", "G1 Z-1 F400", "X10 Y0", "G3 X15 Y5 I0 J5", "G1 Y20", "G2 X10 Y25 I-5", "X9 Y24 R1"),
}
TOOLS = (ToolLine(3, "drill 5", 120, 3000, 200, fragile=True), ToolLine(7, "end mill 10", 130, 5000, 600))
LENGTHS = {3: 120.0, 7: 130.0}
NUMBER = {offset_name(n): str(n) for n in OFFSETS.values()}


def job(stations: int = 6, **more: object) -> ProgramJob:
    """Three stations a side of a pallet that turns about x, offsets counted from the top of the travel."""
    places = tuple(
        Place(f"S{k + 1}", 90.0 * (k // 3), (40.0 * (k % 3), 10.0, 200.0 + k // 3), k % 4, "pallet")
        for k in range(stations)
    )
    steps = [Step(3, k, "drill") for k in range(stations)] + [Step(7, k, "mill") for k in range(stations)]
    made = ProgramJob(
        1000, "Hinge block", "plan 1", "P-001", places, TOOLS, tuple(steps), CUTS, 260.0, machine_zero=(0, 0, 600)
    )
    return replace(made, **more)  # type: ignore[arg-type]


def main_of(made: ProgramJob, dialect: str | Dialect) -> str:
    return write_programs(made, dialect)["1000.nc"]


def cut_by(text: str, lengths: Mapping[int, float] = LENGTHS) -> list[Spot]:
    return [s for s in trace(text, lengths)[0] if not s.rapid]


def with_everything(stations: int) -> ProgramJob:
    """A job that uses every means: two carriers, lengths compared, sisters, its own heights."""
    made = job(
        stations,
        carriers=(CarrierId(101, "pallet"), CarrierId(102, "pallet", (0.02, -0.1, 0.3))),
        length_check=1.0,
        tools=(replace(TOOLS[0], sisters=(13,)), TOOLS[1]),
        rotary_zero=180.0,
        turns=True,
        rotary_sign=-1,
    )
    return replace(made, steps=tuple(replace(s, clear_z=230.0 + s.tool, lowest=185.0) for s in made.steps))


@pytest.mark.parametrize("dialect", shipped_dialects())
@pytest.mark.parametrize("stations", [1, 6, 12, 60])
def test_a_job_with_every_means_reads_back_as_itself(dialect: str, stations: int) -> None:
    made = with_everything(stations)
    assert check_programs(made, write_programs(made, dialect), dialect) == ()


@pytest.mark.parametrize("stations", [1, 6, 12])
def test_an_independent_interpreter_takes_every_means(stations: int, tmp_path: Path) -> None:
    made = with_everything(stations)
    text = main_of(made, "rs274")
    ours = [(NUMBER[s.offset], *s.at) for s in cut_by(text)]
    theirs = feeds(text, {**LENGTHS, 13: 120.0}, tmp_path)
    assert [s[0] for s in theirs] == [s[0] for s in ours]
    for a, b in zip(theirs, ours, strict=True):
        assert a[1:] == pytest.approx(b[1:], abs=1e-3)


@pytest.mark.parametrize("stations", [1, 6, 12])
def test_an_independent_interpreter_reads_the_numbered_dialect(stations: int, tmp_path: Path) -> None:
    """All of it but jumps, clamp codes and extended offsets, which that interpreter doesn't know."""
    text = main_of(job(stations), without_what_it_lacks())
    assert "M98 P" in text
    assert "GOTO" not in text
    ours = [(NUMBER[s.offset], *s.at) for s in cut_by(text)]
    theirs = feeds(text, LENGTHS, tmp_path)
    assert len(ours) == stations * 8
    assert [s[0] for s in theirs] == [s[0] for s in ours]
    for a, b in zip(theirs, ours, strict=True):
        assert a[1:] == pytest.approx(b[1:], abs=1e-3)


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_the_carriers_own_deviation_moves_every_station_with_it(dialect: str) -> None:
    """(0.02, −0.1, 0.3) turned right-handed about x by 90° is (0.02, −0.3, −0.1)."""
    main = main_of(with_everything(6), dialect)
    first, second = cut_by(main), cut_by(main.replace("#502 = 101", "#502 = 102"))
    for a, b in zip(first, second, strict=True):
        moved = (0.02, -0.1, 0.3) if a.offset in ("G54", "G55", "G56") else (0.02, -0.3, -0.1)
        assert a.at == pytest.approx(b.at, abs=1e-9)
        assert [y - x for x, y in zip(a.machine, b.machine, strict=True)] == pytest.approx(moved, abs=1e-6)


def test_an_unknown_carrier_and_a_wrong_length_stop_the_program(tmp_path: Path) -> None:
    text = main_of(with_everything(3), "rs274")
    assert run(text, {**LENGTHS, 13: 120.0}, tmp_path).returncode == 0
    strange = run(text.replace("#502 = 101", "#502 = 103"), LENGTHS, tmp_path)
    assert strange.returncode != 0
    assert "UNKNOWN CARRIER" in strange.stderr
    long = run(text, {3: 121.4, 7: 130.0}, tmp_path)
    assert long.returncode != 0
    assert "T3 ISN'T 120.0 MM LONG" in long.stderr
    assert run(text, {3: 120.9, 7: 130.0}, tmp_path).returncode == 0


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_both_dialects_compare_lengths_and_ask_for_the_serial(dialect: str) -> None:
    main = main_of(with_everything(3), dialect)
    assert "SERIAL OF THE CARRIER ON PALLET, READ OFF IT: 101, 102" in main
    alarms = [line for line in main.splitlines() if "LONG" in line]
    assert len(alarms) == 2
    stops = trace(main.replace("#502 = 101", "#502 = 999"), LENGTHS)[1]
    assert stops == ()


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_a_restart_begins_at_the_visit_and_asks_for_the_clamp(dialect: str) -> None:
    made = job(6)
    main = main_of(made, dialect).replace("#500 = 1", "#500 = 2").replace("#501 = 1", "#501 = 10")
    spots = cut_by(main)
    assert {s.tool for s in spots} == {7}
    assert list(dict.fromkeys(s.offset for s in spots)) == ["G57", "G58", "G59"], "visits 10 to 12"
    asked = [k for k, line in enumerate(main.splitlines()) if "IS THE AXIS CLAMPED" in line]
    assert len(asked) == 2, "once in each tool run"


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_the_way_to_a_station_is_across_at_the_retracted_height_and_then_down(dialect: str) -> None:
    made = with_everything(6)
    texts = write_programs(made, dialect)
    spots = trace(texts["1000.nc"], LENGTHS, texts["1000_offsets.nc"])[0]
    clear = {3: 233.0 - 600.0, 7: 237.0 - 600.0}
    for a, b in pairwise(spots):
        across = max(abs(b.machine[0] - a.machine[0]), abs(b.machine[1] - a.machine[1])) > 1e-6
        if across and (a.offset != b.offset or a.angle != b.angle):
            assert b.machine[2] >= clear[b.tool] - 1e-9
    assert {round(s.machine[2], 6) for s in spots if s.rapid and s.tool} >= {0.0, *clear.values()}


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_the_check_names_cuts_that_go_too_low_and_axes_that_leave_their_travel(dialect: str) -> None:
    made = job(3)
    deep = replace(made, steps=tuple(replace(s, lowest=190.0) for s in made.steps))
    faults = check_programs(deep, write_programs(deep, dialect), dialect)
    assert len(faults) == 6
    assert faults[0] == "T3 drill at S1 goes to z 188.000, below 190.000"
    wide, narrow = Travel(x=(-400, 400), y=(-250, 250), z=(100, 800)), Travel(x=(-400, 80), y=(-250, 250), z=(310, 800))
    texts = write_programs(made, dialect)
    assert check_programs(made, texts, dialect, travel=wide) == ()
    faults = check_programs(made, texts, dialect, travel=narrow)
    assert [f.split(":")[0] for f in faults] == ["T3 G54", "T7 G56"]
    assert "z 308.000 is 2.000 mm out of 310 to 800" in faults[0]
    assert "x 84.000 is 4.000 mm out of -400 to 80" in faults[1]


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_the_check_finds_a_way_across_that_is_too_low(dialect: str) -> None:
    made = job(3)
    low = replace(made, steps=tuple(replace(s, clear_z=215.0) for s in made.steps))
    texts = write_programs(low, dialect)
    assert check_programs(low, texts, dialect) == ()
    faults = check_programs(made, texts, dialect)
    assert "comes in at z 215.000, below the clear height 260.000" in faults[0]


@pytest.mark.parametrize(
    ("dialect", "probe", "stop"),
    [
        ("rs274", "G38.2 Z-6.", "G90"),
        ("word_address", "G31 Z-6.", "IF [#5023 GT -380.9] GOTO"),
    ],
)
def test_a_fragile_tool_goes_to_the_setter_where_there_is_one(dialect: str, probe: str, stop: str) -> None:
    """5 mm above the trigger and 6 mm down with 120 mm of tool: at −381 nothing has tripped."""
    made = job(3, setter=(-350.0, -200.0, -500.0))
    main = main_of(made, dialect)
    at = next(k for k, line in enumerate(main.splitlines()) if "CHECK THAT T3 IS WHOLE" in line)
    after = " ".join(main.splitlines()[at : at + 14])
    for words in ("G53 G0 X-350. Y-200.", "G53 G0 Z-375.", probe, stop):
        assert words in after
    assert main.count(probe) == 1, "the end mill isn't fragile"
    assert probe not in main_of(job(3), dialect)
    assert check_programs(made, write_programs(made, dialect), dialect) == ()


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_a_fresh_edge_takes_over_where_one_start_takes_more_than_one(dialect: str) -> None:
    tools = (replace(TOOLS[0], sisters=(13, 14)), TOOLS[1])
    steps = tuple(replace(s, edge=k // 2) if s.tool == 3 else s for k, s in enumerate(job(6).steps))
    made = job(6, tools=tools, steps=steps)
    main, lengths = main_of(made, dialect), {**LENGTHS, 13: 120.0, 14: 120.0}
    assert check_programs(made, write_programs(made, dialect), dialect) == ()
    drilled = [s.tool for s in cut_by(main, lengths) if s.tool != 7]
    assert drilled == [3] * 4 + [13] * 4 + [14] * 4, "two stations an edge, two holes each"
    other = cut_by(main.replace("#841 = 13", "#841 = 23"), {**lengths, 23: 120.0})
    assert [s.tool for s in other if s.tool != 7] == [3] * 4 + [23] * 4 + [14] * 4
    restarted = cut_by(main.replace("#500 = 1", "#500 = 2"), lengths)
    assert [s.tool for s in restarted if s.tool != 7] == [13] * 4 + [14] * 4
    with pytest.raises(InputError, match=r"steps\[0\].edge = 2: has no tool in the magazine"):
        job(6, steps=steps[4:5])


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_the_check_finds_a_wrong_edge(dialect: str) -> None:
    tools = (replace(TOOLS[0], sisters=(13,)), TOOLS[1])
    steps = tuple(replace(s, edge=k // 3) if s.tool == 3 else s for k, s in enumerate(job(6).steps))
    made = job(6, tools=tools, steps=steps)
    texts = write_programs(made, dialect)
    texts["1000.nc"] = texts["1000.nc"].replace("#841 = 13", "#841 = 3")
    assert "T3 " in check_programs(made, texts, dialect)[0]


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_a_sister_is_used_where_the_operator_says_so(dialect: str) -> None:
    main = main_of(with_everything(3), dialect)
    assert "SISTER T13" in main
    other = cut_by(main.replace("#840 = 3", "#840 = 13"), {**LENGTHS, 13: 120.0})
    assert {s.tool for s in other} == {13, 7}


def test_the_warm_up_is_a_program_of_its_own(tmp_path: Path) -> None:
    warm = WarmUp((2000.0, 5000.0), 60.0, (-300.0, -200.0, -200.0), (300.0, 200.0, 0.0))
    for dialect in shipped_dialects():
        file = tmp_path / f"{dialect}.nc"
        file.write_text(write_programs(job(1, warm_up=warm), dialect)["1000_warm_up.nc"])
        answer = time_program(file)
        assert answer["unknown"] == []
        assert answer["tools"][0]["wait_seconds"] > 120.0
        assert answer["tools"][0]["speeds"] == [2000.0, 5000.0]
    assert run((tmp_path / "rs274.nc").read_text(), {}, tmp_path).returncode == 0
    assert "1000_warm_up.nc" not in write_programs(job(1))


def test_offsets_stand_in_a_table_as_they_stand_in_the_code() -> None:
    texts = write_programs(job(12), "rs274")
    rows = texts["1000_offsets.csv"].splitlines()
    assert rows[0] == "place,station,mount,angle,quarter_turns,offset,x_mm,y_mm,z_mm,set"
    assert rows[5] == "5,S5,pallet,90,0,G58,40.0000,10.0000,-399.0000,once"
    assert rows[12].endswith("G59.3,80.0000,10.0000,-397.0000,in the main program before each use")
    assert "G10 L2 P5 X40. Y10. Z-399." in texts["1000_offsets.nc"]


def test_a_job_with_impossible_carriers_is_refused() -> None:
    with pytest.raises(InputError) as caught:
        job(2, carriers=(CarrierId(0, "pallet"), CarrierId(1, "plate")), rotary_sign=2)
    assert [f.key for f in caught.value.faults] == ["carriers[0].serial", "carriers[1].mount", "rotary_sign"]
