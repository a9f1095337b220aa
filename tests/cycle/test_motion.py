"""Motion from rest to rest in closed form, and the look-ahead over many blocks."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import cumulative_trapezoid

from palletwright.cycle.motion import Axes, rapid_seconds, rest_to_rest
from palletwright.cycle.path_time import CCW, CUT_MM, CUT_S, FIELDS, LINE, RAPID, RAPID_S, path_seconds

SPEED, ACC = 500.0, 3000.0


def test_a_short_rapid_is_four_times_what_division_says() -> None:
    """20 mm at 30 m/min and 3 m/s²: 0.04 s by division, about 0.16 s by trapezoid (2·sqrt(0.02/3))."""
    assert float(rest_to_rest(20.0, SPEED, ACC)) == pytest.approx(2 * math.sqrt(0.02 / 3.0), rel=1e-12)
    assert float(rest_to_rest(200.0, SPEED, ACC)) == pytest.approx(0.4 + 1.0 / 6.0, rel=1e-12)


def integrated(length: float, v: float, a: float, j: float) -> float:
    """Time of the same move found by stepping a jerk-limited speed ramp, independent of the closed form."""

    def ramp(peak: float) -> tuple[float, float]:
        hold = max(0.0, peak / a - a / j)
        top = min(a, math.sqrt(peak * j))
        t = np.linspace(0.0, 2 * top / j + hold, 20001)
        acc = np.minimum(np.minimum(j * t, top), j * (t[-1] - t))
        speed = cumulative_trapezoid(acc, t, initial=0.0)
        return float(t[-1]), float(np.trapezoid(speed, t))

    seconds, way = ramp(v)
    if 2 * way <= length:
        return 2 * seconds + (length - 2 * way) / v
    low, high = 0.0, v
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if 2 * ramp(middle)[1] < length else (low, middle)
    return 2 * ramp(low)[0]


@pytest.mark.parametrize("length", [0.01, 0.5, 5.0, 40.0, 400.0])
@pytest.mark.parametrize("jerk", [5e3, 5e4, 5e5])
def test_the_jerk_closed_form_agrees_with_a_stepped_ramp(length: float, jerk: float) -> None:
    assert float(rest_to_rest(length, SPEED, ACC, jerk)) == pytest.approx(
        integrated(length, SPEED, ACC, jerk), rel=1e-4
    )


def test_jerk_costs_and_a_huge_jerk_costs_nothing() -> None:
    lengths = np.array([0.0, 1.0, 30.0, 300.0])
    free = rest_to_rest(lengths, SPEED, ACC)
    assert (rest_to_rest(lengths, SPEED, ACC, 5e4)[1:] > free[1:]).all()
    assert np.allclose(rest_to_rest(lengths, SPEED, ACC, 1e12), free, rtol=1e-3)


def test_the_slowest_axis_decides_a_rapid() -> None:
    axes = Axes((500.0, 500.0, 250.0), (3000.0, 3000.0, 1500.0))
    assert float(rapid_seconds((100.0, 0.0, 100.0), axes)) == pytest.approx(100 / 250 + 250 / 1500)


def totals(rows: list[list[float]], tolerance: float = 0.01, jerk: float = 0.0) -> np.ndarray:
    box = np.array([[np.inf] * 3, [-np.inf] * 3])
    three = np.array([SPEED] * 3), np.array([ACC] * 3)
    return path_seconds(np.array(rows, dtype=float), np.zeros(3), *three, jerk, tolerance, box)


def line(x: float, y: float, feed: float, mode: int = LINE) -> list[float]:
    return [mode, x, y, 0, 0, 0, 0, 2, 0, feed, 0]


def test_a_straight_line_cut_into_blocks_takes_no_longer_than_one_block() -> None:
    whole = totals([line(100, 0, 100)])[CUT_S]
    assert whole == pytest.approx(100 / 100 + 100 / ACC, rel=1e-12)
    assert totals([line(k + 1.0, 0, 100) for k in range(100)])[CUT_S] == pytest.approx(whole, rel=1e-9)


def test_a_square_corner_is_taken_at_the_speed_of_its_rounding() -> None:
    """δ = 0.01, half the inside angle 45°: R = δ·s/(1 − s), v = sqrt(a·R), a = 3000 mm/s²."""
    s = math.sin(math.pi / 4)
    v = math.sqrt(ACC * 0.01 * s / (1 - s))
    side = 2 * 100.0 - v
    length = (2 * 100.0**2 - v**2) / (2 * ACC)
    by_hand = 2 * (side / ACC + (50.0 - length) / 100.0)
    assert totals([line(50, 0, 100), line(50, 50, 100)])[CUT_S] == pytest.approx(by_hand, rel=1e-9)
    assert totals([line(50, 0, 100), line(50, 50, 100)], 0.0)[CUT_S] == pytest.approx(2 * (0.5 + 100 / ACC))


def test_a_polygon_approaches_its_circle_with_second_order() -> None:
    """Halving the blocks of a circle brings length and time to those of the arc; the error falls fourfold."""
    arc = [CCW, 20.0, 0.0, 0.0, 0.0, 0.0, 0.0, 2, 0, 50.0, 0]
    exact = totals([line(20, 0, 0, RAPID), arc])
    assert exact[CUT_MM] == pytest.approx(40 * math.pi)
    errors = []
    for n in (64, 128, 256):
        turn = [2 * math.pi * (k + 1) / n for k in range(n)]
        rows = [line(20, 0, 0, RAPID)] + [line(20 * math.cos(t), 20 * math.sin(t), 50.0) for t in turn]
        errors.append(exact[CUT_S] - totals(rows, 0.05)[CUT_S])
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.05)
    assert errors[1] / errors[2] == pytest.approx(4.0, rel=0.05)


def test_a_small_arc_is_slowed_by_its_acceleration() -> None:
    arc = [CCW, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 2, 20, 400.0, 0]
    v = math.sqrt(ACC * 1.0)
    assert totals([line(1, 0, 0, RAPID), arc])[CUT_S] == pytest.approx(21 * 2 * math.pi / v + v / ACC, rel=1e-9)


def test_rapids_count_apart() -> None:
    assert totals([line(20, 0, 0, RAPID)])[RAPID_S] == pytest.approx(2 * math.sqrt(20 / ACC))
    assert len(line(0, 0, 0)) == FIELDS
