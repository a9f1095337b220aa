"""Machine-readable tolerances: values and faces from the file's own text, and silence where there are none."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from palletwright.demo import demo_job
from palletwright.errors import SolidError
from palletwright.solid import read_step, read_tolerances

SHARED = Path(os.environ.get("PALLETWRIGHT_SHARED", Path(__file__).parents[3] / "shared")) / "parts"
ANNOTATED = SHARED / "nist__nist_ctc_01_asme1_ap242-e1.stp"
needs_shared = pytest.mark.skipif(not SHARED.is_dir(), reason=f"the shared parts aren't at {SHARED}")


def test_nothing_read_is_said() -> None:
    found = read_tolerances(demo_job().parent / "hinge_yoke.step")
    assert found.items == ()
    assert found.note == "no machine-readable tolerances in the file: nothing was read"


def test_bad_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SolidError, match="no such file"):
        read_tolerances(tmp_path / "no.step")
    with pytest.raises(SolidError, match="holds 1 solids, no number 2"):
        read_tolerances(demo_job().parent / "hinge_yoke.step", 2)


@needs_shared
def test_values_are_those_of_the_file() -> None:
    """Read off the file's text: flatness 0.2, perpendicularity 1.5 to A, two positions 0.75 to A, B, C, and sizes."""
    found, solid = read_tolerances(ANNOTATED), read_step(ANNOTATED)
    by_kind = {k: [t for t in found.items if t.kind == k] for k in {t.kind for t in found.items}}
    assert [t.value for t in by_kind["flatness"]] == [0.2]
    assert [(t.value, t.datums) for t in by_kind["perpendicularity"]] == [(1.5, ("A",))]
    assert [(t.value, t.datums) for t in by_kind["position"]] == [(0.75, ("A", "B", "C"))] * 2
    assert {t.kind for t in found.items} == {
        "datum",
        "flatness",
        "perpendicularity",
        "position",
        "profile of surface",
        "diameter",
        "angular",
    }
    for size in by_kind["diameter"]:
        assert size.faces
        for k in size.faces:
            assert 2 * solid.faces[k].radius == pytest.approx(size.value)
    assert {(t.lower, t.upper) for t in by_kind["diameter"] if t.value == 20} == {(-0.05, 0.1), (-0.1, 0.05)}
    (datum,) = by_kind["datum"]
    assert (datum.datums, solid.faces[datum.faces[0]].kind) == (("A",), "plane")
    assert "no face was found for datum B, C" in found.note


@needs_shared
def test_lower_deviation_keeps_its_sign(tmp_path: Path) -> None:
    """The same file with a lower deviation above zero, as in 20 +0.1 +0.03."""
    path = tmp_path / "above.step"
    path.write_text(ANNOTATED.read_text("latin-1").replace("LENGTH_MEASURE(-0.05)", "LENGTH_MEASURE(0.03)"))
    sizes = [(t.lower, t.upper) for t in read_tolerances(path).items if t.value == 20]
    assert (pytest.approx(0.03), pytest.approx(0.1)) in sizes
