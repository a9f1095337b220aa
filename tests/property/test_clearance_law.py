"""Laws of the clearance: never above the CAD kernel's exact distance, near it where nothing overhangs, and blind to
how the scene lies on the grid."""

from __future__ import annotations

import itertools
import multiprocessing
from typing import Any

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from palletwright.field import HeightField, clearances, joined, view
from palletwright.solid.model import Mesh

ASCENDING = ((2.0, 0.0, 10.0), (4.0, 10.0, 24.0), (9.0, 24.0, 60.0))
SHANKED = ((5.0, 0.0, 10.0), (3.0, 10.0, 24.0), (9.0, 24.0, 60.0))
SECTIONS = 48

Solid = tuple[str, tuple[float, ...], np.ndarray]


def solids(seed: int, count: int, upright: bool) -> list[Solid]:
    """Random boxes and cylinders: (kind, sizes, pose); upright ones stand on z = 0 with flat tops."""
    rng = np.random.default_rng(seed)
    out: list[Solid] = []
    for k in range(count):
        kind = "box" if k % 2 else "cylinder"
        size = tuple(rng.uniform(4, 14, 3 if kind == "box" else 2))
        pose = np.eye(4)
        turn = Rotation.from_euler("z", rng.uniform(0, 360), degrees=True) if upright else Rotation.random(rng=rng)
        pose[:3, :3] = turn.as_matrix()
        pose[:3, 3] = (*rng.uniform(0, 60, 2), size[-1] / 2 if upright else rng.uniform(0, 10))
        out.append((kind, size, pose))
    return out


def as_mesh(solid: Solid) -> Mesh:
    kind, size, pose = solid
    if kind == "box":
        body, error = trimesh.creation.box(extents=size), 0.0
    else:
        body = trimesh.creation.cylinder(radius=size[0], height=size[1], sections=SECTIONS)
        error = size[0] * (1 - np.cos(np.pi / SECTIONS))
    return Mesh(np.array(body.vertices), np.array(body.faces, np.int32), chord_error=error).moved(pose)


def exact_distances(scene: list[Solid], tips: np.ndarray, stack: tuple[tuple[float, float, float], ...]) -> list[float]:
    """Runs in a spawned child: the CAD kernel's least distance from each tool to the solids."""
    from OCP.BRep import BRep_Builder
    from OCP.BRepBuilderAPI import BRepBuilderAPI_Transform
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox, BRepPrimAPI_MakeCylinder
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt, gp_Trsf
    from OCP.TopoDS import TopoDS_Compound

    def compound(shapes: list[Any]) -> Any:
        out, builder = TopoDS_Compound(), BRep_Builder()
        builder.MakeCompound(out)
        for s in shapes:
            builder.Add(out, s)
        return out

    placed = []
    for kind, size, pose in scene:
        if kind == "box":
            shape = BRepPrimAPI_MakeBox(gp_Pnt(*(-s / 2 for s in size)), *size).Solid()
        else:
            base = gp_Ax2(gp_Pnt(0, 0, -size[1] / 2), gp_Dir(0, 0, 1))
            shape = BRepPrimAPI_MakeCylinder(base, *size).Solid()
        move = gp_Trsf()
        move.SetValues(*pose[:3].ravel().tolist())
        placed.append(BRepBuilderAPI_Transform(shape, move, True).Shape())
    obstacle = compound(placed)
    out = []
    for tip in tips:
        steps = [
            BRepPrimAPI_MakeCylinder(gp_Ax2(gp_Pnt(*tip[:2], tip[2] + a), gp_Dir(0, 0, 1)), r, b - a).Solid()
            for r, a, b in stack
        ]
        out.append(float(BRepExtrema_DistShapeShape(compound(steps), obstacle).Value()))
    return out


def in_child(jobs: list[tuple[list[Solid], np.ndarray, tuple[tuple[float, float, float], ...]]]) -> list[np.ndarray]:
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        return [np.array(d) for d in pool.starmap(exact_distances, jobs)]


