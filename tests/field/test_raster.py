"""The raster is exact per cell, the dilation is what a plain footprint gives, the frame is one for one direction."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from scipy import ndimage

from palletwright.field import dilate, erode, frame_of, grid_over, joined, lowest_tip, raster, raster_bottom, view
from palletwright.solid.model import Mesh


def as_mesh(body: trimesh.Trimesh, chord_error: float = 0.0) -> Mesh:
    return Mesh(np.array(body.vertices, float), np.array(body.faces, np.int32), chord_error=chord_error)


def block(low: tuple[float, ...], high: tuple[float, ...]) -> Mesh:
    return as_mesh(trimesh.creation.box(bounds=np.array([low, high], float)))


def test_frame_is_right_handed_and_the_same_each_time() -> None:
    for d in ((0, 0, 1), (0, 0, -1), (1, 0, 0), (0, -3, 0), (1, 2, 3), (-0.2, 0.9, 1e-17)):
        f = frame_of(d)
        assert np.allclose(f @ f.T, np.eye(3), atol=1e-14)
        assert np.linalg.det(f) == pytest.approx(1.0)
        assert np.allclose(f[2], np.array(d) / np.linalg.norm(d))
        assert np.array_equal(f, frame_of(np.array(d) * 2.0))
    assert np.array_equal(frame_of((0, 0, 1)), np.eye(3))
    with pytest.raises(ValueError, match="direction"):
        frame_of((0, 0, 0))


def test_raster_is_the_exact_greatest_height_of_random_triangles() -> None:
    rng = np.random.default_rng(7)
    corners = rng.uniform(0, 10, (60, 3, 3))
    z = raster(corners, (0.0, 0.0), (20, 20), 0.5)
    weights = rng.dirichlet([0.5] * 3, (60, 30000))
    p = np.einsum("tsk,tkc->tsc", weights, corners).reshape(-1, 3)
    sampled = np.full((20, 20), -np.inf)
    cell = np.floor(p[:, :2] / 0.5).astype(int)
    np.maximum.at(sampled, (cell[:, 1], cell[:, 0]), p[:, 2])
    seen = np.isfinite(sampled)
    assert seen.sum() > 200
    over = z[seen] - sampled[seen]
    assert over.min() >= -1e-9, "a sampled point of a triangle lies above the raster"
    assert np.median(over) < 0.02, "the raster is more than sampling noise above the triangles"
    assert np.isfinite(z)[seen].all()


def test_a_wedge_has_its_closed_form_heights_and_grows_by_what_is_asked() -> None:
    # height = u over [0, 4] x [0, 4]
    corners = np.array([[[0, 0, 0], [4, 0, 4], [4, 4, 4]], [[0, 0, 0], [4, 4, 4], [0, 4, 0]]], float)
    z = raster(corners, (0.0, 0.0), (4, 6), 1.0)
    assert np.allclose(z[:, :4], [1, 2, 3, 4])
    assert np.isneginf(z[:, 4:]).all()
    grown = raster(corners, (0.0, 0.0), (4, 6), 1.0, grow=0.25)
    assert np.allclose(grown[:, :5], [1.25, 2.25, 3.25, 4, 4])
    assert np.isneginf(grown[:, 5]).all()
    bottom = raster_bottom(corners, (0.0, 0.0), (4, 6), 1.0)
    assert np.allclose(bottom[:, :4], [0, 1, 2, 3])
    assert np.isposinf(bottom[:, 4:]).all()


@pytest.mark.parametrize("shift", [0.0, 0.3])
def test_a_block_on_the_grid_takes_its_own_cells_only(shift: float) -> None:
    f = view(block((1 + shift, 2, 0), (3 + shift, 5, 7)), (0, 0, 1), 1.0, margin=2.0)
    assert f.index == (0, -1)
    filled = np.isfinite(f.z)
    assert filled.sum() == (6 if shift == 0 else 9)
    assert (f.z[filled] == 7.0).all()


def test_chord_error_covers_the_true_cylinder() -> None:
    sides = 12
    error = 10.0 * (1 - np.cos(np.pi / sides))
    body = as_mesh(trimesh.creation.cylinder(radius=10.0, height=8.0, sections=sides), error)
    f = view(body, (0, 0, 1), 0.25)
    u, v = f.centres()
    near = np.hypot(np.maximum(abs(u) - 0.125, 0)[None, :], np.maximum(abs(v) - 0.125, 0)[:, None]) < 10.0
    assert np.isfinite(f.z)[near].all()
    assert f.z[near].min() == pytest.approx(4.0 + error)


def test_joined_fields_share_the_grid() -> None:
    a = view(block((0, 0, 0), (2, 2, 3)), (0, 0, 1), 0.5)
    b = view(block((1, -1, 0), (4, 1, 5)), (0, 0, 1), 0.5)
    both = joined([a, b])
    origin, shape = grid_over(np.array([0.0, -1.0]), np.array([4.0, 2.0]), 0.5)
    assert np.array_equal(both.origin, origin)
    assert both.z.shape == shape
    assert both.z[0, 2] == 5.0
    assert both.z[5, 0] == 3.0
    assert np.isneginf(both.z[0, 0])


@pytest.mark.parametrize("radius", [0.3, 1.0, 3.2, 6.0])
@pytest.mark.parametrize("slack", [-1.0, -0.5, 0.5, 1.0])
def test_dilation_equals_the_plain_footprint(radius: float, slack: float) -> None:
    z = np.random.default_rng(3).uniform(0, 9, (37, 23))
    g = np.maximum(0, abs(np.arange(-9, 10)) + slack)
    footprint = np.hypot(g[:, None], g[None, :]) < radius - 1e-9
    ours = dilate(z, radius, slack)
    if not footprint.any():
        assert np.isneginf(ours).all()
        return
    assert np.array_equal(ours, ndimage.grey_dilation(z, footprint=footprint, mode="constant", cval=-1.0))
    eroded = ndimage.grey_erosion(z, footprint=footprint, mode="constant", cval=99.0)
    assert np.array_equal(erode(z, radius, slack), eroded)


@pytest.mark.parametrize("width", [np.float64, np.float32])
def test_dilation_of_steps_slopes_and_gaps_equals_the_plain_footprint(width: type) -> None:
    """Level steps go by their rims, slopes by running maxima, both mixed in one field: same answer."""
    rng = np.random.default_rng(11)
    for _ in range(60):
        steps = np.kron(np.round(rng.uniform(0, 4, (6, 7))), np.ones((7, 6)))
        z = steps + np.where(rng.random(steps.shape) < rng.choice([0.0, 0.02, 1.0]), rng.random(steps.shape), 0.0)
        z[np.kron(rng.random((6, 7)) < 0.3, np.ones((7, 6))) > 0] = -np.inf
        radius = float(rng.uniform(0.6, 12.0))
        g = np.maximum(0, abs(np.arange(-13, 14)) - 0.5)
        footprint = np.hypot(g[:, None], g[None, :]) < radius - 1e-9
        ours = dilate(z.astype(width), radius)
        assert ours.dtype == width
        plain = ndimage.grey_dilation(np.maximum(z, -9.0), footprint=footprint, mode="constant", cval=-9.0)
        assert np.array_equal(np.maximum(ours, -9.0), plain.astype(width))


def test_lowest_tip_beside_a_wall_stands_on_the_holder() -> None:
    # wall 20 high in u >= 10; cutter radius 3 for 12, holder radius 8 above it
    pitch = 0.5
    f = view(block((10, 0, 0), (14, 30, 20)), (0, 0, 1), pitch, origin=np.zeros(2), shape=(60, 30))
    stack = ((3.0, 0.0, 12.0), (8.0, 12.0, 60.0))
    low = lowest_tip(f.z, stack, pitch)[30]
    u = f.centres()[0]
    truth = np.where(u > 7.0, 20.0, np.where(u > 2.0, 8.0, -np.inf))
    assert (low[u < 14] >= truth[u < 14]).all()
    assert np.array_equal(low[u < 14], truth[u < 14])
    hopeful = lowest_tip(f.z, stack, pitch, optimistic=True)[30]
    assert (hopeful <= low).all()
    assert np.array_equal(hopeful[u < 6.4], np.where(u[u < 6.4] > 2.51, 8.0, -np.inf))
    roomy = lowest_tip(f.z, stack, pitch, 1.0, 2.0)[30]
    assert np.array_equal(roomy[u < 14], np.where(u > 6.0, 22.0, np.where(u > 1.0, 10.0, -np.inf))[u < 14])


def test_the_true_lowest_tip_lies_between_both_answers() -> None:
    rng = np.random.default_rng(5)
    ball = trimesh.creation.icosphere(subdivisions=3, radius=8.0)
    f = view(as_mesh(ball), frame_of((0.3, -0.5, 0.8)), 0.25, margin=8.0)
    stack = ((2.0, 0.0, 6.0), (5.0, 6.0, 30.0))
    safe = lowest_tip(f.z, stack, 0.25)
    hopeful = lowest_tip(f.z, stack, 0.25, optimistic=True)
    points = trimesh.sample.sample_surface(ball, 200000, seed=1)[0] @ f.frame.T
    u, v = f.centres()
    for _ in range(40):
        j, i = rng.integers(0, f.z.shape[0]), rng.integers(0, f.z.shape[1])
        gap = np.hypot(points[:, 0] - u[i], points[:, 1] - v[j])
        needed = max((points[gap < r, 2].max(initial=-np.inf) - start) for r, start, _ in stack)
        assert safe[j, i] >= needed
        # samples miss the last bit of the true greatest height
        assert hopeful[j, i] <= needed + 0.1 or np.isneginf(hopeful[j, i])
