"""Give of walls: beams by hand, the FE plate in its limits and its order of convergence."""

from __future__ import annotations

import numpy as np
import pytest

from palletwright.holding.give import plate, span_estimate, span_give, wall_estimate, wall_give
from palletwright.holding.walls import first_hits, thin_walls
from palletwright.solid.bodies import box, subtract

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
    assert plate(100, 20, 40, 2, E, held="foot and ends") < plate(100, 20, 40, 2, E)


def test_estimate_serves_where_the_tolerance_is_wide_and_the_plate_where_it_is_not():
    wide, tight = (wall_give(100, 20, 40, 2, E, tolerance=t) for t in (10.0, 0.02))
    assert (wide.method, tight.method) == ("beam", "plate FE")
    assert tight.deflection == pytest.approx(wide.deflection, rel=0.5)


def test_half_the_thickness_gives_eight_times():
    assert plate(100, 20, 40, 1, E) == pytest.approx(8 * plate(100, 20, 40, 2, E), rel=1e-6)


def test_a_narrow_span_is_a_beam_clamped_at_both_ends():
    beam = span_estimate(10, 100, 5, 2, E)
    assert plate(10, 100, 5, 2, E, poisson=0.0, cells=60, held="foot and top") == pytest.approx(beam, rel=0.02)
    wide, tight = (span_give(100, 60, 30, 3, E, tolerance=t) for t in (10.0, 0.01))
    assert (wide.method, tight.method) == ("beam", "plate FE")


def test_rays_meet_what_they_should():
    block = box((0, 0, 0), (10, 20, 30))
    start = np.array([[5.0, 10, 15], [5.0, 10, 15], [5.0, 10, 40]])
    way = np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 0, 1.0]])
    assert first_hits(block, start, way) == pytest.approx([5.0, 15.0, np.inf])


def test_a_pocket_leaves_a_wall_and_its_size_is_found():
    """A block 60 × 40 × 30 with a pocket 25 deep that leaves 2 mm at the side x = 60 and 8 mm elsewhere."""
    part = subtract(box((0, 0, 0), (60, 40, 30)), box((8, 8, 5), (58, 32, 31)))
    walls = thin_walls(part, (0.0, 0.0, 1.0))
    thinnest = min(walls, key=lambda w: w.thickness)
    assert thinnest.thickness == pytest.approx(2.0, abs=0.01)
    assert thinnest.height == pytest.approx(25.0, abs=3.0)  # ten levels of the depth below the place
    assert thinnest.width == pytest.approx(40.0, abs=0.5)
    assert abs(thinnest.normal[0]) == pytest.approx(1.0)
    assert {round(w.thickness) for w in walls} == {2, 8}
    assert thin_walls(box((0, 0, 0), (60, 40, 30)), (0.0, 0.0, 1.0)) == ()
    assert thin_walls(part, (1.0, 0.0, 0.0)) != walls
