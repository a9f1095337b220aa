"""Programs as shops have them: no spaces, inches, tapes' numbers, incremental arcs, nested calls; times by hand."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import independent
import pytest
from cycle_shop import machine
from typer.testing import CliRunner

from palletwright.cli import app
from palletwright.cycle import time_program
from palletwright.cycle.trace import trace

A, XY, Z = 3000.0, 400.0, 333.0
"""mm/s² and mm/s that `time_program` takes without a machine."""


def timed(folder: Path, text: str, **options: Any) -> dict[str, Any]:
    file = folder / "odd.nc"
    file.write_text(text)
    return time_program(file, **options)


def rapid(d: float, v: float = XY) -> float:
    return d / v + v / A if d >= v * v / A else 2 * math.sqrt(d / A)


def feed(d: float, mm_min: float) -> float:
    """From rest to rest, long enough to reach the feed."""
    v = mm_min / 60
    return d / v + v / A


def test_an_inch_program_without_spaces_on_a_tape(tmp_path: Path) -> None:
    text = "%\nO0012(NO SPACES)\nN10G20G17G90G40G49G80\nN20T3M6\nN30S2000M3\nN40G0X0Y0\nN50G43Z1.H3\n"
    text += "N60G1Z-.5F20.\nN70G0Z1.\nN80X+4.Y-.0\nN90G1X2.F10.\nN100M5\nN110M30\n%\n"
    answer = timed(tmp_path, text)
    (tool,) = answer["tools"]
    assert answer["unknown"] == []
    down, along = 1.5 * 25.4, 2 * 25.4
    assert tool["cut_seconds"] == pytest.approx(feed(down, 20 * 25.4) + feed(along, 10 * 25.4))
    ways = rapid(250 - 25.4, Z) + rapid(down, Z) + rapid(4 * 25.4)
    assert tool["rapid_seconds"] == pytest.approx(ways)
    assert tool["wait_seconds"] == pytest.approx(2 * 2.0 * 2000 / 10000), "2 s to 10,000 rev/min, up and down again"
    assert tool["extents_mm"] == {"x": [0, 101.6], "y": [0, 0], "z": [-12.7, 25.4]}
    assert tool["feeds"] == [254.0, 508.0]
    assert answer["total_seconds"] == pytest.approx(
        4.0 + tool["cut_seconds"] + tool["rapid_seconds"] + tool["wait_seconds"]
    )


def test_nested_calls_in_increments_return_to_where_they_were_called(tmp_path: Path) -> None:
    text = "%\n:0100\nN0010G21G90G17\nT1M6\nG0X0Y0Z2\nF600\nM98P200L2\nM98 P2 0300\nG1X0Y0\nM30\n"
    text += "O200\nG91G1X10.\nM98P300\nG90\nM99\nO300\nG91\nY5.\nG90\nM99\n%\n"
    answer = timed(tmp_path, text)
    assert answer["unknown"] == []
    (tool,) = answer["tools"]
    back = math.hypot(20, 20)
    assert tool["cut_mm"] == pytest.approx(2 * (10 + 5) + 2 * 5 + back), "L2 of two moves, P2 0300 twice, and back"
    assert tool["extents_mm"] == {"x": [0, 20], "y": [0, 20], "z": [2, 2]}


@pytest.mark.parametrize(
    ("way", "length"),
    [
        ("G18\nG3X20.R10.", 10 * math.pi),
        ("G18\nG2X10.Z10.R10.", 5 * math.pi),
        ("G18\nG3X10.Z10.R-10.", 5 * math.pi * 3),
        ("G91G18G2X10.Z10.R10.", 5 * math.pi),
        ("G18\nG2X10.Y4.Z10.R10.", math.hypot(5 * math.pi, 4)),
        ("G19\nG91G3Y-10.Z10.J-10.", 5 * math.pi),
        ("G20G18G2X1.Z1.I1.K0", 25.4 * math.pi * 1.5),
    ],
)
def test_arcs_by_radius_in_every_plane(tmp_path: Path, way: str, length: float) -> None:
    answer = timed(tmp_path, f"G21G90T1M6\nG0X0Y0Z0\nF600.\n{way}\nM30\n")
    assert answer["unknown"] == []
    assert answer["tools"][0]["cut_mm"] == pytest.approx(length)


@pytest.mark.parametrize(
    ("way", "turn"),
    [("G18\nG3X20.R10.", 1), ("G18\nG2X20.R10.", -1)],
)
def test_the_sense_of_an_arc_in_zx_is_seen_from_positive_y(tmp_path: Path, way: str, turn: int) -> None:
    """Z is the first axis of G18 and X the second: from X0 to X20 at Z0, G3 passes +Z and G2 passes −Z."""
    answer = timed(tmp_path, f"G21G90T1M6\nG0X0Y0Z0\nF600.\n{way}\nM30\n")
    low, high = answer["tools"][0]["extents_mm"]["z"]
    assert (low, high) == pytest.approx((0, 10) if turn > 0 else (-10, 0))


def test_a_cycle_after_another_one_keeps_what_it_does_not_name(tmp_path: Path) -> None:
    text = "G21G90T1M6\nG0X0Y0Z2\nF600\nG99G83Z-10R2Q4\nX10\nG82X20P.5\nG80\nG0Z2\nM30\n"
    answer = timed(tmp_path, text)
    assert answer["unknown"] == []
    (tool,) = answer["tools"]
    assert tool["cut_mm"] == pytest.approx(2 * (12 + 2 * 0.254) + 12), "two pecked holes and one drilled at once"
    assert tool["wait_seconds"] == pytest.approx(0.5)
    assert any("without G80" in text for text in answer["notes"])


def test_a_loop_that_computes_its_points(tmp_path: Path) -> None:
    text = "G21G90T1M6\nG0X0Y0Z0\n#1=0\n#2 = 10.5\nWHILE[#1LT4]DO1\nG1X[#1*#2]Y[SIN[30]*10]F[500*2]\n#1=#1+1\nEND1\n"
    text += "IF[#1EQ4]THEN#3=7\nG0Z#3\nGOTO90\nG1X900\nN90M30\n"
    answer = timed(tmp_path, text)
    assert answer["unknown"] == []
    assert answer["tools"][0]["cut_mm"] == pytest.approx(5 + 3 * 10.5)
    assert answer["tools"][0]["rapid_mm"] == pytest.approx(250 + 7)


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("G65P9010A1.B2.", "G65 isn't understood"),
        ("G66P9011", "G66 isn't understood"),
        ("G68X0Y0R45.", "G68 isn't understood"),
        ("G51.1X0", "G51.1 isn't understood"),
        ("G16X50.Y30.", "G16 isn't understood"),
        ("G12I5.", "G12 isn't understood"),
        ("M97P200", "M97 isn't understood"),
        ("G70I10J0L6", "G70 isn't understood"),
    ],
)
def test_a_strange_code_is_named_and_does_not_move(tmp_path: Path, line: str, why: str) -> None:
    answer = timed(tmp_path, f"G21G90T1M6\nG0X0Y0Z0\nG1X10F600\n{line}\nG1X20\nM30\n")
    assert [(u["line"], u["why"]) for u in answer["unknown"]] == [(4, why)]
    assert answer["tools"][0]["cut_mm"] == pytest.approx(20)
    assert answer["tools"][0]["cut_seconds"] == pytest.approx(20 / 10 + 10 / A)


def test_the_path_tolerance_that_a_program_gives_counts(tmp_path: Path) -> None:
    corner = "G21G90T1M6\nG0X0Y0Z0\n{}\nG1X30F6000\nY30\nM30\n"
    seconds = [timed(tmp_path, corner.format(word))["tools"][0]["cut_seconds"] for word in ("G64P0.1", "G64", "G61")]
    v, factor = 100.0, math.sqrt(0.5) / (1 - math.sqrt(0.5))
    speeds = [math.sqrt(A * d * factor) for d in (0.1, 0.01)] + [0.0]
    by_hand = [2 * (v / A + (v - u) / A + (30 - (2 * v * v - u * u) / (2 * A)) / v) for u in speeds]
    assert seconds == pytest.approx(by_hand)
    assert seconds[0] < seconds[1] < seconds[2]


def test_a_machine_gives_its_own_spindle_and_pallet_times(tmp_path: Path) -> None:
    own = machine().model_copy(update={"spindle_seconds": 3.0, "spindle_speed": 12000.0, "pallet_change": 9.0})
    text = "G21G90T1M6\nS6000M3\nG0X0Y0Z0\nG1X10F600\nM5\nM60\nM0\nM30\n"
    answer = timed(tmp_path, text, machine=own)
    assert answer["tools"][0]["wait_seconds"] == pytest.approx(3.0 / 2 + 3.0 / 2 + 9.0)
    assert not any("memory" in text for text in answer["assumptions"])
    assert any("M0" in text for text in answer["notes"])
    none = timed(tmp_path, text, machine=own.model_copy(update={"pallet_change": None}))
    assert none["tools"][0]["wait_seconds"] == pytest.approx(3.0)
    assert any("no pallet changer" in text for text in none["notes"])


ODD = """%
(a program by hand, in increments, planes and cycles)
N1 G21 G17 G90 G40 G49 G80 G94 G64
g0x+0. 12 34y 7 z5
N2 G1 X10. Y0 Z-1. F300.
N3 G91 G2 X10. Y10. I10. J0
N4 G3 X-20. R10.
N5 G90 G18 G2 X20. Z9. R15.
N6 G19 G91 G3 Y-10. Z10. J-10.
N7 G90 G17 G3 X20. Y0 I5. Z-4. P2
N8 G20 G1 X1. Y.5
N9 G21
#1 = 3.
o100 while [#1 gt 0]
  G1 X[#1 * 4.5] Y[sqrt[#1]] F[100 + #1]
  #1 = [#1 - 1]
o100 endwhile
N10 G0 Z20.
G98 G81 X5. Y5. Z-6. R2. F200.
N11 G91 G81 X7. Z-8. R5. L3
N12 G90 G80
N13 G99 G83 X40. Y0 Z-8. R1. Q3.
N14 G80
N15 G10 L2 P2 X10. Y20. Z30.
N16 G55 G0 X0 Y0 Z5.
N17 G52 X1. Y2.
N18 G1 X4. Y4. F600.
N19 G52 X0 Y0
N20 G92 X0 Y0
N21 G1 X-3.
N22 G92.1
M2
%
"""


def test_an_independent_interpreter_reads_odd_programs_as_we_do(tmp_path: Path) -> None:
    spots, unknown = trace(ODD)
    assert unknown == ()
    ours = independent.distinct([("", *spot.at, spot.angle) for spot in spots])
    theirs = independent.distinct([("", *found[1:]) for found in independent.moves(ODD, {1: 0.0}, tmp_path)])
    for a, b in zip(ours, theirs, strict=False):
        assert max(abs(x - y) for x, y in zip(a[1:], b[1:], strict=True)) < 1e-3, (a, b)
    assert len(ours) == len(theirs)


def test_the_command_prints_what_each_tool_does(tmp_path: Path) -> None:
    file = tmp_path / "a.nc"
    file.write_text("G21G90T7M6\nS900M3\nG0X0Y0Z0\nG1X10F600\nG65P9010A1\nM30\n")
    said = CliRunner().invoke(app, ["time", str(file), "--machine", "mc-rotary"])
    assert said.exit_code == 0
    assert "line 5: G65P9010A1: G65 isn't understood" in said.output
    for word in ("machine mc-rotary", "0 to 10", "900", "600", "tool changes (1)"):
        assert word in said.output
