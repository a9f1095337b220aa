"""What is written as STEP reads back as the same shape, under its name, byte for byte the same each time."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from palletwright.demo import demo_job
from palletwright.errors import SolidError
from palletwright.solid import read_step, write_step
from palletwright.solid.kernel import Refused
from palletwright.solid.primitives import Block, Cut, Exact, Extrusion, Rod, placed


def test_drilled_block_reads_back(tmp_path: Path) -> None:
    plate = Cut(Block((0, 0, 0), (40, 30, 10)), (Rod((20, 15, -1), (0, 0, 1), 4, 12),))
    for name in ("a", "b"):
        write_step(tmp_path / f"{name}.step", [("plate", plate)])
    solid = read_step(tmp_path / "a.step")
    assert solid.name == "plate"
    assert solid.volume == pytest.approx(40 * 30 * 10 - math.pi * 16 * 10)
    (hole,) = [f for f in solid.faces if f.kind == "cylinder"]
    assert (hole.radius, hole.hollow) == (pytest.approx(4), True)
    header = (tmp_path / "a.step").read_text()[:600]
    assert "2026-01-01T00:00:00" in header
    first, second = ((tmp_path / f"{n}.step").read_text().replace(f"'{n}'", "") for n in ("a", "b"))
    assert first == second


def test_several_shapes_are_several_solids(tmp_path: Path) -> None:
    shapes = [
        ("stop", Extrusion(((0, 0), (10, 0), (0, 10)), 2, 5)),
        ("pin", Rod((50, 0, 0), (1, 0, 0), 3, 20, top_radius=2)),
    ]
    write_step(tmp_path / "two.step", shapes)
    with pytest.raises(SolidError, match="2 solids"):
        read_step(tmp_path / "two.step")
    assert read_step(tmp_path / "two.step", 1).volume == pytest.approx(150)
    assert read_step(tmp_path / "two.step", 2).volume == pytest.approx(math.pi * 20 / 3 * (9 + 6 + 4))
    assert "'pin'" in (tmp_path / "two.step").read_text()


def test_exact_solid_is_carried_over_and_placed(tmp_path: Path) -> None:
    yoke = read_step(demo_job().parent / "hinge_yoke.step")
    move = np.eye(4)
    move[:3, :3], move[:3, 3] = [[0, -1, 0], [1, 0, 0], [0, 0, 1]], (100, 0, 5)
    write_step(tmp_path / "moved.step", [("yoke", placed(Exact(yoke.brep), move))])
    back = read_step(tmp_path / "moved.step")
    assert back.volume == pytest.approx(yoke.volume)
    assert back.mesh.bounds == pytest.approx(np.array([[56, 0, 5], [100, 62, 33]]))
    assert [f.kind for f in back.faces] == [f.kind for f in yoke.faces]


def test_what_cant_be_built_is_refused_by_name(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="wafer: the CAD kernel can't build it"):
        write_step(tmp_path / "x.step", [("wafer", Rod((0, 0, 0), (0, 0, 1), -3, 1))])
    with pytest.raises(ValueError, match="at least one shape"):
        write_step(tmp_path / "x.step", [])
