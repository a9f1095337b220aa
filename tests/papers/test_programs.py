"""The program package: every visit in the plan's order at its station's zero, read back; never faster than checked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from palletwright.cycle import check_programs, shipped_dialects, write_programs
from palletwright.cycle.model import Visit
from palletwright.errors import InputError
from palletwright.papers.facts import quarter_turn, zero_at
from palletwright.papers.programs import package, program_job
from palletwright.plan.kept import Visited


@pytest.fixture
def visited(given, live):
    """Visits made by hand: each station drilled 10 mm off its zero along its own x, from 30 down to 5 mm."""
    mounts = given.mounts(0)
    made = []
    for s in given.stations(0):
        angle = s.angles[0]
        turn = quarter_turn(s, mounts[s.mount], angle)
        along = np.array([np.cos(np.pi / 2 * turn), np.sin(np.pi / 2 * turn), 0.0])
        foot = zero_at(s, mounts[s.mount], angle) + 10.0 * along
        start, end = (tuple(float(v) for v in foot + np.array([0.0, 0.0, z])) for z in (30.0, 5.0))
        name = f"{s.name}|0|hole-1/drill/T37"
        made.append(Visit(name, 37, s.mount, angle, s.name, "hole-1", "drill", s.operation, start, end, 10.0))
    return _visiting(live, made), made


def _visiting(live, made):
    """The papers' grips with these visits in the one cycle."""
    return replace(live, kept=replace(live.kept, cycles=(Visited(tuple(made), {}, 400.0),)))


def test_both_dialects_are_written_and_read_back(given, visited):
    live, _ = visited
    made = package(given, 0, live)
    assert set(made.offsets) == set(shipped_dialects()) == {"rs274", "word_address"}
    for name in shipped_dialects():
        text = made.files[f"{name}/1000.nc"]
        assert given.identity.upper() in text.upper()
        assert "SINGLE BLOCK" in text
        offsets = made.files[f"{name}/1000_offsets.nc"]
        zero = zero_at(given.stations(0)[1], given.mounts(0)["fixed"], 0.0)
        assert made.offsets[name][1] in offsets
        assert f"X[{zero[0]:.3f}".rstrip("0") in offsets
        assert "SERIAL OF THE CARRIER ON FIXED, READ OFF IT: 1" in text
        assert "UNKNOWN CARRIER" in text


def test_a_station_turned_half_round_shares_its_cut(given, visited):
    """10.1 and 10.2 differ by 180 degrees: one cut, two places."""
    live, _ = visited
    job = program_job(given, 0, live)
    cuts = {job.places[s.place].station: s.cut for s in job.steps}
    assert cuts["10.1"] == cuts["10.2"]
    assert job.cuts[cuts["10.1"]][0] == "G0 X10.000 Y0.000"


def test_the_order_is_the_plans(given, visited):
    live, _ = visited
    job = program_job(given, 0, live)
    plan = [e["station"] for e in given.events(0) if e["what"] == "cut"]
    assert [job.places[s.place].station for s in job.steps] == plan


def test_a_wrong_text_is_caught(given, visited):
    live, _ = visited
    job = program_job(given, 0, live)
    texts = write_programs(job, "rs274")
    assert check_programs(job, texts, "rs274") == ()
    texts["1000.nc"] = texts["1000.nc"].replace("Z5.000", "Z4.000")
    assert check_programs(job, texts, "rs274")


def test_a_visit_that_the_plan_does_not_know_stops_the_package(given, visited):
    live, made = visited
    others = [replace(made[0], id="other"), *made[1:]]
    with pytest.raises(InputError, match="aren't those of the plan"):
        package(given, 0, _visiting(live, others))


def test_a_tool_runs_at_its_slowest_cut(given, visited):
    live, _ = visited
    held = live.options[0]
    drilled = held.cuts[0]
    slow = replace(drilled, conditions=replace(drilled.conditions, rpm=3000.0, feed=500.0))
    kept = replace(live.kept, operations={0: replace(held, cuts=(drilled, slow)), 1: held})
    line = program_job(given, 0, replace(live, kept=kept)).tools[0]
    assert (line.speed, line.feed) == (3000.0, 500.0)
