"""Every part of the shared set loads with the counts that its own list states; differences are explained here."""

from __future__ import annotations

import csv
import os
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from palletwright.errors import SolidError
from palletwright.job.model import Blank
from palletwright.solid import manifold, part_frame, read_step, stock_mesh, write_step
from palletwright.solid.primitives import Exact, placed

SHARED = Path(os.environ.get("PALLETWRIGHT_SHARED", Path(__file__).parents[3] / "shared")) / "parts"
AWKWARD = SHARED / "awkward"
pytestmark = pytest.mark.skipif(not SHARED.is_dir(), reason=f"the shared parts aren't at {SHARED}")


def rows() -> list[dict[str, str]]:
    return list(csv.DictReader((SHARED / "parts.csv").read_text().splitlines())) if SHARED.is_dir() else []


@pytest.mark.parametrize("row", rows(), ids=lambda r: r["file"])
def test_part_loads_as_listed(row: dict[str, str]) -> None:
    solid = read_step(SHARED / row["file"])
    kinds = Counter(f.kind for f in solid.faces)
    assert (len(solid.faces), kinds["plane"], kinds["cylinder"]) == tuple(
        int(row[k]) for k in ("faces", "planes", "cylinders")
    )
    size = np.ptp(solid.mesh.bounds, axis=0)
    listed = [float(v) for v in row["bbox_mm"].split(" x ")]
    assert np.allclose(size, listed, atol=max(2 * solid.mesh.chord_error, 0.001))
    body = manifold(solid.mesh)
    assert body.volume() == pytest.approx(solid.volume, rel=1e-3)
    area = sum(f.area for f in solid.faces)
    assert abs(solid.mesh.volume - solid.volume) <= area * solid.mesh.chord_error + 1e-6 * solid.volume
    assert set(np.unique(solid.mesh.face_of)) <= {f.id for f in solid.faces}


def test_stray_edges_are_ignored_and_said() -> None:
    solid = read_step(SHARED / "nist__nist_ftc_06_asme1_rd.stp")
    assert any("annotation" in note for note in solid.notes)
    assert solid.unit == "INCH"


def test_stray_face_is_ignored_and_said() -> None:
    """The list counts 518 faces and 113 planes: one plane stands outside the solid."""
    solid = read_step(AWKWARD / "nist__nist_ctc_04_asme1_rd.stp")
    assert len(solid.faces) == 517
    assert sum(f.kind == "plane" for f in solid.faces) == 112
    assert "1 faces outside any solid ignored" in solid.notes
    assert manifold(solid.mesh).volume() == pytest.approx(solid.volume, rel=1e-3)


def test_two_solids_need_a_choice() -> None:
    path = AWKWARD / "headframe__0160-075-00_FR.step"
    with pytest.raises(SolidError, match=r"2 solids.*24\.5986 x 11\.5239") as caught:
        read_step(path)
    (fault,) = caught.value.faults
    assert (fault.key, fault.allowed) == ("solid", "solid = 1..2")
    with pytest.raises(SolidError, match=r"solid = 3"):
        read_step(path, 3)
    assert read_step(path, 2).volume < read_step(path, 1).volume


def test_eighty_metre_part_is_a_unit_error() -> None:
    with pytest.raises(SolidError, match=r"66847\.4 x 86350\.1 x 50000 mm.*over 10 m.*wrong unit"):
        read_step(AWKWARD / "mfinstseg__partA.step")


def test_file_without_geometry() -> None:
    with pytest.raises(SolidError, match="no solid and no faces"):
        read_step(AWKWARD / "nicolase__DichroicSpacers_v2.step")


def test_triangles_only() -> None:
    solid = read_step(AWKWARD / "nist__nist_ftc_08_asme1_ap242-e1-tg.stp")
    assert manifold(solid.mesh).volume() == pytest.approx(solid.volume)
    assert any("triangles only" in note for note in solid.notes)


@pytest.mark.parametrize("file", ["nist__nist_ftc_06_asme1_rd.stp", "mfcadpp__388.step"])
def test_turned_copy_has_the_turned_frame_and_the_same_blank(file: str, tmp_path: Path) -> None:
    """Through a STEP file, so that everything is read and meshed anew."""
    solid = read_step(SHARED / file)
    move = np.eye(4)
    move[:3, :3], move[:3, 3] = Rotation.from_euler("xyz", [20, 50, -70], degrees=True).as_matrix(), (10, 20, -30)
    write_step(tmp_path / "turned.step", [("turned", placed(Exact(solid.brep), move))])
    copy = read_step(tmp_path / "turned.step")
    assert part_frame(copy) == pytest.approx(move[:3, :3] @ part_frame(solid), abs=1e-6)
    assert stock_mesh(copy, Blank()).volume == pytest.approx(stock_mesh(solid, Blank()).volume, rel=1e-5)
    assert [f.kind for f in copy.faces] == [f.kind for f in solid.faces]
