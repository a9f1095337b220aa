"""Drawings: lengths of lines that are known, and hidden lines that hide."""

from __future__ import annotations

import math

import numpy as np
import pytest

from palletwright.demo import demo_job
from palletwright.solid import outline_views, read_step
from palletwright.solid.model import Floats
from palletwright.solid.primitives import Block, Cut, Exact, Rod
from palletwright.solid.views import side_frame


def length(lines: tuple[Floats, ...]) -> float:
    return float(sum(np.linalg.norm(np.diff(line, axis=0), axis=1).sum() for line in lines))


def test_drilled_block_shows_its_hole_from_above_and_hides_it_from_the_side() -> None:
    drilled = Cut(Block((0, 0, 0), (40, 30, 10)), (Rod((20, 15, -1), (0, 0, 1), 4, 12),))
    top, front, right = outline_views([drilled], chord=0.001)
    assert top.bounds == pytest.approx((0, 0, 40, 30))
    assert front.bounds == pytest.approx((0, 0, 40, 10))
    assert right.bounds == pytest.approx((0, 0, 30, 10))
    assert length(top.visible) == pytest.approx(140 + math.pi * 8, rel=0.002)
    assert length(front.visible) == pytest.approx(100, rel=1e-6)
    hidden = np.concatenate(front.hidden)
    wall = hidden[np.abs(hidden[:, 0] - 16) < 1e-6][:, 1]
    assert set(np.round(wall, 6)) == {0, 10}


def test_the_nearer_body_hides_the_farther() -> None:
    near, far = Block((0, 0, 10), (20, 20, 12)), Block((5, 5, 0), (15, 15, 2))
    (alone,) = outline_views([far], {"top": np.eye(3)})
    (both,) = outline_views([near, far], {"top": np.eye(3)})
    assert length(alone.visible) == pytest.approx(40)
    assert length(both.visible) == pytest.approx(80)
    assert length(both.hidden) >= 40 - 1e-6


def test_demo_part_in_three_views() -> None:
    yoke = read_step(demo_job().parent / "hinge_yoke.step")
    top, front, right = outline_views([Exact(yoke.brep)])
    assert top.bounds == pytest.approx((0, 0, 62, 44), abs=1e-6)
    assert front.bounds == pytest.approx((0, 0, 62, 28), abs=1e-6)
    assert right.bounds == pytest.approx((0, 0, 44, 28), abs=1e-6)
    assert front.tangent


def test_frames() -> None:
    assert side_frame((0, 0, 2), (3, 0, 5)) == pytest.approx(np.eye(3))
    with pytest.raises(ValueError, match="can't lie along the view"):
        side_frame((0, 0, 1), (0, 0, 1))
