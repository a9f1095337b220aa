"""Conditions: formulas, limits and what is reduced for them."""

from __future__ import annotations

import math

import pytest
from cutting_shop import machine, tool

from palletwright.cutting import conditions_for


def test_speed_and_feed_follow_the_data(steel):
    c = conditions_for(tool("end_mill", 10, ZEFP=4), steel, machine(), "rough", ap=5, ae=2)
    assert c.rpm == pytest.approx(1000 * 160 / (math.pi * 10))
    assert c.feed == pytest.approx(c.rpm * 4 * 0.06)
    assert c.limited_by == "tool data"
    assert (c.ap, c.ae) == (5, 2)


def test_small_cutter_runs_into_the_spindle_speed(aluminium):
    c = conditions_for(tool("end_mill", 4, ZEFP=2), aluminium, machine(), "rough", ap=2, ae=1)
    assert (c.rpm, c.limited_by) == (10000, "speed")
    assert c.feed == pytest.approx(10000 * 2 * 0.08 * 0.4)


def test_weak_spindle_gets_a_shallower_cut_that_it_can_drive(steel):
    strong, weak = machine(spindle_power=50, spindle_torque=500), machine(spindle_power=6, spindle_torque=500)
    t = tool("end_mill", 16, ZEFP=4)
    full, less = (conditions_for(t, steel, m, "rough", ae=16) for m in (strong, weak))
    assert less.limited_by == "power"
    assert less.ap < full.ap
    assert less.feed == pytest.approx(full.feed)
    assert less.power_kw == pytest.approx(6 * 0.75 / 1.3, rel=1e-6)


def test_what_is_asked_is_kept_and_the_feed_gives_way(steel):
    c = conditions_for(tool("end_mill", 20, ZEFP=4), steel, machine(spindle_power=1.5), "rough", ap=30, ae=20)
    assert (c.ap, c.ae) == (30, 20)
    assert c.power_kw <= 1.5 * 0.75 / 1.3 * (1 + 1e-9)
    assert c.limited_by in ("power", "torque")


def test_torque_limits_a_big_drill(steel):
    m = machine(spindle_torque=20, spindle_power=100)
    c = conditions_for(tool("drill", 25, ZEFP=2), steel, m, "drill")
    assert c.limited_by == "torque"
    assert c.power_kw * 3e4 / (math.pi * c.rpm) <= 20 / 1.3 * (1 + 1e-9)


def test_deep_hole_is_drilled_slower(steel):
    t = tool("drill", 8, carbide=False, ZEFP=2)
    flat, deep = (conditions_for(t, steel, machine(), "drill", depth=d) for d in (16, 44))
    assert deep.rpm == pytest.approx(0.7 * flat.rpm)
    assert deep.per_tooth == pytest.approx(0.8 * flat.per_tooth)
    assert (flat.limited_by, deep.limited_by) == ("tool data", "depth")


def test_long_stick_out_cuts_less(steel):
    short, long = (
        conditions_for(tool("end_mill", 10, ZEFP=4, stick_out=s), steel, machine(), "rough") for s in (40, 60)
    )
    assert long.ap == pytest.approx(short.ap * (4 / 6) ** 2)
    assert long.limited_by == "stick-out"


def test_tap_feeds_its_pitch(steel):
    c = conditions_for(tool("tap", 8, TP=1.25), steel, machine(), "tap")
    assert c.feed == pytest.approx(1.25 * c.rpm)


def test_tapping_with_a_tool_without_pitch_is_refused(steel):
    with pytest.raises(ValueError, match="TP \\(pitch\\) is missing"):
        conditions_for(tool("drill", 8), steel, machine(), "tap")
