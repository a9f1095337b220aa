"""Blocked sets stand on their side of the truth: outer ones hold every collision, inner ones nothing else."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from blocks_of_steel import box, of_boxes

from palletwright.layout import ToolSweep
from palletwright.layout.discs import thinned, united
from palletwright.layout.polygons import minkowski
from palletwright.layout.strips import above, body_edge, lower_edge
from palletwright.layout.swept import swept_shifts

STACK = ((3.0, 0.0, 20.0), (9.0, 20.0, 60.0), (20.0, 60.0, 90.0))


def ring(radius: float, n: int) -> np.ndarray:
    angle = 2 * np.pi * np.arange(n) / n
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])


@pytest.mark.parametrize("outer", [True, False])
def test_a_closed_path_leaves_its_island_free(outer: bool) -> None:
    """A cutter of 3 mm on a path of 30 mm radius, 700 tips: a post of 4 mm in the middle is never met."""
    tips = np.column_stack([ring(30.0, 700), np.full(700, 5.0)])
    sweep = ToolSweep((0.0, 0.0, 1.0), ((tips, ((3.0, 0.0, 80.0),), 1, 0.0),))
    post = of_boxes(box(-2, -2, 0, 2, 2, 20))
    blocked = swept_shifts(sweep, post, (0,), 1.0, (), 0.25, outer)[0]
    assert not blocked.contains(shapely.Point(0, 0))
    assert blocked.contains(shapely.Point(30, 0))


@pytest.mark.parametrize("seed", range(6))
def test_discs_unite_within_the_stated_error(seed: int) -> None:
    rng = np.random.default_rng(seed)
    dense = np.stack(np.meshgrid(np.arange(-15, 15, 0.5), np.arange(-15, 15, 0.5)), axis=2).reshape(-1, 2)
    field = dense if seed % 2 else np.concatenate([ring(r, 400) for r in (12.0, 20.0)])
    centres = np.concatenate([field, rng.uniform(-30, 30, (40, 2))])
    radii = np.concatenate([np.full(len(field), 4.0), rng.uniform(0.5, 9.0, 40)])
    kept = thinned(centres, radii)
    outer, inner = (united(centres[kept], radii[kept], o) for o in (True, False))
    at = rng.uniform(-40, 40, (4000, 2))
    depth = (radii - np.hypot(*(at[:, None] - centres).transpose(2, 0, 1))).max(axis=1)
    in_outer, in_inner = (shapely.contains_xy(s, at[:, 0], at[:, 1]) for s in (outer, inner))
    assert in_outer[depth > 0].all()
    assert not in_inner[depth < 0].any()
    assert not in_outer[depth < -0.1].any(), "outer sets reach no more than 0.1 mm past the discs"
    assert in_inner[depth > 0.1].all(), "inner sets fall no more than 0.1 mm short"
    assert len(kept) < 0.5 * len(centres) or seed % 2 == 0


def met(tips: np.ndarray, grow: float, body: np.ndarray, shift: np.ndarray, along: np.ndarray) -> bool:
    """Whether a box (2, 3), moved, meets a column without end that starts at a tip and lies along a direction."""
    across = np.array([along[1], -along[0]])
    corners = np.array([[x, y] for x in body[:, 0] for y in body[:, 1]]) + shift
    s, t = corners @ across, corners @ along
    for tip in tips:
        for radius, start, _ in STACK:
            gap = np.array([tip[:2] @ across, tip[2]])
            near = np.clip(gap, [s.min(), body[0, 2]], [s.max(), body[1, 2]])
            if np.hypot(*(gap - near)) < radius + grow and t.max() > tip[:2] @ along + start - grow:
                return True
    return False


@pytest.mark.parametrize("along", [(0.0, 1.0), (-1.0, 0.0)])
def test_tools_along_the_side_meet_what_an_exact_test_meets(along: tuple[float, float]) -> None:
    rng = np.random.default_rng(7)
    direction = np.array(along)
    tips = np.column_stack([rng.uniform(-15, 15, (6, 2)), rng.uniform(8, 25, 6)])
    sweep = ToolSweep((*along, 0.0), ((tips, STACK, 1, 0.0),))
    bodies = [box(-12, -8, 0, 10, 9, 22), box(-20, -2, 0, -12, 2, 12)]
    sets = [swept_shifts(sweep, of_boxes(*bodies), (0,), 2.0, (), 0.25, outer)[0] for outer in (True, False)]
    hits = wide = 0
    shifts = rng.uniform(-90, 90, (1500, 2))
    for shift in shifts:
        hit = any(met(tips, 2.0, body.bounds, shift, direction) for body in bodies)
        in_outer, in_inner = (bool(s.contains(shapely.Point(shift))) for s in sets)
        assert in_outer or not hit
        assert hit or not in_inner
        hits, wide = hits + hit, wide + (in_outer and not in_inner)
    assert 200 < hits < 1300
    assert wide < 0.03 * len(shifts)


def test_lower_edges_are_those_of_the_union() -> None:
    rng = np.random.default_rng(3)
    segments = np.column_stack([rng.uniform(0, 50, 60), rng.uniform(0, 20, 60), np.zeros(60), rng.uniform(0, 20, 60)])
    segments[:, 2] = segments[:, 0] + rng.uniform(1, 12, 60)
    edge = lower_edge(segments)
    assert (edge[1:, 0] >= edge[:-1, 2] - 1e-9).all()
    for s in rng.uniform(0, 60, 500):
        over = segments[(segments[:, 0] < s) & (s < segments[:, 2])]
        least = min((t0 + (t1 - t0) * (s - s0) / (s1 - s0) for s0, t0, s1, t1 in over), default=math.inf)
        mine = [t0 + (t1 - t0) * (s - s0) / (s1 - s0) for s0, t0, s1, t1 in edge if s0 < s < s1]
        assert (mine[0] if mine else math.inf) == pytest.approx(least, abs=1e-9)
    shape = above(body_edge(shapely.Polygon([(0, 0), (4, 0), (4, 6), (1, 2)])))
    assert shape.contains(shapely.Point(3, 500))
    assert not shape.intersects(shapely.box(-5, -5, 5, -0.01))


def test_minkowski_sums_of_convex_pieces_are_the_hulls_of_all_sums() -> None:
    rng = np.random.default_rng(5)
    for _ in range(200):
        a, b = (
            np.array(shapely.MultiPoint(rng.random((rng.integers(3, 12), 2)).round(2)).convex_hull.exterior.coords)
            for _ in range(2)
        )
        (found,) = minkowski([a[:-1]], [b[:-1][::-1]])
        hull = shapely.MultiPoint((a[:, None] + b[None]).reshape(-1, 2)).convex_hull
        assert found.symmetric_difference(hull).area < 1e-12
