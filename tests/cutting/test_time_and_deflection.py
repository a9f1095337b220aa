"""Seconds in the cut and the bent tool, by hand."""

from __future__ import annotations

import math

import pytest
from cutting_shop import tool

from palletwright.cutting import Conditions, deflection, hole_seconds, mill_seconds, point_length

C = Conditions(rpm=1000, feed=200, per_tooth=0.2, ap=4, ae=5, power_kw=1)


def test_drill_feeds_in_once():
    assert hole_seconds(C, 18, "drill") == pytest.approx(20 / 200 * 60)


def test_tap_comes_back_at_feed():
    assert hole_seconds(C, 18, "tap") == pytest.approx(2 * 6 + 0.6)


def test_pecks_cost_their_way_out_and_in():
    assert hole_seconds(C, 18, "drill", peck=6) == pytest.approx(6 + (2 * 8 / 250 + 0.3) + (2 * 14 / 250 + 0.3))


def test_mill_time_is_the_greater_of_volume_and_path():
    assert mill_seconds(4000, 10, C, overhead=1) == pytest.approx(60)
    assert mill_seconds(40, 400, C, passes=2, overhead=1) == pytest.approx(240)


@pytest.mark.parametrize(("angle", "share"), [(90, 0.5), (118, 0.300), (135, 0.207), (140, 0.182)])
def test_point_allowance(angle, share):
    # Point allowance table, geometry (trade tables give the same shares).
    assert point_length(10, angle) == pytest.approx(10 * share, abs=0.01)


def test_plain_rod_bends_by_the_cantilever_formula():
    t = tool("end_mill", 10, LCF=0.001, stick_out=50)
    inertia = math.pi * 10**4 / 64
    assert deflection(t, 300) == pytest.approx(300 * 50**3 / (3 * 6e5 * inertia), rel=1e-6)


def test_twice_the_stick_out_bends_eight_times():
    # "overhang ×2 → deflection ×8", Mitsubishi Materials training, length of cut.
    a, b = (deflection(tool("end_mill", 10, LCF=200, LU=200, stick_out=s), 100) for s in (40, 80))
    assert b / a == pytest.approx(8)


def test_steel_bends_more_than_carbide():
    a, b = (deflection(tool("end_mill", 10, carbide=c), 100) for c in (True, False))
    assert b / a == pytest.approx(6.0 / 2.1)
