"""Densest lattices of known shapes.

Sources: regular pentagon (5 − √5)/3 = 0.921311 by a double lattice (Hales & Kusner, arXiv:1602.07220); every
convex body at least √3/2 by a double lattice (Kuperberg & Kuperberg 1990); octagon 0.906164; triangle 1 by a
double lattice; hexagon and square 1.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from palletwright.layout import densest_lattice


def regular(n: int, turn: float = 0.1) -> shapely.Polygon:
    angle = 2 * np.pi * np.arange(n) / n + turn
    return shapely.Polygon(7.0 * np.column_stack([np.cos(angle), np.sin(angle)]))


@pytest.mark.parametrize(
    ("n", "published", "tolerance"),
    [(3, 1.0, 1e-6), (4, 1.0, 1e-6), (5, (5 - 5**0.5) / 3, 0.001), (6, 1.0, 1e-6), (8, 0.906164, 0.001)],
)
def test_regular_polygons(n: int, published: float, tolerance: float) -> None:
    density, _ = densest_lattice(regular(n))
    assert density == pytest.approx(published, abs=tolerance)


def test_a_pentagon_needs_the_half_turn() -> None:
    assert densest_lattice(regular(5))[1] == "double with half turn"


def test_an_l_shape_nests_without_loss() -> None:
    shape = shapely.Polygon([(0, 0), (30, 0), (30, 10), (10, 10), (10, 30), (0, 30)])
    assert densest_lattice(shape, 2)[0] == pytest.approx(1.0, abs=1e-6)


def test_convex_bodies_reach_the_lower_limit() -> None:
    rng = np.random.default_rng(5)
    for _ in range(4):
        hull = shapely.MultiPoint(rng.random((9, 2))).convex_hull
        assert densest_lattice(hull)[0] >= 3**0.5 / 2
