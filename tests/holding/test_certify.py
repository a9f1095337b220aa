"""A grip under its cuts: regimes, floors, names of the worst load, devices, advice that is verified."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from palletwright.cutting.model import Load
from palletwright.grip.model import Contact, Grip
from palletwright.holding import certify, floor_of, loads_of
from palletwright.holding.friction import friction_factors
from palletwright.holding.loads import StationCut, extreme_tips, undominated
from palletwright.shop.model import Clamp, Floors

UP = (0.0, 0.0, 1.0)
FIELD = np.array([(x, y, 45.0) for x in (15, 50, 85) for y in (15, 40, 65)])
MILL = Load(200, 30, 80, 1.5, 0.15, "test")
CLAMP = Clamp(
    id="edge", kind="edge", footprint=(12, 20), height=15, reach_height=8, stroke=1, force=4000, screw="M8", torque=15
)


def grip(regime: str = "stop", preload: float = 4000.0, raw: bool = False) -> Grip:
    rows = [
        ("locator", (10, 10, 0), UP), ("locator", (90, 10, 0), UP), ("locator", (50, 70, 0), UP),
        ("locator", (20, 0, 25), (0, 1, 0)), ("locator", (80, 0, 25), (0, 1, 0)), ("locator", (0, 40, 25), (1, 0, 0)),
        ("clamp", (50, 80, 25), (0, -1, 0)), ("clamp", (100, 40, 25), (-1, 0, 0)),
        ("clamp", (30, 40, 50), (0, 0, -1)), ("clamp", (70, 40, 50), (0, 0, -1)),
    ]  # fmt: skip
    contacts = tuple(
        Contact(f"C{i}", k, at, n, (0.1, 0.15), preload=preload if k == "clamp" else 0, device="edge", raw=raw)
        for i, (k, at, n) in enumerate(rows)
    )
    return Grip("block", "edge", np.eye(4)[None], contacts, (), regime, 4, 0.0, 0.0)


def certified(g: Grip, *cuts: StationCut, **more: object):
    rows = cuts or (StationCut("pocket/rough/T3", FIELD, UP, MILL),)
    return certify(g, rows, mass_kg=1.0, floors=Floors(), **more)


def test_floor_follows_the_regime_and_the_surface():
    assert floor_of(grip("stop"), Floors()) == 2.0
    assert floor_of(grip("friction"), Floors()) == 2.5
    assert floor_of(grip("friction", raw=True), Floors()) == pytest.approx(3.0)


def test_report_names_the_cut_the_corner_and_the_direction():
    got = certified(grip())
    assert got.worst_load.startswith("pocket/rough/T3 at (")
    assert "towards" in got.worst_load
    assert got.holding_factor == min(got.friction_factor, got.elastic_factor)
    assert got.located
    assert got.margins[0].check == "holding"
    assert got.margins[0].have == got.holding_factor
    assert got.passed == (got.holding_factor >= 2.0)


def test_friction_factor_is_that_of_all_loads_with_the_preload_down_by_a_third():
    from palletwright.holding.contacts import contacts_of, wrench

    g, cut = grip(), StationCut("a", FIELD, UP, MILL)
    contacts = contacts_of(g.contacts, clamp_friction=False)
    contacts = replace(contacts, preload=0.7 * contacts.preload)
    weight = wrench(np.array([50.0, 40, 25]), np.array([0, 0, -9.80665]), np.zeros(3))
    exact = friction_factors(contacts, loads_of([cut]).wrenches, weight).factor.min()
    assert certified(g, cut).friction_factor == pytest.approx(exact, rel=1e-5)


def test_more_cuts_never_raise_the_factor_and_heavier_ones_lower_it():
    light = StationCut("light", FIELD, UP, replace(MILL, side=50, push=10, pull=20))
    one = certified(grip(), light).holding_factor
    both = certified(grip(), light, StationCut("heavy", FIELD, UP, MILL)).holding_factor
    assert both < one


def test_a_covered_cut_is_left_out_and_another_kept():
    big = StationCut("big", FIELD, UP, MILL)
    small = StationCut("small", FIELD[4:5], UP, replace(MILL, side=100))
    outside = StationCut("outside", np.add(FIELD[4:5], (60, 0, 0)), UP, replace(MILL, side=100))
    aside = StationCut("aside", FIELD[4:5], (0.0, 1.0, 0.0), replace(MILL, side=100))
    assert [c.name for c in undominated([small, big, outside, aside])] == ["big", "outside", "aside"]


def test_extreme_tips_hold_every_tip():
    rng = np.random.default_rng(2)
    tips = rng.uniform(-50, 50, (300, 3))
    corners = extreme_tips(tips, np.array(UP))
    assert len(corners) <= 12
    assert (corners.min(axis=0) <= tips.min(axis=0) + 1e-5).all()
    assert (corners.max(axis=0) >= tips.max(axis=0) - 1e-5).all()


def test_side_pushes_stand_outside_the_circle_of_the_true_push():
    loads = loads_of([StationCut("a", FIELD[:1], UP, MILL)], with_spread=False)
    flat = np.unique(np.round(loads.force[:, :2], 6), axis=0)
    for angle in np.linspace(0, 2 * np.pi, 50):
        way = np.array([np.cos(angle), np.sin(angle)])
        assert (flat @ way).max() >= MILL.side - 1e-6


def test_missed_floor_comes_with_changes_that_reach_it():
    got = certified(grip(preload=900.0), clamps=[CLAMP])
    assert not got.passed
    smaller = next(r for r in got.reasons if r.about == "smaller cut")
    scaled = Load(*(v * smaller.amount * 0.999 for v in (200, 30, 80, 1.5)), 0.15, "test")
    assert certified(grip(preload=900.0), StationCut("a", FIELD, UP, scaled)).holding_factor >= 1.98
    torque = next(r for r in got.reasons if r.about == "more torque")
    assert certified(grip(preload=900.0 * torque.amount)).holding_factor >= 2.0 * (1 - 1e-3)


def test_screw_past_its_proof_load_and_marks_fail():
    strong = CLAMP.model_copy(update={"torque": 60.0})
    got = certified(grip(), clamps=[strong], yield_strength=90.0)
    failed = {m.check for m in got.margins if not m.passed}
    assert {"screw proof load", "marks"} <= failed


def test_part_that_would_fall_out_at_an_index_angle_fails():
    loose = replace(grip("stop"), contacts=tuple(replace(c, preload=0.0) for c in grip().contacts))
    got = certified(loose, gravity_directions=[(0, 0, 1)])
    assert got.holding_factor == 0
    assert "falls out" in got.gives_first


def test_search_without_extras_gives_the_same_factor():
    full, bare = certified(grip()), certified(grip(), advice=False, least=False)
    assert bare.holding_factor == full.holding_factor
    assert (bare.least_preload, len(full.least_preload)) == ((), 4)


def test_least_preload_covers_the_drop_and_the_floor():
    least = certified(grip()).least_preload
    contacts = list(grip().contacts)
    for i, p in enumerate(least):
        contacts[6 + i] = replace(contacts[6 + i], preload=p)
    assert certified(replace(grip(), contacts=tuple(contacts))).friction_factor == pytest.approx(2.0, rel=2e-3)


def jaws(preload: float) -> Grip:
    """A block between jaws: two contacts on the fixed one, two on the other, three rests, an end stop at −x."""
    rows = [
        ("locator", (10, 10, 0), UP), ("locator", (90, 10, 0), UP), ("locator", (50, 70, 0), UP),
        ("locator", (20, 0, 25), (0, 1, 0)), ("locator", (80, 0, 25), (0, 1, 0)), ("locator", (0, 40, 25), (1, 0, 0)),
        ("clamp", (20, 80, 25), (0, -1, 0)), ("clamp", (80, 80, 25), (0, -1, 0)),
    ]  # fmt: skip
    contacts = tuple(
        Contact(f"J{i}", k, at, n, (0.1, 0.15), preload=preload if k == "clamp" else 0)
        for i, (k, at, n) in enumerate(rows)
    )
    return Grip("jaws", "jaw", np.eye(4)[None], contacts, (), "friction", 1, 0.0, 0.0)


def test_friction_grip_is_told_to_use_serrated_faces():
    push = StationCut("bore/drill/T1", FIELD[4:5], UP, Load(0, 100, 200, 0.5, 0.15, "test"))
    failing, strong = certified(jaws(1900), push), certified(jaws(6000), push)
    assert strong.passed
    assert not failing.passed
    told = next(r for r in failing.reasons if r.about == "serrated gripper")
    better = tuple(
        replace(c, friction=(0.2, 0.2)) if c.id in ("J3", "J4", "J6", "J7") else c for c in jaws(1900).contacts
    )
    assert certified(replace(jaws(1900), contacts=better), push).holding_factor >= 2.5 * (1 - 1e-3)
    assert "0.2" in told.text
    assert not any(r.about == "a stop" for r in failing.reasons)  # the pull goes to the spindle


def test_a_round_part_is_located_though_its_turn_is_free_and_others_are_not():
    full = grip("friction")
    free = replace(full, contacts=tuple(c for c in full.contacts if c.id != "C4"))
    assert certified(free).rank == 5
    assert not certified(free).located
    alike = certified(replace(free, unlocated=("turn about z",)))
    assert alike.located
    assert alike.rank == 5
