"""What the machine's motions ask, what to set at each clamp, and changes with their money; worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from palletwright.cutting.model import Load
from palletwright.grip.model import Contact, Grip
from palletwright.holding import Motion, Prices, StationCut, bearable, certify, hold, motions, prices_of
from palletwright.holding.bolts import proof_load
from palletwright.holding.moves import TURNING, index_acceleration
from palletwright.shop import example_shop
from palletwright.shop.model import Clamp, Floors

SHOP = example_shop()
ROTARY = next(m for m in SHOP.machines if m.rotary is not None)
UP = (0.0, 0.0, 1.0)
STRAP = Clamp(
    id="strap", kind="strap", footprint=(12, 20), height=15, reach_height=8, stroke=1, force=4000, screw="M8",
    torque=15, price=18,
)  # fmt: skip
HOLE = np.array([[50.0, 40.0, 10.0], [50.0, 40.0, 50.0]])
DRILL = StationCut("hole/drill/T1", HOLE, UP, Load(0, 800, 300, 3.0, 0.15, "test"))


def under_straps(preload: float = 4000.0, regime: str = "stop") -> Grip:
    rows = [
        ("locator", (10, 10, 0), UP), ("locator", (90, 10, 0), UP), ("locator", (50, 70, 0), UP),
        ("locator", (20, 0, 25), (0, 1, 0)), ("locator", (80, 0, 25), (0, 1, 0)), ("locator", (0, 40, 25), (1, 0, 0)),
        ("clamp", (50, 80, 25), (0, -1, 0)), ("clamp", (100, 40, 25), (-1, 0, 0)), ("clamp", (50, 40, 50), (0, 0, -1)),
    ]  # fmt: skip
    contacts = tuple(
        Contact(f"C{i}", k, at, n, (0.1, 0.15), preload=preload if k == "clamp" else 0.0, device=f"{k}{i}")
        for i, (k, at, n) in enumerate(rows)
    )
    return Grip("block", "strap", np.eye(4)[None], contacts, (), regime, 3, 0.0, 0.0)


def named(grip: Grip) -> Grip:
    """Every clamp is the shop's strap."""
    return replace(grip, contacts=tuple(replace(c, device="strap") if c.id == "C8" else c for c in grip.contacts))


def test_index_acceleration_by_hand():
    """90° in t with one ramp up and one down: α = 2π/t², ω = π/t; at r: r·√(α² + ω⁴)."""
    t = TURNING * ROTARY.rotary.index_time
    want = 0.15 * math.hypot(2 * math.pi / t**2, (math.pi / t) ** 2)
    assert index_acceleration(ROTARY.rotary, 150.0) == pytest.approx(want)


def test_a_part_on_a_turning_axis_feels_gravity_from_all_sides_and_never_less_than_it_should():
    felt = motions(ROTARY, UP, (1.0, 0.0, 0.0), 175.0)
    index = np.array([m.felt for m in felt if m.name == "index"])
    assert np.allclose(index[:, 0], 0.0)
    size = 9.80665 + index_acceleration(ROTARY.rotary, 175.0)
    for a in np.linspace(0, 2 * math.pi, 37):
        assert (index @ np.array([0.0, math.cos(a), math.sin(a)])).max() >= size - 1e-9
    on_table = np.array([m.felt for m in motions(ROTARY, UP, None)])
    assert np.allclose(on_table[:, 2], -9.80665)
    assert np.hypot(on_table[:, 0], on_table[:, 1]).min() >= math.hypot(*ROTARY.acceleration[:2])


def test_the_moving_margin_is_the_friction_factor_of_the_weight_alone():
    """One strap of P on the table, µ at the table only: µ·0.7·P over m·a sideways, no weight."""
    contacts = tuple(c for c in under_straps().contacts if c.id in ("C0", "C1", "C2", "C8"))
    grip = replace(under_straps(), contacts=contacts)
    got = certify(
        grip, [DRILL], mass_kg=200.0, floors=Floors(), motions=[Motion("table", (5.0, 0.0, 0.0))], advice=False
    )
    moving = next(m for m in got.margins if m.check == "moving")
    # The weight's push at half height tilts the part: µ·Σ normal stays µ·0.7·P while all three rests press.
    assert moving.have == pytest.approx(0.1 * 0.7 * 4000 / (200 * 5.0), rel=1e-3)
    assert (moving.need, moving.obstacle, moving.passed) == (2.0, "table", False)
    assert not got.passed


