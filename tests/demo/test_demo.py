"""The demo's parts are what their story says, can be cut with real end mills, and their jobs read."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from palletwright.demo import NAMES, demo_job
from palletwright.job.read import read_job_and_shop
from palletwright.solid import Solid, manifold, read_step

DEMO = demo_job().parent


@pytest.fixture(scope="module")
def solids() -> dict[str, Solid]:
    return {name: read_step(DEMO / f"{name}.step") for name in NAMES}


def test_sizes(solids: dict[str, Solid]) -> None:
    assert np.ptp(solids["hinge_yoke"].mesh.bounds, axis=0) == pytest.approx([62, 44, 28])
    assert np.ptp(solids["valve_block"].mesh.bounds, axis=0) == pytest.approx([120, 50, 50])
    for solid in solids.values():
        assert manifold(solid.mesh).volume() == pytest.approx(solid.volume, rel=1e-3)
        assert solid.notes == ()


def test_yoke_inside_corners_take_a_real_end_mill(solids: dict[str, Solid]) -> None:
    """Part-round hollow walls: radius at least a quarter of the depth, so a cutter of that radius is 2 D to 3 D."""
    corners = [f for f in solids["hinge_yoke"].faces if f.kind == "cylinder" and f.hollow and f.sweep < 180]
    assert len(corners) == 6
    for corner in corners:
        assert corner.span[1] <= 3 * 2 * corner.radius


def test_gallery_is_over_twelve_diameters(solids: dict[str, Solid]) -> None:
    along = [f for f in solids["valve_block"].faces if f.kind == "cylinder" and abs(f.axis[0]) > 0.99]
    gallery = min(along, key=lambda f: f.radius)
    ends = sorted(x for f in along for x in (f.bounds[0][0], f.bounds[1][0]))
    assert (ends[-1] - ends[0]) / (2 * gallery.radius) > 12
    assert {tuple(np.round(f.axis).astype(int)) for f in solids["valve_block"].faces if f.radius == 5.9} >= {
        (0, 1, 0),
        (0, -1, 0),
        (0, 0, 1),
        (0, 0, -1),
    }


@pytest.mark.parametrize("name", NAMES)
def test_job_reads(name: str) -> None:
    job, shop = read_job_and_shop(demo_job(name))
    assert job.part.is_file()
    assert {step.machine for step in job.today} <= {machine.id for machine in shop.machines}
    assert [step.parts_per_start for step in job.today] == {"hinge_yoke": [2, 2, 1], "valve_block": [2, 2, 1, 1]}[name]


def test_unknown_demo_part() -> None:
    with pytest.raises(ValueError, match="allowed: hinge_yoke, valve_block"):
        demo_job("paddle")


@pytest.mark.slow
def test_script_makes_the_shipped_files(tmp_path: Path) -> None:
    code = "import sys, pathlib, palletwright.demo.parts as p; p.HERE = pathlib.Path(sys.argv[1]); p.main()"
    subprocess.run([sys.executable, "-c", code, str(tmp_path)], check=True, capture_output=True)
    for name in NAMES:
        made, shipped = read_step(tmp_path / f"{name}.step"), read_step(DEMO / f"{name}.step")
        assert made.volume == pytest.approx(shipped.volume, rel=1e-12)
        assert [(f.kind, f.area) for f in made.faces] == [(f.kind, pytest.approx(f.area)) for f in shipped.faces]
