"""Edges over many starts: sisters take over when due, no start is begun with none left, a restart doesn't count."""

from __future__ import annotations

from dataclasses import replace

import pytest
from independent import feeds
from test_write_safe import LENGTHS, TOOLS, job, main_of

from palletwright.cycle import ProgramJob, check_programs, shipped_dialects, write_programs
from palletwright.cycle.modal_state import Habits, start_state
from palletwright.cycle.motion import Axes
from palletwright.cycle.program_time import Run
from palletwright.cycle.totals import Totals
from palletwright.cycle.trace import trace
from palletwright.errors import InputError

ALL = {**LENGTHS, 13: 120.0, 14: 120.0}


def counting(**more: object) -> ProgramJob:
    """T3 with two sisters, four starts each; T7 alone for nine."""
    tools = (replace(TOOLS[0], sisters=(13, 14), starts=4), replace(TOOLS[1], starts=9))
    return replace(job(3), tools=tools, **more)  # type: ignore[arg-type]


def run(text: str, kept: dict[int, float]) -> tuple[set[int], dict[int, float], bool]:
    """Tools that cut, the counts afterwards, and whether an alarm came."""
    tools = {s.tool for s in trace(text, ALL, kept=kept)[0] if not s.rapid}
    state = start_state(Totals(Axes((1.0,) * 3, (1.0,) * 3), 0.01), Habits(lambda turn: 0.0, 0.0, 1.0, 0.0), None)
    ran = Run(text.splitlines(), state, False)
    ran.variables.values |= {f"{n}": v for n, v in kept.items()}
    ran.to_the_end()
    values = ran.variables.values
    return tools, {n: values[f"{n}"] for n in kept}, "3000" in values


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_sisters_take_their_turn_start_after_start(dialect: str) -> None:
    text, kept, drills = main_of(counting(), dialect), {900: 0.0, 901: 0.0}, []
    for _ in range(9):
        tools, kept, _ = run(text, kept)
        drills += sorted(tools - {7})
    assert drills == [3] * 4 + [13] * 4 + [14]
    assert kept == {900: 9.0, 901: 9.0}


def test_no_start_is_begun_without_an_edge_that_can_finish_it() -> None:
    text = main_of(counting(), "word_address")
    assert [run(text, {900: 11.0, 901: n})[2] for n in (8.0, 9.0)] == [False, True]
    assert [run(text, {900: n, 901: 0.0})[2] for n in (11.0, 12.0)] == [False, True]
    other = main_of(counting(), "rs274")
    assert "(ABORT, T3: FRESH EDGES ARE DUE)" in other
    assert "if [#900 GE 12]" in other


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_a_restart_is_the_same_start(dialect: str) -> None:
    text = main_of(counting(), dialect).replace("#500 = 1", "#500 = 2")
    assert run(text, {900: 3.0, 901: 3.0})[1] == {900: 3.0, 901: 3.0}


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_two_edges_a_start_go_in_pairs(dialect: str) -> None:
    steps = tuple(replace(s, edge=min(k, 1)) if s.tool == 3 else s for k, s in enumerate(job(3).steps))
    tools = (replace(TOOLS[0], sisters=(13, 14, 15), starts=1), TOOLS[1])
    made = replace(job(3), tools=tools, steps=steps)
    text = main_of(made, dialect)
    assert [sorted(run(text, {900: n})[0] - {7}) for n in (0.0, 1.0)] == [[3, 13], [14, 15]]
    assert check_programs(made, write_programs(made, dialect), dialect) == ()


@pytest.mark.parametrize("dialect", shipped_dialects())
def test_fresh_edges_begin_the_counts_again(dialect: str) -> None:
    made = counting()
    texts = write_programs(made, dialect)
    assert check_programs(made, texts, dialect) == ()
    assert run(texts["1000_fresh_edges.nc"], {900: 7.0, 901: 3.0})[1] == {900: 0.0, 901: 0.0}
    assert "1000_fresh_edges.nc" not in write_programs(job(3), dialect)


def test_an_independent_interpreter_counts_as_we_do(tmp_path) -> None:  # type: ignore[no-untyped-def]
    text = main_of(counting(), "rs274")
    for start, drill in ((0, 3), (4, 13), (9, 14)):
        begun = text.replace("#500 = 1", f"#900 = {start}\n#901 = 0\n#500 = 1", 1)
        assert len(feeds(begun, ALL, tmp_path)) == len([s for s in trace(begun, ALL)[0] if not s.rapid])
        told = (tmp_path / "out.txt").read_text()
        assert f"SELECT_TOOL({drill})" in told
        assert not any(f"SELECT_TOOL({n})" in told for n in {3, 13, 14} - {drill})


def test_what_a_program_has_no_variables_for_is_refused() -> None:
    with pytest.raises(InputError, match="lasts less than a start"):
        replace(job(1), tools=(replace(TOOLS[0], starts=0), TOOLS[1]))
    places = tuple(replace(job(1).places[0], station=f"S{k}") for k in range(301))
    with pytest.raises(InputError, match="too many stations; allowed: at most 300"):
        replace(job(1), places=places)
