"""Programs written for these tests, with times worked out by hand."""

from __future__ import annotations

import json
import math
import time
import tracemalloc
from pathlib import Path
from typing import Any

import pytest

from palletwright.cycle import time_program
from palletwright.errors import InputError

A = 3000.0
RAPID_XY, RAPID_Z = 400.0, 333.0
BACK = 0.254
"""mm above the last depth to which a peck goes back in: 0.010 in."""


def timed(tmp_path: Path, text: str, **options: Any) -> dict[str, Any]:
    file = tmp_path / "part.nc"
    file.write_text(text)
    answer = time_program(file, **options)
    json.dumps(answer)
    return answer


def rapid(d: float, v: float = RAPID_XY) -> float:
    return d / v + v / A if d >= v * v / A else 2 * math.sqrt(d / A)


def feed(d: float, mm_min: float) -> float:
    return d / (mm_min / 60) + mm_min / 60 / A


def test_lines_by_tool(tmp_path: Path) -> None:
    text = "%\nO10\nT3 M6\nG21 G90 G0 X0 Y0 Z250\nG0 X100\nZ5\nG1 Z-3 F120\nX160 F600\n"
    text += "G0 Z250\nT5 M6\nG1 X150 F60\nM30\n%\n"
    answer = timed(tmp_path, text)
    three, five = answer["tools"]
    assert three["number"] == 3
    assert three["rapid_seconds"] == pytest.approx(rapid(100) + rapid(245, RAPID_Z) + rapid(253, RAPID_Z))
    corner = math.sqrt(A * 0.01 * math.sqrt(0.5) / (1 - math.sqrt(0.5)))
    assert corner > 2.0, "the plunge goes through the corner at its own 2 mm/s"
    down = 8 / 2.0 + 2.0 / (2 * A)
    ramps = (10.0 - 2.0) / A + 10.0 / A
    along = ramps + (60 - (2 * 100.0 - 4.0) / (2 * A)) / 10.0
    assert three["cut_seconds"] == pytest.approx(down + along, rel=1e-9)
    assert three["extents_mm"] == {"x": [100, 160], "y": [0, 0], "z": [-3, 5]}
    assert five["cut_seconds"] == pytest.approx(feed(10, 60))
    assert answer["tool_changes"] == 2
    assert answer["unknown"] == []
    total = sum(t[k] for t in (three, five) for k in ("cut_seconds", "rapid_seconds", "wait_seconds"))
    assert answer["total_seconds"] == pytest.approx(total + 2 * 4.0)


def length_of(tmp_path: Path, body: str) -> float:
    answer = timed(tmp_path, f"G21 G90 G17 T1 M6\nG0 X0 Y0 Z0\nF600\n{body}\nM30\n")
    assert answer["unknown"] == []
    return float(answer["tools"][0]["cut_mm"])


@pytest.mark.parametrize(
    ("body", "length"),
    [
        ("G2 X10 Y10 I10 J0", 5 * math.pi),
        ("G3 X10 Y10 I10 J0", 15 * math.pi),
        ("G2 X10 Y10 R10", 5 * math.pi),
        ("G2 X10 Y10 R-10", 15 * math.pi),
        ("G3 X0 Y0 I10", 20 * math.pi),
        ("G3 X0 Y0 Z-6 I10", math.hypot(20 * math.pi, 6)),
        ("G3 X0 Y0 Z-6 I10 P3", math.hypot(60 * math.pi, 6)),
        ("G18 G3 X10 Z10 I10 K0", 5 * math.pi),
        ("G18 G2 X10 Z10 I10 K0", 15 * math.pi),
        ("G19 G2 Y10 Z10 R10", 5 * math.pi),
        ("G91 G2 X10 Y10 I10 J0", 5 * math.pi),
        ("G90.1 G2 X10 Y10 I10 J0", 5 * math.pi),
        ("G20 G1 X1", 25.4),
        ("G91 G1 X3\nX4\nG90 X0", 14.0),
    ],
)
def test_lengths(tmp_path: Path, body: str, length: float) -> None:
    assert length_of(tmp_path, body) == pytest.approx(length, rel=1e-9)


def test_an_arc_reaches_beyond_its_ends(tmp_path: Path) -> None:
    answer = timed(tmp_path, "G21 G90 G17 T1 M6\nG0 X0 Y0 Z0\nF600\nG2 X20 Y0 I10 J0\nM30\n")
    assert answer["tools"][0]["extents_mm"]["y"] == pytest.approx([0, 10])


