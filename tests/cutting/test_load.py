"""Loads: closed forms in their limits, laws, and what is added for wear and break-through."""

from __future__ import annotations

import math

import pytest
from cutting_shop import machine, tool
from hypothesis import given
from hypothesis import strategies as st

from palletwright.cutting import Conditions, conditions_for, load_of
from palletwright.cutting.milling import axial_ratio, engagement, mean_chip, peak


def conditions(**more: float) -> Conditions:
    return Conditions(**({"rpm": 3000, "feed": 720, "per_tooth": 0.06, "ap": 5.0, "ae": 2.0, "power_kw": 1.0} | more))


def test_straight_single_tooth_peaks_where_it_leaves():
    top = peak(1500, 0.22, 0.1, ap=4, ae=3, diameter=20, edges=1, helix=0)
    h = 0.1 * math.sin(math.acos(1 - 2 * 3 / 20))
    assert top.tangential == pytest.approx(1500 * 4 * h**0.78, rel=1e-9)
    assert top.side == pytest.approx(top.tangential * math.hypot(1, 0.5), rel=1e-9)


def test_straight_slot_with_four_teeth_sums_two_edges():
    top = peak(1500, 0.2, 0.1, ap=2, ae=20, diameter=20, edges=4, helix=0)
    by_hand = max(
        sum(1500 * 2 * (0.1 * math.sin(p)) ** 0.8 for p in (a, a + math.pi / 2) if math.sin(p) > 0)
        for a in [i * math.pi / 2000 for i in range(1000)]
    )
    assert top.tangential == pytest.approx(by_hand, rel=1e-3)


@given(ae=st.floats(0.2, 20), ap=st.floats(0.2, 30), helix=st.floats(1, 50), edges=st.integers(1, 6))
def test_helix_never_raises_the_peak_and_width_never_lowers_it(ae, ap, helix, edges):
    straight = peak(1500, 0.22, 0.08, ap, ae, 20, edges, 0)
    leaning = peak(1500, 0.22, 0.08, ap, ae, 20, edges, helix)
    assert leaning.tangential <= straight.tangential * 1.005
    assert peak(1500, 0.22, 0.08, ap, min(20, ae * 1.3), 20, edges, 0).tangential >= straight.tangential * 0.995


def test_mean_chip_is_the_mean_of_the_arc():
    arc = engagement(6, 20)
    mean = sum(math.sin(arc * (i + 0.5) / 5000) for i in range(5000)) / 5000 * 0.1
    assert mean_chip(0.1, 6, 20) == pytest.approx(mean, rel=1e-6)


def test_mill_load_has_torque_of_its_tangential_force(steel):
    c = conditions()
    got = load_of(tool("end_mill", 16, ZEFP=4, helix=0), steel, c, "rough")
    top = peak(steel.kc11, steel.mc, 0.06, 5, 2, 16, 4, 0)
    assert got.torque == pytest.approx(1.3 * top.tangential * 16 / 2000)
    assert got.pull == 0
    assert got.spread == 0.15


def test_helix_pulls_the_part_towards_the_spindle(steel):
    pulls = [
        load_of(tool("end_mill", 16, ZEFP=4, helix=h), steel, conditions(ap=0.01), "rough").pull for h in (10, 30, 45)
    ]
    assert pulls[0] < pulls[1] < pulls[2]
    assert axial_ratio(30) == pytest.approx(0.371, abs=0.001)  # by hand from the formula in its docstring


def test_break_through_grabs_and_a_blind_hole_does_not(steel):
    t = tool("drill", 10, carbide=False, ZEFP=2, SIG=118)
    c = conditions_for(t, steel, machine(), "drill")
    blind, through = (load_of(t, steel, c, "drill", through=b) for b in (False, True))
    assert through.torque == pytest.approx(1.5 * blind.torque)
    assert through.pull == pytest.approx(4 * blind.pull)
    assert through.push == blind.push


def test_interrupted_cut_is_a_fifth_heavier(steel):
    t, c = tool("face_mill", 50, ZEFP=5), conditions(ae=35)
    plain, gaps = (load_of(t, steel, c, "face", interrupted=b) for b in (False, True))
    assert (gaps.side / plain.side, gaps.torque / plain.torque) == pytest.approx((1.2, 1.2))
    assert "interrupted" in gaps.source


def test_counterbore_takes_its_ring_only(steel):
    t = tool("counterbore", 15, ZEFP=2)
    ring, full = (load_of(t, steel, conditions(per_tooth=0.1, ae=w), "counterbore") for w in (3.0, 7.5))
    assert ring.torque / full.torque == pytest.approx((15**2 - 9**2) / 15**2)


def test_reamer_turns_lighter_than_a_drill(steel):
    ream = load_of(tool("reamer", 10, ZEFP=6), steel, conditions(per_tooth=0.3, ae=0.15), "ream")
    drill = load_of(tool("drill", 10, ZEFP=2), steel, conditions(per_tooth=0.3), "drill")
    assert 0 < ream.torque < drill.torque / 3


def test_end_mill_in_a_counterbore_cuts_sideways(steel):
    assert load_of(tool("end_mill", 10, ZEFP=4), steel, conditions(), "counterbore").side > 0