def test_motion_of_the_part_at_the_tool_is_that_of_its_springs():
    """A push along a rest's normal at its very place: 1/k of the three rests under their middle."""
    grip = under_straps()
    middle = np.array([[50.0, 30.0, 50.0]])
    push = StationCut("push", middle, UP, Load(0, 900, 0.0, 0.0, 0.0, "test"))
    got = certify(grip, [push], mass_kg=0.0, floors=Floors(), advice=False, details=True)
    # Rests of 2e5 N/mm each at their common middle and the strap's spring of 5e4, all along z; the walls slide.
    assert 900 / (3 * 2e5 + 5e4 + 6 * 0.82 * 2e5) < got.at_tool["mm"] < 900 / (3 * 2e5)
    assert got.at_tool["load"].startswith("push at")


def test_the_window_ends_where_the_part_slides_and_where_the_screw_or_the_part_gives():
    pull = StationCut("pull", HOLE, UP, Load(0, 100, 500, 0.0, 0.0, "test"))
    common = {"mass_kg": 0.0, "floors": Floors(), "clamps": [STRAP], "advice": False, "details": True}
    window, *others = certify(named(under_straps()), [pull], yield_strength=400.0, **common).windows
    assert [(w.clamp, w.unit, w.set, w.gives) for w in others] == [
        ("clamp6", "kN", 4.0, math.inf),
        ("clamp7", "kN", 4.0, math.inf),
    ]
    assert window.set == pytest.approx(15.0)
    scattered = 1.3 * 15000 / (0.2 * 8)
    assert window.gives == pytest.approx(15.0 * min(proof_load("M8") / scattered, 400.0 * 12 * 3 / (1.3 * 4000)))
    share = window.slides / 15.0
    weak = named(under_straps(4000.0 * share))
    assert certify(weak, [pull], **(common | {"details": False})).holding_factor >= 2.0 * (1 - 1e-3)
    weaker = named(under_straps(4000.0 * (share - 0.02)))
    assert certify(weaker, [pull], **(common | {"details": False})).holding_factor < 2.0
    soft, *_ = certify(named(under_straps()), [pull], yield_strength=90.0, **common).windows
    assert soft.by == "marks the part"
    assert soft.gives == pytest.approx(15.0 * 90.0 * 36.0 / (1.3 * 4000))


def test_a_clamp_driven_by_pressure_has_its_own_drop_and_no_screw_to_fail():
    oil = STRAP.model_copy(update={"pressure": 70.0, "pressure_drop": 0.1})
    pull = StationCut("pull", HOLE, UP, Load(0, 100, 500, 0.0, 0.0, "test"))
    common = {"mass_kg": 0.0, "floors": Floors(), "yield_strength": 400.0, "advice": False}
    # Only the strap resists the pull here: friction has no part in regime 'stop' along z but at the stops.
    contacts = tuple(c for c in named(under_straps()).contacts if c.id in ("C0", "C1", "C2", "C8"))
    grip = replace(under_straps(), contacts=contacts)
    by_screw = certify(grip, [pull], clamps=[STRAP], **common)
    by_oil = certify(grip, [pull], clamps=[oil], details=True, **common)
    assert by_screw.friction_factor == pytest.approx(0.7 * 4000 / 500, rel=1e-4)
    assert by_oil.friction_factor == pytest.approx(0.9 * 4000 / 500, rel=1e-4)
    assert "screw proof load" not in {m.check for m in by_oil.margins}
    assert (by_oil.windows[0].unit, by_oil.windows[0].set) == ("bar", pytest.approx(70.0))
    marks = next(m for m in by_oil.margins if m.check == "marks")
    assert marks.need < next(m for m in by_screw.margins if m.check == "marks").need
    shares = [bearable(grip, [pull._replace(load=replace(pull.load, pull=4000.0))], mass_kg=0.0, floors=Floors(),
                       clamps=[c])[0] for c in (STRAP, oil)]  # fmt: skip
    assert shares[1] / shares[0] == pytest.approx(0.9 / 0.7, rel=2e-3)