@pytest.mark.parametrize(
    ("cycle", "cut", "rapids", "wait"),
    [
        ("G81 Z-10 R2", 12, [248, 12], 0),
        ("G82 Z-10 R2 P0.5", 12, [248, 12], 0.5),
        ("G83 Z-10 R2 Q5", 12 + 2 * BACK, [248, 5, 5 - BACK, 10, 10 - BACK, 12], 0),
        ("G73 Z-10 R2 Q5", 12 + 2 * BACK, [248, BACK, BACK, 12], 0),
        ("G85 Z-10 R2", 24, [248], 0),
        ("G89 Z-10 R2 P1", 24, [248], 1.0),
        ("G86 Z-10 R2", 12, [248, 12], 0),
    ],
)
def test_canned_cycles(tmp_path: Path, cycle: str, cut: float, rapids: list[float], wait: float) -> None:
    """One hole from 250 mm at G99: rapid to R, then what the cycle does."""
    answer = timed(tmp_path, f"G21 G90 T1 M6\nG0 X0 Y0 Z250 F600\nG99 {cycle}X0 Y0\nG80\nM30\n")
    tool = answer["tools"][0]
    assert answer["unknown"] == []
    assert tool["cut_mm"] == pytest.approx(cut)
    assert tool["rapid_seconds"] == pytest.approx(sum(rapid(d, RAPID_Z) for d in rapids))
    assert tool["wait_seconds"] == pytest.approx(wait)
    assert tool["deepest_mm"] == pytest.approx(-10)


def test_a_cycle_repeats_and_returns_to_where_it_began(tmp_path: Path) -> None:
    text = "G21 G90 T1 M6\nG0 X0 Y0 Z50 F600\nG91 G98 G81 X10 Z-12 R-48 L3\nG80 G90\nM30\n"
    tool = timed(tmp_path, text)["tools"][0]
    assert tool["cut_mm"] == pytest.approx(36)
    assert tool["extents_mm"]["x"] == [10, 30]
    assert tool["extents_mm"]["z"] == [-10, 2]
    ways = [200] + [48, 60] * 3
    assert tool["rapid_seconds"] == pytest.approx(sum(rapid(d, RAPID_Z) for d in ways) + 3 * rapid(10))


def test_tapping_turns_the_spindle_round_twice(tmp_path: Path) -> None:
    answer = timed(tmp_path, "G21 G90 T1 M6\nG0 X0 Y0 Z250\nG95 F1.25 S500\nG99 G84 X0 Y0 Z-10 R2\nG80\nM30\n")
    tool = answer["tools"][0]
    assert tool["cut_seconds"] == pytest.approx(2 * feed(12, 625))
    assert tool["wait_seconds"] == pytest.approx(4 * 2.0 * 500 / 10000)


def test_inverse_time_takes_the_time_it_says(tmp_path: Path) -> None:
    tool = timed(tmp_path, "G21 G90 G93 T1 M6\nG0 X0 Y0 Z0\nG1 X30 F2\nM30\n")["tools"][0]
    assert tool["cut_seconds"] == pytest.approx(30.0 + 1.0 / A)


@pytest.mark.parametrize(
    ("body", "cuts"),
    [
        ("M98 P20\nM98 P20\nM30\nO20\nG91 G1 X5\nG90\nM99", 2),
        ("M98 P20 L4\nM30\nO20\nG91 G1 X5\nG90\nM99", 4),
        ("M98 P30020\nM30\nO0020\nG91 G1 X5\nG90\nM99", 3),
        ("o20 sub\nG91 G1 X5\nG90\no20 endsub\no20 call\no20 call\nM2", 2),
        ("#1=0\nWHILE [#1 LT 3] DO1\nG91 G1 X5\n#1=[#1+1]\nEND1\nM30", 3),
        ("#1=0\nN10 G91 G1 X5\n#1=#1+1\nIF [#1 LT 4] GOTO 10\nM30", 4),
        ("#<n>=1\no1 while [#<n> le 2]\nG91 G1 X5\n#<n>=[#<n>+1]\no1 endwhile\nM2", 2),
        ("o1 repeat [3]\nG91 G1 X5\no1 endrepeat\nM2", 3),
        ("o1 if [1 gt 2]\nG91 G1 X50\no1 else\nG91 G1 X5\no1 endif\nM2", 1),
        ("GOTO 7\nG1 X99\nN7 G91 G1 X5\nM30", 1),
        ("#5=[2+3*1]\nG91 G1 X#5\nM30", 1),
        ("/G1 X900 Y[\nG91 G1 X5\nM30", 1),
    ],
)
def test_subprograms_and_control_flow(tmp_path: Path, body: str, cuts: int) -> None:
    skip = body.startswith("/")
    answer = timed(tmp_path, f"G21 G90 T1 M6\nG0 X0 Y0 Z0 F600\n{body}\n", skip_blocks=skip)
    assert answer["unknown"] == []
    assert answer["tools"][0]["cut_mm"] == pytest.approx(5.0 * cuts)


