"""The program package: every visit in the plan's order at its station's zero, read back; never faster than checked."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from palletwright.cycle import check_programs, shipped_dialects, write_programs
from palletwright.cycle.model import Visit
from palletwright.errors import InputError
from palletwright.papers import programs
from palletwright.papers.facts import quarter_turn, zero_at
from palletwright.papers.programs import package, program_job
from palletwright.plan.cycles import Asked


@pytest.fixture
def rebuilt(given, live, monkeypatch):
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
    monkeypatch.setattr(programs, "standings", lambda *a: [])
    monkeypatch.setattr(programs, "asked", lambda *a: Asked(made, {}, 400.0, []))
    monkeypatch.setattr(programs, "programs_of", lambda *a: {})
    monkeypatch.setattr(programs, "fragile", lambda *a: False)
    return SimpleNamespace(context=None, options=live.options), made


def test_both_dialects_are_written_and_read_back(given, rebuilt):
    live, _ = rebuilt
    made = package(given, 0, live)
    assert set(made.offsets) == set(shipped_dialects()) == {"rs274", "word_address"}
    for name in shipped_dialects():
        text = made.files[f"{name}/1000.nc"]
        assert given.identity.upper() in text.upper()
        assert "SINGLE BLOCK" in text
        offsets = made.files[f"{name}/1000_offsets.nc"]
        zero = zero_at(given.stations(0)[1], given.mounts(0)["fixed"], 0.0)
        assert made.offsets[name][1] in offsets
        assert f"X{zero[0]:.3f}".rstrip("0") in offsets


def test_a_station_turned_half_round_shares_its_cut(given, rebuilt):
    """10.1 and 10.2 differ by 180 degrees: one cut, two places."""
    live, _ = rebuilt
    job = program_job(given, 0, live)
    cuts = {job.places[s.place].station: s.cut for s in job.steps}
    assert cuts["10.1"] == cuts["10.2"]
    assert job.cuts[cuts["10.1"]][0] == "G0 X10.000 Y0.000"


def test_the_order_is_the_plans(given, rebuilt):
    live, _ = rebuilt
    job = program_job(given, 0, live)
    plan = [e["station"] for e in given.events(0) if e["what"] == "cut"]
    assert [job.places[s.place].station for s in job.steps] == plan


def test_a_wrong_text_is_caught(given, rebuilt):
    live, _ = rebuilt
    job = program_job(given, 0, live)
    texts = write_programs(job, "rs274")
    assert check_programs(job, texts, "rs274") == ()
    texts["1000.nc"] = texts["1000.nc"].replace("Z5.000", "Z4.000")
    assert check_programs(job, texts, "rs274")


def test_a_visit_that_the_plan_does_not_know_stops_the_package(given, rebuilt, monkeypatch):
    live, made = rebuilt
    others = [replace(made[0], id="other"), *made[1:]]
    monkeypatch.setattr(programs, "asked", lambda *a: Asked(others, {}, 400.0, []))
    with pytest.raises(InputError, match="aren't those of the plan"):
        package(given, 0, live)


def test_a_tool_runs_at_its_slowest_cut(given, rebuilt):
    live, _ = rebuilt
    option = live.options[0]
    slow = SimpleNamespace(tool=37, conditions=SimpleNamespace(rpm=3000.0, feed=500.0))
    both = SimpleNamespace(options={0: SimpleNamespace(grip=option.grip, cuts=(*option.cuts, slow))}, context=None)
    both.options[1] = option
    line = program_job(given, 0, both).tools[0]
    assert (line.speed, line.feed) == (3000.0, 500.0)
