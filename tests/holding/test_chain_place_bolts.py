"""The chain past the part, place errors and screws, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from palletwright.holding.bolts import bolt, proof_load, screw_force, screw_torque, strap_force, wedge_force
from palletwright.holding.chain import Screws, brake_margin, screw_margins, slip_margin, tipping_margin
from palletwright.holding.contacts import Contacts
from palletwright.holding.place import place_errors

M8 = Screws("M8", 4, 20.0, spread=60.0)
LEAST = 4 * 0.7 * 20000 / (0.2 * 8)


def test_screw_force_has_its_scatter_both_ways():
    assert screw_force(20, 8) == pytest.approx((8750, 12500, 16250))
    assert screw_torque(12500, 8) == pytest.approx(20)


def test_strap_with_the_bolt_midway_halves_it():
    # M12 at 85 N·m, K 0.2, bolt midway: 17.7 kN (own statics).
    assert strap_force(screw_force(85, 12)[1], 30, 30) == pytest.approx(17708.3, rel=1e-4)


def test_wedge_without_friction_is_the_plain_wedge():
    assert wedge_force(1000, 45, 0.0) == pytest.approx(1000)
    assert wedge_force(1000, 10, 0.1) == pytest.approx(1000 / (np.tan(np.radians(10) + np.arctan(0.1)) + 0.1))


@pytest.mark.parametrize(("name", "told"), [("M7", "M5, M6, M8"), ("bolt", "M5, M6, M8")])
def test_unknown_screw_names_what_is_known(name, told):
    with pytest.raises(ValueError, match=told):
        bolt(name)


def test_unknown_class_names_what_is_known():
    with pytest.raises(ValueError, match=r"8\.8, 10\.9, 12\.9"):
        proof_load("M8", "4.6")


def test_clamp_screw_and_its_thread():
    proof, strip = screw_margins(M8, "clamp", depth=12, tensile=310)
    assert (proof.need, proof.have) == pytest.approx((16250, 21200))
    assert strip.have == pytest.approx(0.5 * np.pi * 8 * 12 * 0.6 * 310)


def test_mount_slips_and_tips_by_hand():
    slip = slip_margin(M8, "mount", 1000, 500, safety=2, friction=0.12)
    assert (slip.need, slip.have) == pytest.approx((2000, 0.12 * (LEAST - 1000)))
    tip = tipping_margin(M8, "mount", 1000, 0, 150, 75, 20, safety=2)
    assert tip.need == pytest.approx(300)
    assert tip.have == pytest.approx(20 * 9.80665 * 0.075 + LEAST * 0.06)


def test_brake_of_a_small_rotary():
    """1.5 kN at 100 mm is 150 N·m (shop practice)."""
    got = brake_margin(400, "axis", 1500 * 0.1, 20 * 9.80665 * 0.005, "brake", safety=2)
    assert got.need == pytest.approx(2 * 150 + 0.980665)
    assert got.passed


LOCATORS = [
    ((0, 0, 0), (0, 0, 1)),
    ((100, 0, 0), (0, 0, 1)),
    ((0, 80, 0), (0, 0, 1)),
    ((20, 0, 10), (0, 1, 0)),
    ((80, 0, 10), (0, 1, 0)),
    ((0, 40, 10), (1, 0, 0)),
]


def six(rows=LOCATORS) -> Contacts:
    at, normal = (np.array([r[i] for r in rows], dtype=float) for i in (0, 1))
    n = len(rows)
    return Contacts(tuple("123456"[:n]), n, at, normal, np.full(n, 0.2), np.full(n, 5e4), np.zeros(n))


def test_one_rest_high_tilts_the_part():
    """Rest 2 at x = 100 high by 0.02: z at (50, 40) rises by 0.02·50/100, x there moves by −0.0002·(z − 10)."""
    got = place_errors(six(), np.array([[50.0, 40, 30]]), locator=[0, 0.02, 0, 0, 0, 0])[0]
    assert got.worst == pytest.approx((0.02 / 100 * 20, 0.0, 0.01), abs=1e-9)


def test_spread_is_never_over_the_worst_case_and_carrier_adds():
    points = np.array([[50.0, 40, 30], [90, 70, 5]])
    plain = place_errors(six(), points, locator=0.01)
    more = place_errors(six(), points, locator=0.01, carrier=0.005, index_arc=10, radius=100)
    for a, b in zip(plain, more, strict=True):
        assert all(s <= w for s, w in zip(a.spread, a.worst, strict=True))
        assert all(
            y - x == pytest.approx(0.005 + 100 * np.radians(10 / 3600)) for x, y in zip(a.worst, b.worst, strict=True)
        )


def test_five_locators_are_refused():
    with pytest.raises(ValueError, match="5 locators of rank 5"):
        place_errors(six(LOCATORS[:5]), np.zeros((1, 3)), locator=0.01)


FOUR_RESTS = [
    *[((x, y, 0), (0, 0, 1)) for x in (0, 100) for y in (0, 80)],
    ((20, 0, 0), (0, 1, 0)),
    ((80, 0, 0), (0, 1, 0)),
    ((0, 40, 0), (1, 0, 0)),
]


def seven(stiffness: float = 5e4) -> Contacts:
    at, normal = (np.array([r[i] for r in FOUR_RESTS], dtype=float) for i in (0, 1))
    stiff = np.full(7, 5e4)
    stiff[3] = stiffness
    return Contacts(tuple("1234567"), 7, at, normal, np.full(7, 0.2), stiff, np.zeros(7))


def test_a_fourth_rest_shares_the_error_by_stiffness():
    """Like springs at the corners of a square: one rest high by e lifts the middle by e/4, its corner by 3/4·e."""
    points = np.array([[50.0, 40, 0], [100.0, 80, 0]])
    middle, corner = place_errors(seven(), points, locator=[0, 0, 0, 0.02, 0, 0, 0])
    assert middle.worst[2] == pytest.approx(0.02 / 4)
    assert corner.worst[2] == pytest.approx(0.02 * 3 / 4)
    soft = place_errors(seven(1e-3), points, locator=[0, 0, 0, 0.02, 0, 0, 0])[1]
    assert soft.worst[2] < 1e-6  # a rest without stiffness says nothing


def test_points_far_from_the_origin_lose_no_digits():
    near = place_errors(seven(), np.array([[50.0, 40, 30]]), locator=0.01)[0]
    moved = seven()
    far = Contacts(moved.ids, 7, moved.at + 1e5, moved.normal, moved.mu, moved.stiffness, moved.preload)
    assert place_errors(far, np.array([[50.0, 40, 30]]) + 1e5, locator=0.01)[0].worst == pytest.approx(near.worst)