def test_what_is_not_understood_is_named_with_its_line(tmp_path: Path) -> None:
    body = (
        "G21 G90 T1 M6\nG0 X0 Y0 Z0 F600\nG12.1\nG1 X5\nG65 P9010 A1\nG1 X#77\nM98 P88\nG2 X9 Y9 I1 J7\nM123\nhello\n"
    )
    body += "G1 X5\n" * 5 + "M30\n"
    answer = timed(tmp_path, body)
    assert [(u["line"], u["why"].split(":")[0]) for u in answer["unknown"]] == [
        (3, "G12.1 isn't understood"),
        (5, "G65 isn't understood"),
        (6, "variable #77 has no value in this program"),
        (7, "88 isn't in this file"),
        (8, "an arc whose radii at its ends differ"),
        (9, "M123 isn't understood"),
        (10, "'E' where a number is needed"),
    ]
    assert answer["tools"][0]["cut_mm"] == pytest.approx(5)


def test_offsets_known_from_the_program_lead_from_part_to_part(tmp_path: Path) -> None:
    text = (
        "G21 G90 T1 M6\nG10 L2 P1 X-300 Y-200 Z-400\nG10 L2 P2 X-200 Y-200 Z-400\n"
        "G54 G0 X0 Y0 Z10\nG1 Z-1 F600\nG0 Z10\nG55 G0 X0 Y0\nG1 Z-2\nG0 G53 Z0\nM30\n"
    )
    tool = timed(tmp_path, text)["tools"][0]
    assert tool["offsets"] == ["G54", "G55"]
    assert tool["extents_mm"] == {"x": [0, 0], "y": [0, 0], "z": [-2, 10]}
    near = rapid(11, RAPID_Z) + rapid(100) + rapid(402, RAPID_Z)
    assert tool["rapid_seconds"] == pytest.approx(near + max(rapid(300), rapid(200), rapid(640, RAPID_Z)))


def test_an_endless_loop_is_stopped_and_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("palletwright.cycle.program_time.STEPS", 1000)
    answer = timed(tmp_path, "T1 M6\nG0 X0 Y0 Z0\nN1 G91 G1 X1 F600\nGOTO 1\nM30\n")
    assert "endless loop" in answer["unknown"][-1]["why"]


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        (b"\x00\x01\x02", "is no text"),
        (b"  \n", "is empty"),
        (b"ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION(('x'),'2;1');\nENDSEC;\n", "no word-address program"),
        (b"Dear shop,\nplease find the part attached.\nYours\n", "no word-address program"),
    ],
)
def test_a_file_that_is_no_program_is_refused(tmp_path: Path, content: bytes, problem: str) -> None:
    file = tmp_path / "letter.txt"
    file.write_bytes(content)
    with pytest.raises(InputError, match=problem) as caught:
        time_program(file)
    assert caught.value.faults[0].file == str(file)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="can't be read: No such file"):
        time_program(tmp_path / "none.nc")


@pytest.mark.slow
def test_a_million_lines_in_half_a_minute_and_a_gibibyte(tmp_path: Path) -> None:
    file = tmp_path / "long.nc"
    with file.open("w") as out:
        out.write("G21 G90 T1 M6\nG0 X0 Y0 Z5\nF3000\n")
        for k in range(1_000_000):
            out.write(f"N{k} G1 X{50 * math.cos(k / 500):.3f} Y{50 * math.sin(k / 500):.3f}\n")
        out.write("M30\n")
    begin = time.process_time()
    answer = time_program(file)
    assert time.process_time() - begin < 30
    assert answer["lines"] > 1_000_000
    assert answer["tools"][0]["cut_mm"] == pytest.approx(1e6 * 50 / 500, rel=0.01)
    tracemalloc.start()
    time_program(file)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 2**30
