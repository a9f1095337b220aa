"""Blocked displacements agree with an exact collision test of meshes everywhere outside the grid's error band."""

from __future__ import annotations

import fcl
import numpy as np
import trimesh
from scipy import ndimage

from palletwright.field import HeightField, blocked, blocked_along, grid_over, swept_floor, view
from palletwright.solid.model import Mesh

STACK = ((3.0, 0.0, 14.0), (9.0, 14.0, 40.0))
CEILING = 60.0
SECTIONS = 96


def as_mesh(body: trimesh.Trimesh) -> Mesh:
    return Mesh(np.array(body.vertices), np.array(body.faces, np.int32))


def collider(body: trimesh.Trimesh) -> fcl.CollisionObject:
    """Convex bodies as fcl's convex shapes, so that one inside another counts too."""
    faces = np.column_stack([np.full(len(body.faces), 3), body.faces]).ravel()
    return fcl.CollisionObject(fcl.Convex(body.vertices, len(body.faces), faces), fcl.Transform())


def column(radius: float, low: float, tip: np.ndarray) -> trimesh.Trimesh:
    body = trimesh.creation.cylinder(radius=radius, height=CEILING - low, sections=SECTIONS)
    body.apply_translation((tip[0], tip[1], (CEILING + low) / 2))
    return body


def shape(seed: int) -> tuple[list[trimesh.Trimesh], list[trimesh.Trimesh], np.ndarray]:
    """A few convex bodies and the columns that the tool sweeps at three tips."""
    rng = np.random.default_rng(seed)
    bodies = []
    for _ in range(3):
        body = trimesh.convex.convex_hull(rng.uniform(-8, 8, (10, 3)) * (1, 1, 0.9) + (0, 0, 8))
        body.apply_translation((*rng.uniform(-14, 14, 2), 0))
        bodies.append(body)
    tips = np.column_stack([rng.uniform(-14, 14, (3, 2)), rng.uniform(3, 9, 3)])
    return bodies, [column(r, t[2] + start, t) for t in tips for r, start, _ in STACK], tips


def fields(bodies: list[trimesh.Trimesh], tips: np.ndarray, frame: np.ndarray, pitch: float) -> tuple[HeightField, ...]:
    mesh = as_mesh(trimesh.util.concatenate(bodies))
    height = view(mesh, frame, pitch)
    origin, size = grid_over(tips.min(axis=0), tips.max(axis=0), pitch, 12.0)
    return height, HeightField(swept_floor(tips, CEILING, STACK, origin, size, pitch), origin, pitch, frame)


def collide(first: list[fcl.CollisionObject], second: list[fcl.CollisionObject], shift: np.ndarray) -> bool:
    for b in second:
        b.setTransform(fcl.Transform(shift))
    return any(fcl.collide(a, b) for a in first for b in second)


def pillars(bodies: list[trimesh.Trimesh]) -> list[fcl.CollisionObject]:
    """The bodies with the room under them filled, as a tool from above sees them: hull of a body and its shadow."""
    out = []
    for body in bodies:
        shadow = body.vertices * (1, 1, 0) - (0, 0, 30)
        out.append(collider(trimesh.convex.convex_hull(np.vstack([body.vertices, shadow]))))
    return out


def test_shifts_in_the_view_plane() -> None:
    pitch = 0.5
    disagreed = tried = hits = 0
    for seed in (1, 2, 3):
        (body_a, sweep_a, tips_a), (body_b, sweep_b, tips_b) = shape(seed), shape(seed + 10)
        mask, (j0, i0) = blocked(*fields(body_a, tips_a, np.eye(3), pitch), *fields(body_b, tips_b, np.eye(3), pitch))
        padded = np.pad(mask, 4)
        band = np.ones((7, 7), bool)  # three cells: two rasters of a cell each, and the columns' chords
        surely_blocked, surely_free = ndimage.binary_erosion(padded, band), ~ndimage.binary_dilation(padded, band)
        real = pillars(body_a), [collider(s) for s in sweep_a], pillars(body_b), [collider(s) for s in sweep_b]
        for j, i in np.random.default_rng(seed).integers((0, 0), padded.shape, (400, 2)):
            shift = np.array([(i - 4 + i0) * pitch, (j - 4 + j0) * pitch, 0.0])
            hit = collide(real[1], real[2], shift) or collide(real[0], real[3], shift)
            assert padded[j, i] or not hit, f"free at {shift}, but a body stands in the other's tools"
            tried, hits = tried + 1, hits + hit
            disagreed += bool(surely_blocked[j, i]) and not hit
            assert not (surely_free[j, i] and hit)
    assert hits > 200
    assert tried - hits > 200
    assert disagreed == 0


def test_thresholds_along_a_direction_in_the_plane() -> None:
    pitch = 0.5
    (body_a, sweep_a, tips_a), (body_b, sweep_b, tips_b) = shape(5), shape(6)
    found = blocked_along(*fields(body_a, tips_a, np.eye(3), pitch), *fields(body_b, tips_b, np.eye(3), pitch))
    real = pillars(body_a), [collider(s) for s in sweep_a], pillars(body_b), [collider(s) for s in sweep_b]
    ranks = np.flatnonzero(np.isfinite(found.above))[::6]
    assert len(ranks) > 8
    for k in ranks:
        shift = np.array([(found.first + k) * pitch, 0.0, 0.0])
        free = shift + np.array([0, 0, found.above[k] - 1e-6])
        assert not collide(real[1], real[2], free), "B in A's tools below the threshold"
        free = shift + np.array([0, 0, found.below[k] + 1e-6]) if np.isfinite(found.below[k]) else free
        assert not collide(real[0], real[3], free), "A in B's tools above the threshold"
    # pessimism: a body slope of up to about 60° over two cells
    late = [collide(real[1], real[2], np.array([(found.first + k) * pitch, 0, found.above[k] + 3.0])) for k in ranks]
    assert np.mean(late) > 0.8