def test_changes_come_cheapest_first_and_each_reaches_the_floor():
    grip = named(under_straps(900.0))
    cut = StationCut("pull", HOLE, UP, Load(0, 100, 350, 0.0, 0.0, "test"))
    prices = prices_of(grip, [STRAP], SHOP.locators, "EUR", 40.0)
    assert dict(prices.clamp)["strap"] > STRAP.price
    got = certify(grip, [cut], mass_kg=0.0, floors=Floors(), clamps=[STRAP], prices=prices)
    told = [r for r in got.reasons if r.about in ("more torque", "another clamp", "smaller cut", "a stop")]
    assert [r.about for r in told][:1] == ["more torque"]
    assert "no money" in told[0].text
    order = [r.about for r in told]
    assert order.index("another clamp") < order.index("smaller cut")  # 24 EUR a station, 40 EUR a year
    dear = certify(
        grip, [cut], mass_kg=0.0, floors=Floors(), clamps=[STRAP],
        prices=replace(prices, easing=5.0, clamp=(("strap", 90.0),)),
    )  # fmt: skip
    order = [r.about for r in dear.reasons]
    assert order.index("smaller cut") < order.index("another clamp")
    stronger = next(r for r in told if r.about == "more torque").amount
    assert certify(named(under_straps(900.0 * stronger)), [cut], mass_kg=0.0, floors=Floors()).passed
    assert Prices().stop is None


def test_a_raw_face_bears_until_the_pad_sinks_in():
    raw = named(under_straps())
    raw = replace(raw, contacts=tuple(replace(c, raw=c.id == "C8") for c in raw.contacts))
    common = {"mass_kg": 0.0, "floors": Floors(), "clamps": [STRAP], "yield_strength": 100.0, "advice": False}
    plain, rough = (
        next(m for m in certify(g, [DRILL], **common).margins if m.check == "marks")
        for g in (named(under_straps()), raw)
    )
    assert (plain.have, plain.passed) == (100.0, False)
    assert rough.have == pytest.approx(2.8 * 100.0)
    assert rough.need == pytest.approx(plain.need)
    assert "cut away" in rough.note


def test_a_mark_under_a_screws_head_counts_the_ring_around_its_hole():
    screw = STRAP.model_copy(update={"id": "strap", "kind": "screw", "screw": "M6", "footprint": (10.0, 10.0)})
    got = certify(named(under_straps()), [DRILL], mass_kg=0.0, floors=Floors(), clamps=[screw], yield_strength=300.0,
                  advice=False)  # fmt: skip
    mark = next(m for m in got.margins if m.check == "marks")
    assert mark.need == pytest.approx(1.3 * 4000 / (math.pi / 4 * (10**2 - 6.6**2)), rel=0.02)


CASE = {
    "friction": 0.2, "safety": 2,
    "locator": [
        {"at": [0, 0, 0], "normal": [0, 0, 1]}, {"at": [100, 0, 0], "normal": [0, 0, 1]},
        {"at": [50, 80, 0], "normal": [0, 0, 1]}, {"at": [20, 0, 10], "normal": [0, 1, 0]},
        {"at": [80, 0, 10], "normal": [0, 1, 0]}, {"at": [0, 40, 10], "normal": [1, 0, 0]},
    ],
    "clamp": [
        {"at": [50, 30, 40], "normal": [0, 0, -1], "preload": 1500},
        {"at": [50, 80, 10], "normal": [0, -1, 0], "preload": 500},
        {"at": [100, 40, 10], "normal": [-1, 0, 0], "preload": 500},
    ],
    "load": [{"at": [50, 30, 40], "force": [600, 0, 0]}],
}  # fmt: skip


