"""Programs for many stations: read back by our own reader and by an independent interpreter."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from cycle_shop import machine
from independent import feeds

from palletwright.cycle import (
    Place,
    ProgramJob,
    Step,
    ToolLine,
    check_programs,
    cuts_by_tool,
    order_visits,
    read_dialect,
    shipped_dialects,
    skeleton_job,
    time_program,
    write_programs,
)
from palletwright.cycle.modal_state import OFFSETS, offset_name
from palletwright.cycle.model import Visit
from palletwright.cycle.trace import trace
from palletwright.errors import InputError

CUTS = {
    "drill": ("G0 X5 Y10", "Z3", "G1 Z-12 F200", "G0 Z3", "X20", "G1 Z-12"),
    "mill": ("G0 X-4 Y0", "Z2", "G1 Z-1 F400", "X10 Y0", "G3 X15 Y5 I0 J5", "G1 Y20", "G2 X10 Y25 I-5", "X9 Y24 R1"),
}
TOOLS = (ToolLine(3, "drill 5", 120, 3000, 200, fragile=True), ToolLine(7, "end mill 10", 130, 5000, 600))


def job(stations: int) -> ProgramJob:
    places = tuple(
        Place(f"S{k + 1}", 90.0 * (k // 3), (40.0 * (k % 3), 10.0, 200.0 + k // 3), k % 4) for k in range(stations)
    )
    drills = [Step(3, k, "drill") for k in range(stations)]
    mills = [Step(7, k, "mill") for k in reversed(range(stations))]
    return ProgramJob(
        1000,
        "Hinge block",
        "plan 1",
        "P-001",
        places,
        TOOLS,
        (*drills, *mills),
        CUTS,
        260.0,
        machine_zero=(0.0, 0.0, 600.0),
    )


@pytest.mark.parametrize("dialect", shipped_dialects())
@pytest.mark.parametrize("stations", [1, 6, 12, 60])
def test_what_is_written_reads_back_as_the_job(dialect: str, stations: int) -> None:
    made = job(stations)
    texts = write_programs(made, dialect)
    assert check_programs(made, texts, dialect) == ()


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_the_check_finds_a_spoilt_program(dialect: str) -> None:
    made = job(6)
    texts = write_programs(made, dialect)
    main = texts["1000.nc"]
    for old, new in (("Z-12 ", "Z-13 "), ("G56\n", "G57\n"), ("T7 M6", "T3 M6"), ("A90.", "A180.")):
        assert old in main
        assert check_programs(made, {**texts, "1000.nc": main.replace(old, new, 1)}, dialect) != ()


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_no_rapid_crosses_below_the_clear_height_between_cuts(dialect: str) -> None:
    made = job(6)
    spots = trace(write_programs(made, dialect)["1000.nc"])[0]
    for a, b in pairwise(spots):
        if a.offset != b.offset or a.angle != b.angle:
            assert b.rapid
            assert a.at[2] > 58.0
            assert b.at[2] > 58.0


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_a_cut_is_written_once_a_turn(dialect: str) -> None:
    main = write_programs(job(12), dialect)["1000.nc"]
    assert main.count("DRILL, TURNED") == 4
    assert main.count("MILL, TURNED") == 4


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_switches_leave_stations_out_and_a_restart_leaves_runs_out(dialect: str) -> None:
    made = job(6)
    main = write_programs(made, dialect)["1000.nc"]
    alone = main
    for k in range(1, 6):
        alone = alone.replace(f"#{540 + k} = 1", f"#{540 + k} = 0")
    assert {s.offset for s in trace(alone)[0] if not s.rapid} == {"G54"}
    second = trace(main.replace("#500 = 1", "#500 = 2"))[0]
    assert {s.tool for s in second if not s.rapid} == {7}
    first_feed = next(k for k, s in enumerate(second) if not s.rapid)
    assert second[first_feed].angle == 90.0, "the run indexes before it approaches"


def test_the_offsets_program_sets_what_the_control_keeps(tmp_path: Path) -> None:
    file = tmp_path / "offsets.nc"
    file.write_text(write_programs(job(3), "rs274")["1000_offsets.nc"] + "\n")
    text = file.read_text()
    assert "G10 L2 P2 X40. Y10. Z-400." in text
    assert text.count("G10") == 3
    many = write_programs(job(12), "word_address")["1000_offsets.nc"]
    assert many.count("G10 L2 ") == 6
    assert many.count("G10 L20 ") == 6


def test_a_control_with_too_few_offsets_gets_them_reset_in_the_program() -> None:
    """Twelve places and nine offsets: the last four places share the ninth, so that it is set before each use."""
    main = write_programs(job(12), "rs274")["1000.nc"]
    assert main.count("G10 L2 P9 X80. Y10. Z-397.") == 2
    assert main.count("G10 L2 P9 ") == 2 * 4
    assert "G10 L2 P8 " not in main
    assert "G59.3" in main
    assert "G10" not in write_programs(job(9), "rs274")["1000.nc"]


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_a_machine_with_few_offsets_gets_no_more_than_it_has(dialect: str) -> None:
    made = replace(job(12), work_offsets=5)
    texts = write_programs(made, dialect)
    assert check_programs(made, texts, dialect) == ()
    words = set(texts["1000.nc"].split())
    assert {"G54", "G58"} < words
    assert not words & {"G59", "G54.1"}
    assert texts["1000_offsets.nc"].count("G10") == 4
    with pytest.raises(InputError, match="work_offsets = 0: is no count"):
        replace(job(1), work_offsets=0)


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_the_check_finds_an_offset_that_was_overwritten(dialect: str) -> None:
    made = replace(job(12), work_offsets=9)
    texts = write_programs(made, dialect)
    lines, seen = [], 0
    for line in texts["1000.nc"].splitlines():
        seen += "G10 L2" in line
        if not ("G10 L2" in line and seen > 4):
            lines.append(line)
    texts["1000.nc"] = "\n".join(lines)
    assert "ends at machine" in check_programs(made, texts, dialect)[0]


@pytest.mark.parametrize("stations", [1, 6, 12])
def test_an_independent_interpreter_goes_where_we_go(stations: int, tmp_path: Path) -> None:
    made = job(stations)
    text = write_programs(made, "rs274")["1000.nc"]
    theirs = feeds(text, {t.number: t.length for t in made.tools}, tmp_path)
    number = {offset_name(n): str(n) for n in OFFSETS.values()}
    ours = [(number[s.offset], *s.at) for s in trace(text)[0] if not s.rapid]
    assert [s[0] for s in theirs] == [s[0] for s in ours]
    for a, b in zip(theirs, ours, strict=True):
        assert a[1:] == pytest.approx(b[1:], abs=1e-3)


def test_cuts_are_taken_from_a_single_part_program(tmp_path: Path) -> None:
    file = tmp_path / "single.nc"
    file.write_text(
        "%\nO77\nG21 G90 G54\nT3 M6\nS3000 M3\nG43 H3 Z50\nG0 X5 Y10\nG99 G81 Z-12 R3 F200\nX20\nG80\nG28 G91 Z0\n"
        "G90\nT7 M6\nG0 X-4 Y0\nG1 Z-1 F400\nG3 X0 Y4 I0 J4\nM30\n%\n"
    )
    cuts = cuts_by_tool(file)
    assert cuts[3] == ("Z50", "G0 X5 Y10", "G99 G81 Z-12 R3 F200", "X20", "G80", "G90")
    assert cuts[7] == ("G0 X-4 Y0", "G1 Z-1 F400", "G3 X0 Y4 I0 J4")
    steps = tuple(Step(t, k, f"T{t}") for t in (3, 7) for k in range(4))
    made = replace(job(4), cuts={"T3": cuts[3], "T7": cuts[7]}, steps=steps)
    for dialect in shipped_dialects():
        texts = write_programs(made, dialect)
        assert check_programs(made, texts, dialect) == ()
        out = tmp_path / f"{dialect}.nc"
        out.write_text(texts["1000.nc"])
        answer = time_program(out)
        assert answer["unknown"] == []
        assert [t["number"] for t in answer["tools"] if t["cut_seconds"] > 0] == [3, 7]


def test_a_cut_in_another_plane_is_refused_where_the_station_is_turned() -> None:
    made = replace(job(2), cuts={**CUTS, "mill": ("G18 G2 X1 Z1 I1 K0",)})
    with pytest.raises(InputError, match="can't be turned for a turned station"):
        write_programs(made)


def test_a_job_that_names_what_it_has_not_is_refused_with_all_faults() -> None:
    with pytest.raises(InputError) as caught:
        replace(job(2), steps=(Step(9, 5, "bore"),))
    assert [f.key for f in caught.value.faults] == ["steps[0].tool", "steps[0].place", "steps[0].cut"]


def test_a_dialect_file_is_checked(tmp_path: Path) -> None:
    file = tmp_path / "ours.toml"
    file.write_text('name = "ours"\ndecimals = "three"\ncolour = 1\n')
    with pytest.raises(InputError) as caught:
        read_dialect(file)
    text = str(caught.value)
    assert "colour = 1: unknown key" in text
    assert "decimals = three: has the wrong type" in text
    assert "sub_call" in text
    with pytest.raises(InputError, match="no such dialect; allowed: a TOML file, or one of rs274, word_address"):
        read_dialect("none")


def test_a_cycle_without_programs_becomes_a_skeleton(tmp_path: Path) -> None:
    places = [Place(f"s{k}", 90.0 * (k // 2), (60.0 * (k % 2), 0.0, 200.0), k % 4) for k in range(4)]
    visits = []
    for k, place in enumerate(places):
        for n, tool in enumerate((3, 7)):
            x, y = 10.0, 5.0
            for _ in range(place.turn):
                x, y = -y, x
            start = (place.origin[0] + x, place.origin[1] + y, 205.0)
            end = (start[0], start[1], 190.0)
            visits.append(
                Visit(f"{k}.{n}", tool, "r", place.angle, place.station, f"hole {n}", "drill", 10, start, end, 9.0)
            )
    cycle = order_visits(visits, machine(), retract_z=400.0, clear_z=260.0)
    identity = {"number": 2000, "title": "Hinge", "identity": "p", "carrier": "P-1"}
    made = skeleton_job(cycle, visits, TOOLS, places, clear_z=260.0, **identity)  # type: ignore[arg-type]
    assert len(made.steps) == 8
    assert set(made.cuts) == {f"op 10 hole {n} drill: insert the cut, about 9 s" for n in (0, 1)}
    for dialect in shipped_dialects():
        assert check_programs(made, write_programs(made, dialect), dialect) == ()
    with pytest.raises(InputError, match="has no place at 90°"):
        skeleton_job(cycle, visits, TOOLS, places[:3], clear_z=260.0, **identity)  # type: ignore[arg-type]
