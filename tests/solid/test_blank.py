"""Own axes follow the part when it is turned; blanks hold the part, at the size that was asked for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from palletwright.demo import demo_job
from palletwright.errors import SolidError
from palletwright.job.model import Blank
from palletwright.solid import Solid, box, manifold, part_frame, read_step, stock_mesh, subtract, union
from palletwright.solid.model import Face, Floats, Mesh

DEMO = demo_job().parent


@pytest.fixture(scope="module")
def yoke() -> Solid:
    return read_step(DEMO / "hinge_yoke.step")


def moved(solid: Solid, turn: Floats, shift: tuple[float, float, float] = (0, 0, 0)) -> Solid:
    transform = np.eye(4)
    transform[:3, :3], transform[:3, 3] = turn, shift

    def of(face: Face) -> Face:
        return replace(
            face,
            axis=tuple(turn @ face.axis),
            point=tuple(turn @ face.point + shift),
            centroid=tuple(turn @ face.centroid + shift),
        )

    return replace(solid, mesh=solid.mesh.moved(transform), faces=tuple(of(f) for f in solid.faces))


def plain(mesh: Mesh, name: str = "plain") -> Solid:
    """A solid with one flat face for each triangle."""
    faces = []
    for k, (a, b, c) in enumerate(mesh.corners):
        across = np.cross(b - a, c - a)
        area = float(np.linalg.norm(across) / 2)
        at = tuple((a + b + c) / 3)
        faces.append(Face(k, "plane", area, at, (tuple(a), tuple(a)), point=at, axis=tuple(across / (2 * area))))
    return Solid(name, mesh, tuple(faces), mesh.volume)


def contains(outer: Mesh, inner: Mesh) -> bool:
    left = subtract(inner, outer)
    return not len(left.triangles) or left.volume < 1e-6


@pytest.mark.parametrize("seed", range(8))
def test_frame_turns_with_the_part(yoke: Solid, seed: int) -> None:
    turn = Rotation.random(rng=np.random.default_rng(seed)).as_matrix()
    own = part_frame(yoke)
    assert np.linalg.det(own) == pytest.approx(1)
    assert own.T @ own == pytest.approx(np.eye(3))
    turned = moved(yoke, turn, (5, -7, 11))
    # the yoke is a mirror image of itself in all but its tapped hole: every axis' sign is still decided
    assert part_frame(turned) == pytest.approx(turn @ own, abs=1e-6)
    assert stock_mesh(turned, Blank()).volume == pytest.approx(stock_mesh(yoke, Blank()).volume)


def test_frame_of_a_mirrored_part_spans_the_same_block(yoke: Solid) -> None:
    mirror = np.diag([1.0, -1.0, 1.0])
    other = part_frame(moved(yoke, mirror))
    assert np.linalg.det(other) == pytest.approx(1)
    assert np.abs(other) == pytest.approx(np.abs(mirror @ part_frame(yoke)), abs=1e-6)


def test_frame_is_longest_first_and_the_files_axes_where_they_fit(yoke: Solid) -> None:
    frame = part_frame(yoke)
    assert np.abs(frame) == pytest.approx(np.eye(3), abs=0)
    assert list(np.ptp(yoke.mesh.vertices @ frame, axis=0)) == pytest.approx([62, 44, 28])


def test_frame_follows_flat_area_not_the_file() -> None:
    turn = Rotation.from_euler("z", 30, degrees=True).as_matrix()
    turned = moved(plain(box((0, 0, 0), (40, 20, 10))), turn)
    assert np.abs(turn.T @ part_frame(turned)) == pytest.approx(np.eye(3), abs=1e-9)


def test_nominal_block_has_the_allowance_on_every_face(yoke: Solid) -> None:
    assert np.ptp(stock_mesh(yoke, Blank(allowance=2.0)).bounds, axis=0) == pytest.approx([66, 48, 32])


def test_largest_and_smallest_differ_by_the_tolerance_both_ways(yoke: Solid) -> None:
    blank = Blank(allowance=2.0, tolerance=0.5)
    sizes = {
        side: np.ptp(stock_mesh(yoke, blank, side=side).bounds, axis=0) for side in ("smallest", "nominal", "largest")
    }
    assert sizes["largest"] - sizes["nominal"] == pytest.approx([0.5] * 3)
    assert sizes["nominal"] - sizes["smallest"] == pytest.approx([0.5] * 3)


def test_blank_that_is_too_small_says_by_how_much(yoke: Solid) -> None:
    with pytest.raises(SolidError, match=r"60 x 50 x 30 mm.*stands out of the blank by 1 mm"):
        stock_mesh(yoke, Blank(size=(60, 50, 30)))
    with pytest.raises(SolidError, match=r"stands out of the blank by 0.25 mm"):
        stock_mesh(yoke, Blank(allowance=0.0, tolerance=0.5), side="smallest")


def test_grip_stock_lies_below_or_where_asked(yoke: Solid) -> None:
    blank = Blank(allowance=1.0, grip_stock=4.0)
    own = part_frame(yoke)
    below = stock_mesh(yoke, blank).vertices @ own
    part = yoke.mesh.vertices @ own
    assert part[:, 2].min() - below[:, 2].min() == pytest.approx(5)
    assert below[:, 2].max() - part[:, 2].max() == pytest.approx(1)
    asked = stock_mesh(yoke, blank, grip_side=(0, 1, 0))
    assert asked.bounds[1][1] == pytest.approx(44 + 5)


def test_finished_blank_is_the_bounding_block(yoke: Solid) -> None:
    assert stock_mesh(yoke, Blank(kind="finished"), side="largest").volume == pytest.approx(62 * 44 * 28)


def test_round_bar_lies_along_the_axis_that_wastes_least(yoke: Solid) -> None:
    bar = stock_mesh(yoke, Blank(kind="round", allowance=1.0))
    assert contains(bar, yoke.mesh)
    # least circle round the outline seen along z: it touches the rear corners (R8) and those of the arms (R6)
    x = brentq(lambda x: np.hypot(x - 8, 14) + 8 - np.hypot(56 - x, 16) - 6, 8, 56)
    radius, length = np.hypot(x - 8, 14) + 8 + 1, 28 + 2
    assert bar.volume == pytest.approx(np.pi * radius**2 * length, rel=0.001)
    assert np.ptp(bar.bounds[:, 2]) == pytest.approx(30)


def test_round_bar_by_size(yoke: Solid) -> None:
    bar = stock_mesh(yoke, Blank(kind="round", size=(70, 55, 55)))
    assert np.ptp(bar.bounds[:, 0]) == pytest.approx(70)
    assert bar.volume == pytest.approx(np.pi * 27.5**2 * 70, rel=0.001)
    with pytest.raises(SolidError, match=r"70 x 54 x 55: .*same diameter on two axes"):
        stock_mesh(yoke, Blank(kind="round", size=(70, 54, 55)))


def test_blank_from_file_must_hold_the_part(yoke: Solid) -> None:
    with pytest.raises(SolidError, match=r"mm³ of the part stand out of the blank"):
        stock_mesh(yoke, Blank(kind="file", file=DEMO / "valve_block.step"))
    same = stock_mesh(yoke, Blank(kind="file", file=DEMO / "hinge_yoke.step"))
    assert manifold(same).volume() == pytest.approx(yoke.volume, rel=1e-3)


def test_turned_part_without_cross_faces_gets_the_smallest_rectangle() -> None:
    """A prism with flat ends and one slanting pair of sides: the only square pair is found by the outline."""
    mesh = union([box((0, 0, 0), (30, 10, 5))])
    solid = plain(mesh)
    ends = tuple(f for f in solid.faces if abs(f.axis[2]) > 0.9)
    turn = Rotation.from_euler("z", 20, degrees=True).as_matrix()
    lone = moved(replace(solid, faces=ends), turn)
    assert np.ptp(lone.mesh.vertices @ part_frame(lone), axis=0) == pytest.approx([30, 10, 5])
