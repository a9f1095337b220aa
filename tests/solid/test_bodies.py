"""Bodies, outlines and scenes: volumes and areas from formulas."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import trimesh

from palletwright.solid import (
    box,
    cone,
    cylinder,
    footprint,
    frustum,
    intersect,
    manifold,
    pieces,
    prism,
    section,
    subtract,
    union,
    write_glb,
)
from palletwright.solid.bodies import frame_along

AXES = [(0, 0, 1), (1, 0, 0), (0.3, -0.5, 0.8), (0, -1, 0)]


@pytest.mark.parametrize("axis", AXES)
def test_a_circumscribed_cylinder_contains_the_true_one_and_an_inscribed_one_is_inside(axis: tuple[float, ...]) -> None:
    true = math.pi * 25 * 10
    outer, inner = cylinder((1, 2, 3), axis, 5, 10), cylinder((1, 2, 3), axis, 5, 10, circumscribed=False)
    assert inner.volume < true < outer.volume
    n = 48
    assert outer.volume == pytest.approx(10 * n * 25 * math.tan(math.pi / n))
    assert inner.volume == pytest.approx(10 * n * 25 * math.sin(2 * math.pi / n) / 2)
    for mesh in (outer, inner):
        assert manifold(mesh).volume() == pytest.approx(mesh.volume)
        middle = (mesh.corners.mean(axis=1) - (1, 2, 3)) @ frame_along(axis)
        sides = np.abs(middle[:, 2] - 5) < 4.9
        off = np.abs(np.hypot(middle[sides, 0], middle[sides, 1]) - 5).max()
        assert off <= mesh.chord_error + 1e-9


def test_frustum_and_cone_volumes() -> None:
    k = 48 * math.tan(math.pi / 48)
    assert frustum((0, 0, 0), (0, 1, 0), (4, 2), 6).volume == pytest.approx(k * 6 / 3 * (16 + 8 + 4))
    assert cone((0, 0, 0), (0, 1, 0), 3, 6).volume == pytest.approx(k * 9 * 6 / 3, rel=1e-5)


def test_booleans() -> None:
    a, b = box((0, 0, 0), (2, 2, 2)), box((1, 1, 1), (3, 3, 3))
    assert subtract(a, b).volume == pytest.approx(7)
    assert union([a, b]).volume == pytest.approx(15)
    assert intersect([a, b]).volume == pytest.approx(1)
    assert len(subtract(a, a).triangles) == 0
    assert [p.volume for p in pieces(union([a, box((5, 5, 5), (6, 6, 6))]))] == pytest.approx([8, 1])


def test_what_isnt_closed_is_refused() -> None:
    whole = box((0, 0, 0), (1, 1, 1))
    open_box = type(whole)(whole.vertices.copy(), whole.triangles[1:].copy())
    with pytest.raises(ValueError, match="isn't closed"):
        subtract(whole, open_box)


def test_bad_sizes_are_refused() -> None:
    with pytest.raises(ValueError, match="lo < hi"):
        box((0, 0, 0), (1, 0, 1))
    with pytest.raises(ValueError, match="radii must be positive"):
        cylinder((0, 0, 0), (0, 0, 1), -1, 1)
    with pytest.raises(ValueError, match="height"):
        prism([(0, 0), (1, 0), (0, 1)], (0, 0, 0), (0, 0, 1), 0)


@pytest.mark.parametrize("axis", AXES)
def test_footprint_and_section_of_a_tube(axis: tuple[float, ...]) -> None:
    tube = subtract(cylinder((0, 0, 0), axis, 5, 10), cylinder(-np.array(axis) * 1.0, axis, 3, 12))
    k = 48 * math.tan(math.pi / 48)
    assert footprint(tube, axis).area == pytest.approx(k * 16)
    assert len(footprint(tube, axis).geoms[0].interiors) == 1
    assert section(tube, np.array(axis) / np.linalg.norm(axis) * 5, axis).area == pytest.approx(k * 16)
    assert section(tube, np.array(axis) / np.linalg.norm(axis) * 20, axis).is_empty
    across = np.cross(axis, (0.1, 0.2, 0.9) if axis != (0, 0, 1) else (1, 0, 0))
    assert footprint(tube, across).area == pytest.approx(100, rel=0.003)


def test_footprint_keeps_separate_parts_and_the_given_frame() -> None:
    two = union([box((0, 0, 0), (1, 2, 3)), box((5, 0, 0), (6, 2, 9))])
    shadow = footprint(two, (0, 0, 1), np.eye(3))
    assert len(shadow.geoms) == 2
    assert shadow.bounds == pytest.approx((0, 0, 6, 2))


def test_glb_is_metres_y_up_and_repeats_byte_for_byte(tmp_path: Path) -> None:
    bodies = [
        ("block", box((0, 0, 0), (100, 200, 300)), (0.5, 0.5, 0.5, 1.0)),
        ("pin", cylinder((0, 0, 0), (0, 0, 1), 10, 50), (0.9, 0.2, 0.1, 0.5)),
    ]
    write_glb(tmp_path / "a.glb", bodies)
    write_glb(tmp_path / "b.glb", bodies)
    assert (tmp_path / "a.glb").read_bytes() == (tmp_path / "b.glb").read_bytes()
    scene = trimesh.load(tmp_path / "a.glb")
    assert set(scene.geometry) == {"block", "pin"}
    assert scene.geometry["block"].extents == pytest.approx([0.1, 0.3, 0.2])
    assert scene.geometry["block"].volume == pytest.approx(0.006)
    assert scene.geometry["block"].visual.material.metallicFactor == 0.0
