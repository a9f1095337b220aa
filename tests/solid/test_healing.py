"""Broken files: sewn, turned round or recognised where that is sound, and said; triangles fitted."""

from __future__ import annotations

import math
import os
from collections import Counter
from pathlib import Path

import pytest

from palletwright.demo import demo_job
from palletwright.errors import SolidError
from palletwright.solid import manifold, read_step
from palletwright.solid.facets import fitted_faces, sagitta

YOKE = demo_job().parent / "hinge_yoke.step"
SHARED = Path(os.environ.get("PALLETWRIGHT_SHARED", Path(__file__).parents[3] / "shared")) / "parts"


def export(shape: object, path: Path) -> Path:
    from build123d import export_step

    export_step(shape, str(path))  # type: ignore[arg-type]
    return path


def loose_faces(keep: int | None = None) -> object:
    from build123d import Box, Compound

    return Compound(children=[face.moved(face.location.__class__()) for face in Box(20, 10, 5).faces()[:keep]])


def test_loose_faces_that_close_are_sewn_and_said(tmp_path: Path) -> None:
    solid = read_step(export(loose_faces(), tmp_path / "faces.step"))
    assert solid.volume == pytest.approx(1000)
    assert manifold(solid.mesh).volume() == pytest.approx(1000)
    assert any("6 loose faces sewn" in note for note in solid.notes)


def test_loose_faces_with_one_missing_are_refused(tmp_path: Path) -> None:
    with pytest.raises(SolidError, match=r"5 faces leave 4 edges open"):
        read_step(export(loose_faces(5), tmp_path / "faces.step"))


def test_free_form_faces_that_are_round_or_flat_are_recognised(tmp_path: Path) -> None:
    from build123d import Box, Cylinder, Part
    from OCP.BRepBuilderAPI import BRepBuilderAPI_NurbsConvert

    drilled = Box(20, 20, 10) - Cylinder(3, 10)
    free = Part(BRepBuilderAPI_NurbsConvert(drilled.wrapped, True).Shape())
    solid = read_step(export(free, tmp_path / "free.step"))
    assert Counter(f.kind for f in solid.faces) == {"plane": 6, "cylinder": 1}
    assert all(f.free_form for f in solid.faces)
    (hole,) = [f for f in solid.faces if f.kind == "cylinder"]
    assert hole.radius == pytest.approx(3, abs=1e-3)
    assert hole.hollow
    assert abs(hole.axis[2]) == pytest.approx(1, abs=1e-5)
    assert hole.span[1] == pytest.approx(10, abs=1e-3)
    assert hole.sweep == pytest.approx(360, abs=1)
    top = max((f for f in solid.faces if f.kind == "plane"), key=lambda f: f.centroid[2])
    assert top.axis == pytest.approx((0, 0, 1), abs=1e-6)


def test_surfaces_fitted_to_triangles_are_those_of_the_exact_solid() -> None:
    solid = read_step(YOKE)
    for exact, fitted in zip(solid.faces, fitted_faces(solid.mesh), strict=True):
        assert fitted.kind == exact.kind
        assert fitted.neighbours == exact.neighbours
        assert fitted.area == pytest.approx(exact.area, rel=0.02)
        if exact.kind == "plane":
            assert fitted.axis == pytest.approx(exact.axis, abs=1e-6)
        else:
            assert (fitted.hollow, fitted.radius) == (exact.hollow, pytest.approx(exact.radius, abs=2e-3))
            assert fitted.sweep == pytest.approx(exact.sweep, abs=0.5)
            assert math.isclose(abs(sum(a * b for a, b in zip(fitted.axis, exact.axis, strict=True))), 1, abs_tol=1e-5)
    assert solid.mesh.chord_error / 3 < sagitta(solid.mesh) < solid.mesh.chord_error * 3


@pytest.mark.skipif(not SHARED.is_dir(), reason=f"the shared parts aren't at {SHARED}")
def test_triangles_only_file_keeps_most_of_its_round_faces() -> None:
    """The file names 159 cylinders beside its facets, many of them cut into few, slanting ones."""
    solid = read_step(SHARED / "awkward" / "nist__nist_ftc_08_asme1_ap242-e1-tg.stp")
    kinds = Counter(f.kind for f in solid.faces)
    assert 120 <= kinds["cylinder"] <= 159
    assert kinds["plane"] == 85
    assert solid.mesh.chord_error > 0.05