def test_a_case_that_misses_its_safety_is_told_what_would_do():
    got = hold(CASE)
    assert not got["passed"]
    changes = {a["change"]: a for a in got["advice"]}
    assert "a stop" in changes
    cut = changes["smaller cut"]["amount"] * 0.999
    again = hold(CASE | {"load": [{"at": [50, 30, 40], "force": [600 * cut, 0, 0]}]})
    assert again["passed"]
    assert again["advice"] == []


def test_a_locator_that_a_load_lifts_off_leaves_the_part_unlocated():
    got = hold(CASE | {"load": [{"at": [50, 30, 40], "force": [5000, 0, 0]}]})
    assert "6" in got["located"]["lifts_off"]
    assert not got["located"]["located"]
    assert hold(CASE)["located"]["lifts_off"] == []


def test_a_push_that_nothing_resists_further_is_unlimited_and_says_so():
    """Straight onto one locator, with no weight and no clamp."""
    got = hold({"friction": 0.2, "safety": 2, "locator": [{"at": [0, 0, 0], "normal": [0, 0, 1]}],
                "load": [{"at": [0, 0, 10], "force": [0, 0, -100]}]})  # fmt: skip
    assert got["friction_factor"] == pytest.approx(1000.0)
    assert got["gives_first"].startswith("nothing")


def spread_in_a_bore(kind: str = "expander", **more: object) -> tuple[Grip, Clamp]:
    """Three segments outwards in a bore; one of them moves, the part stands on three rests."""
    rows = [("locator", (10.0 * math.cos(a), 10.0 * math.sin(a), 0.0), UP) for a in np.radians([0, 120, 240])]
    rows += [
        ("clamp", (8.0 * math.cos(a), 8.0 * math.sin(a), 9.0), (math.cos(a), math.sin(a), 0.0))
        for a in np.radians([60, 180, 300])
    ]
    contacts = tuple(
        Contact(
            f"E{i}", k, at, n, (0.1, 0.15), preload=2500.0 if k == "clamp" else 0.0, device="e" if k == "clamp" else ""
        )
        for i, (k, at, n) in enumerate(rows)
    )
    size = {"id": "e", "kind": kind, "footprint": (16.0, 16.0), "height": 18.0, "reach_height": 7.0}
    clamp = STRAP.model_copy(update=size | {"force": 2500.0, "screw": "M5", "torque": 5.0} | more)
    return Grip("bore", "expander", np.eye(4)[None], contacts, (), "friction", 1, 0.0, 0.0), clamp


def test_forces_that_cancel_in_a_bore_still_count_for_screw_and_marks():
    grip, clamp = spread_in_a_bore()
    light = StationCut("light", np.array([[0.0, 0.0, 9.0]]), UP, Load(1.0, 1.0, 1.0, 0.0, 0.0, "test"))
    got = certify(grip, [light], mass_kg=0.1, floors=Floors(), clamps=[clamp], yield_strength=200.0, advice=False)
    screw, mark = (next(m for m in got.margins if m.check == c) for c in ("screw proof load", "marks"))
    assert screw.need == pytest.approx(1.3 * 5000 / (0.2 * 5), rel=0.05)
    assert mark.need == pytest.approx(1.3 * 2500 / (16 * math.pi / 6 * 9), rel=0.05)


def test_air_marks_nothing_and_a_stud_may_strip_its_thread():
    light = StationCut("light", np.array([[0.0, 0.0, 9.0]]), UP, Load(1.0, 1.0, 1.0, 0.0, 0.0, "test"))
    common = {"mass_kg": 0.1, "floors": Floors(), "yield_strength": 100.0, "advice": False}
    grip, air = spread_in_a_bore("vacuum", pressure=0.75)
    assert not {"marks", "screw proof load"} & {m.check for m in certify(grip, [light], clamps=[air], **common).margins}
    grip, stud = spread_in_a_bore("stud")
    margins = certify(grip, [light], clamps=[stud], **common).margins
    thread = next(m for m in margins if m.check == "thread in stock")
    assert thread.have == pytest.approx(0.5 * math.pi * 5 * 7 * 0.577 * 100.0)
    assert thread.need == pytest.approx(1.3 * 2500, rel=0.05)
    assert "marks" not in {m.check for m in margins}
