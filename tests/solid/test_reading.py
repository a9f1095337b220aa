"""Files that can't be planned say so, name what they hold, and leave no traceback or print of the kernel."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from palletwright.demo import demo_job
from palletwright.errors import SolidError
from palletwright.solid import manifold, read_step

YOKE = demo_job().parent / "hinge_yoke.step"


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "part.step"
    path.write_text(text)
    return path


def test_missing_folder_and_empty(tmp_path: Path) -> None:
    with pytest.raises(SolidError, match=r"nowhere\.step: no such file"):
        read_step(tmp_path / "nowhere.step")
    with pytest.raises(SolidError, match="isn't a file"):
        read_step(tmp_path)
    with pytest.raises(SolidError, match="the file is empty"):
        read_step(written(tmp_path, " \n"))


def test_another_format(tmp_path: Path) -> None:
    with pytest.raises(SolidError, match=r"isn't a STEP file: it begins with 'solid cube'"):
        read_step(written(tmp_path, "solid cube\nfacet normal 0 0 1\n"))


def test_cut_short(tmp_path: Path) -> None:
    with pytest.raises(SolidError, match=r"cut short after \d+ bytes"):
        read_step(written(tmp_path, YOKE.read_text()[:40_000]))


def test_cut_short_and_closed_again(tmp_path: Path) -> None:
    """Entities are missing though the file ends properly: no solid comes out, and that is said."""
    text = "\n".join(YOKE.read_text().splitlines()[:120]) + "\nENDSEC;\nEND-ISO-10303-21;\n"
    with pytest.raises(SolidError, match=r"no solid|no shape|syntax|stopped"):
        read_step(written(tmp_path, text))


def test_garbage_inside(tmp_path: Path) -> None:
    with pytest.raises(SolidError, match=r"no solid|no shape|syntax"):
        read_step(written(tmp_path, "ISO-10303-21;\nHEADER;\nENDSEC;\nDATA;\n#1=)(;;\nENDSEC;\nEND-ISO-10303-21;\n"))


@pytest.mark.parametrize(("unit", "factor"), [("$,.METRE.", 1000.0), (".CENTI.,.METRE.", 10.0)])
def test_scaled_to_millimetres_whatever_the_unit(tmp_path: Path, unit: str, factor: float) -> None:
    text = YOKE.read_text()
    assert ".MILLI.,.METRE." in text
    if factor == 1000.0:
        with pytest.raises(SolidError, match=r"size = 62000 x 44000 x 28000 mm.*over 10 m.*wrong unit"):
            read_step(written(tmp_path, text.replace(".MILLI.,.METRE.", unit)))
    else:
        solid = read_step(written(tmp_path, text.replace(".MILLI.,.METRE.", unit)))
        assert np.ptp(solid.mesh.bounds, axis=0) == pytest.approx([620, 440, 280])


def test_out_of_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PALLETWRIGHT_CACHE", "off")
    with pytest.raises(SolidError, match=r"no answer within 0\.01 s"):
        read_step(YOKE, timeout=0.01)


def test_open_shell_is_refused_with_its_open_edges(tmp_path: Path) -> None:
    """One face is taken out of the shell's list."""
    text = YOKE.read_text()
    at = text.index("CLOSED_SHELL('',(") + len("CLOSED_SHELL('',(")
    first = text[at : text.index(",", at) + 1]
    broken = text.replace(first, "", 1) if text.count(first) == 1 else text[:at] + text[at + len(first) :]
    with pytest.raises(SolidError, match=r"doesn't close|open"):
        read_step(written(tmp_path, broken))


def test_chord_is_kept_and_finer_means_more_triangles() -> None:
    coarse, fine = read_step(YOKE, chord=0.2), read_step(YOKE, chord=0.005)
    assert coarse.mesh.chord_error >= 0.2
    assert fine.mesh.chord_error <= 0.0055
    assert len(fine.mesh.triangles) > 2 * len(coarse.mesh.triangles)
    true = fine.volume
    assert abs(manifold(fine.mesh).volume() / true - 1) < abs(manifold(coarse.mesh).volume() / true - 1)


def test_faces_tell_hole_from_boss_and_their_neighbours() -> None:
    faces = read_step(YOKE).faces
    bore = next(
        f for f in faces if f.kind == "cylinder" and f.hollow and f.radius == pytest.approx(6) and f.sweep > 359
    )
    assert abs(bore.axis[1]) == pytest.approx(1)
    assert bore.span == pytest.approx((0, 14))
    outside = [f for f in faces if f.kind == "cylinder" and not f.hollow]
    assert sorted(f.radius for f in outside) == pytest.approx([6, 6, 8, 8])
    for face in faces:
        assert all(face.id in faces[k].neighbours for k in face.neighbours)
    assert {faces[k].kind for k in bore.neighbours} == {"plane"}
    top = max((f for f in faces if f.kind == "plane"), key=lambda f: f.centroid[2])
    assert top.axis == pytest.approx((0, 0, 1))


def test_second_reading_needs_no_kernel_and_equals_the_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PALLETWRIGHT_CACHE", str(tmp_path))
    first = read_step(YOKE)
    second = read_step(YOKE, timeout=0.001)
    assert (second.mesh.key, second.faces, second.brep) == (first.mesh.key, first.faces, first.brep)
    assert not second.mesh.vertices.flags.writeable
    assert not first.mesh.vertices.flags.writeable


def test_nothing_of_the_kernel_is_loaded_or_printed_here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PALLETWRIGHT_CACHE", "off")
    code = "import sys, palletwright.solid as s; s.read_step(sys.argv[1]); assert 'OCP' not in sys.modules"
    done = subprocess.run([sys.executable, "-c", code, str(YOKE)], capture_output=True, text=True, check=True)
    assert (done.stdout, done.stderr) == ("", "")
