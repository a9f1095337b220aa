"""A job fitted to its machine, and programs that ask what only the control knows."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from cycle_shop import machine
from test_write_safe import job, main_of

from palletwright.cycle import check_programs, for_machine, shipped_dialects, time_program, write_programs


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_offsets_count_from_the_top_of_z_and_axes_keep_their_travel(dialect: str) -> None:
    mill = machine()
    bare = replace(job(6), machine_zero=(0.0, 0.0, 0.0))
    assert check_programs(bare, write_programs(bare, dialect), dialect, travel=mill.travel) != ()
    made = for_machine(bare, mill)
    texts = write_programs(made, dialect)
    assert check_programs(made, texts, dialect, travel=mill.travel) == ()
    assert "X40. Y10. Z-500." in texts["1000_offsets.nc"], "200 mm over the table, 700 mm of Z"
    assert "MEASURE A MASTER POINT FIRST" in texts["1000.nc"]
    assert "1000_warm_up.nc" in texts
    assert for_machine(made, mill) == made


def test_a_setter_that_stands_nowhere_is_said() -> None:
    mill = machine().model_copy(update={"tool_setter": True})
    assert "OPTIONAL STOP AFTER THEIR RUN" in main_of(for_machine(job(3), mill), "rs274")
    placed = mill.model_copy(update={"setter_at": (-350.0, -200.0, -500.0)})
    main = main_of(for_machine(for_machine(job(3), placed), placed), "rs274")
    assert "G38.2" in main
    assert "OPTIONAL STOP AFTER THEIR RUN" not in main
    sturdy = replace(job(3), tools=tuple(replace(t, fragile=False) for t in job(3).tools))
    assert "OPTIONAL STOP AFTER THEIR RUN" not in main_of(for_machine(sturdy, mill), "rs274")


def test_the_rotary_axis_turns_as_the_shop_file_says() -> None:
    mill = machine()
    assert mill.rotary is not None
    rotary = mill.rotary.model_copy(update={"word": "B", "sign": -1, "zero": 30.0, "axis": "y"})
    made = for_machine(job(6), mill.model_copy(update={"rotary": rotary}))
    main = main_of(made, "rs274")
    assert "G0 B30." in main
    assert "G0 B-60." in main
    assert made.axis == (0.0, 1.0, 0.0)
    assert check_programs(made, write_programs(made, "rs274"), "rs274") == ()


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_what_only_the_control_knows_is_named_and_left_out(dialect: str, tmp_path: Path) -> None:
    file = tmp_path / "p.nc"
    file.write_text(main_of(for_machine(job(3), machine()), dialect))
    answer = time_program(file, machine())
    assert answer["unknown"] == []
    variable = "#5403" if dialect == "rs274" else "#2003"
    assert any(f"asks the control's variable {variable}" in note for note in answer["notes"])
    assert [t["number"] for t in answer["tools"] if t["cut_seconds"] > 0] == [3, 7]


def test_a_loop_on_an_unknown_variable_ends(tmp_path: Path) -> None:
    file = tmp_path / "p.nc"
    file.write_text("G21 G90 T1 M6\nN10 G0 X1\nG1 X2 F100\nIF [#5003 GT 1] GOTO 10\nM30\n")
    answer = time_program(file)
    assert answer["unknown"] == []
    assert answer["tools"][0]["cut_mm"] == pytest.approx(1.0)
