"""Give of walls: beams by hand, the FE plate in its limits and its order of convergence."""

from __future__ import annotations

import numpy as np
import pytest

from palletwright.holding.give import plate, span_estimate, wall_estimate, wall_give

E = 7.0e4


def test_beams_by_hand():
    # 100 N on a wall 20 high, 40 wide, 2 thick: I = 40·8/12
    assert wall_estimate(100, 20, 40, 2, E) == pytest.approx(100 * 20**3 / (3 * E * 40 * 8 / 12))
    assert span_estimate(100, 60, 30, 5, E) == pytest.approx(100 * 60**3 / (192 * E * 30 * 125 / 12))


def test_narrow_plate_is_a_beam():
    """A strip ten times as high as wide, ν 0: F·h³/(3·E·I) within 1 %."""
    beam = 10 * 50**3 / (3 * E * 5 * 2**3 / 12)
    assert plate(10, 50, 5, 2, E, poisson=0.0, cells=40) == pytest.approx(beam, rel=0.01)


def test_square_plate_converges_at_second_order():
    a, b, c = (plate(100, 20, 40, 2, E, cells=n) for n in (8, 16, 32))
    order = np.log2(abs(a - b) / abs(b - c))
    assert 1.5 < order < 2.5


def test_clamped_ends_stiffen_a_wall():
    assert plate(100, 20, 40, 2, E, ends=True) < plate(100, 20, 40, 2, E)


def test_estimate_serves_where_the_tolerance_is_wide_and_the_plate_where_it_is_not():
    wide, tight = (wall_give(100, 20, 40, 2, E, tolerance=t) for t in (10.0, 0.02))
    assert (wide.method, tight.method) == ("beam", "plate FE")
    assert tight.deflection == pytest.approx(wide.deflection, rel=0.5)


def test_half_the_thickness_gives_eight_times():
    assert plate(100, 20, 40, 1, E) == pytest.approx(8 * plate(100, 20, 40, 2, E), rel=1e-6)