def seen(scene: list[Solid], pitch: float) -> HeightField:
    return joined([view(as_mesh(s), (0, 0, 1), pitch) for s in scene])


def tips_for(seed: int, count: int) -> np.ndarray:
    return np.random.default_rng(seed).uniform((-10, -10, 0), (70, 70, 30), (count, 3))


@pytest.mark.slow
def test_never_above_the_exact_distance_and_within_the_bound_where_nothing_overhangs() -> None:
    jobs = [(solids(k, 6, upright=False), tips_for(100 + k, 60), SHANKED) for k in range(5)]
    jobs += [(solids(50 + k, 6, upright=True), tips_for(200 + k, 60), ASCENDING) for k in range(3)]
    exact = in_child(jobs)
    compared, late = 0, {0.5: [], 0.25: []}
    for (scene, tips, stack), true in zip(jobs, exact, strict=True):
        for pitch in (1.0, 0.5, 0.25):
            ours = clearances(tips, stack, seen(scene, pitch), cap=60.0).distance
            assert (ours <= true + 1e-6).all(), f"{(ours - true).max():.4f} mm above the true distance"
            compared += len(tips)
            if stack is ASCENDING:
                error = max(as_mesh(s).chord_error for s in scene)
                # nearest cell square: at most its diagonal nearer than the body in it; chord error both ways
                bound = np.sqrt(2) * (pitch + 2 * error) + error
                near = true < 59
                assert (ours[near] >= true[near] - bound).all(), f"{(true - ours)[near].max():.4f} > {bound:.4f}"
                if pitch in late:
                    late[pitch].extend((true - ours)[near & (true > 0)])
    assert compared == 8 * 60 * 3
    assert len(late[0.5]) > 100


@pytest.mark.slow
def test_refinement_halves_the_pessimism() -> None:
    scene = [s for s in solids(77, 12, upright=True) if s[0] == "box"]
    tips = tips_for(9, 250)
    (true,) = in_child([(scene, tips, ASCENDING)])
    away = (true > 0.5) & (true < 40)
    assert away.sum() > 80
    means = [
        (true - clearances(tips, ASCENDING, seen(scene, p), cap=60.0).distance)[away].mean() for p in (1.0, 0.5, 0.25)
    ]
    for coarse, fine in itertools.pairwise(means):
        assert 1.6 < coarse / fine < 2.4, means


def test_turning_mirroring_and_shifting_the_scene_change_nothing() -> None:
    scene = [as_mesh(s) for s in solids(11, 6, upright=False)]
    tips = tips_for(12, 150)
    before = clearances(tips, SHANKED, joined([view(m, (0, 0, 1), 0.5) for m in scene]), cap=60.0)
    quarter, mirror, shift = np.eye(4), np.eye(4), np.eye(4)
    quarter[:2, :2] = ((0, -1), (1, 0))
    mirror[0, 0] = -1
    shift[:3, 3] = (37.5, -12.0, 4.2)
    for move in (quarter, mirror, shift, quarter @ mirror @ shift):
        f = joined([view(m.moved(move), (0, 0, 1), 0.5) for m in scene])
        moved = tips @ move[:3, :3].T + move[:3, 3]
        after = clearances(moved, SHANKED, f, cap=60.0)
        assert np.allclose(after.distance, before.distance, atol=1e-8)
        assert np.allclose(after.have, before.have, atol=1e-8)
    assert 10 < (before.distance == 0).sum() < 140


def test_a_sideways_view_gives_what_the_turned_scene_gives() -> None:
    scene = [as_mesh(s) for s in solids(21, 5, upright=False)]
    direction = np.array([0.0, -0.6, 0.8])
    f = joined([view(m, direction, 0.5) for m in scene])
    turn = np.eye(4)
    turn[:3, :3] = f.frame
    upright = joined([view(m.moved(turn), (0, 0, 1), 0.5) for m in scene])
    assert upright.index == f.index
    both = np.isfinite(f.z) & np.isfinite(upright.z)
    assert np.allclose(f.z[both], upright.z[both], atol=1e-9)
