"""Carrier models and drawings: every hole where its device stands, in the solid, the drawing and the table alike."""

from __future__ import annotations

import io

import ezdxf
import numpy as np
import pytest

from palletwright.papers.carriers import ENGAGED, RUNOUT, TAP_DRILL, carrier_model
from palletwright.papers.drawings import drawing_sheet, hole_row, side_dxf, side_names
from palletwright.papers.models import holes_in, write_carrier


@pytest.fixture(scope="module", params=["fixed", "turning"])
def model(request, given, live):
    placing = next(p for p in given.design.placings if p.mount == request.param)
    return carrier_model(given, 0, placing, live)


def test_a_clamp_gets_its_thread_and_a_locator_a_thread_and_two_dowels(model, given):
    assert len(model.holes) == 2 * 4
    assert not model.notes
    clamp = next(c for c in given.shop.clamps if c.kind == "edge")
    tapped = [h for h in model.holes if h.device.endswith("clamp-1")]
    assert {h.thread for h in tapped} == {clamp.screw}
    size = float(clamp.screw[1:])
    for h in tapped:
        assert h.diameter == TAP_DRILL[clamp.screw]
        assert h.depth == pytest.approx(ENGAGED * size + RUNOUT[clamp.screw], abs=1e-9)
    assert sum(h.fit == "H7" for h in model.holes) == 4


def test_a_turned_station_turns_its_holes(given, live):
    """Station 10.2 is turned by 180 degrees: its clamp stands on the other side of its part."""
    placing = next(p for p in given.design.placings if p.mount == "fixed")
    holes = {h.device: h for h in carrier_model(given, 0, placing, live).holes if h.device.endswith("clamp-1")}
    assert (holes["10.1/clamp-1"].x, holes["10.1/clamp-1"].y) == pytest.approx((-60.0, 40.0 - 23.0), abs=1e-6)
    assert (holes["10.2/clamp-1"].x, holes["10.2/clamp-1"].y) == pytest.approx((60.0, -40.0 + 23.0), abs=1e-6)


def test_the_step_file_has_every_hole_at_its_place(model, tmp_path):
    path = tmp_path / "carrier.step"
    write_carrier(model, path)
    found = holes_in(path)
    assert len(found) == len(model.holes)
    for h in model.holes:
        near = [
            np.linalg.norm(np.cross(np.asarray(h.at) - point, axis))
            for radius, point, axis in found
            if abs(radius - h.diameter / 2) < 1e-6
        ]
        assert min(near) < 1e-6


def test_the_drawing_is_clean_and_has_the_holes_of_the_solid(model, given):
    for side in side_names(model):
        text = side_dxf(given, 0, model, side)
        document = ezdxf.read(io.StringIO(text))
        assert not document.audit().errors
        drawn = [(e.dxf.center.x, e.dxf.center.y, 2 * e.dxf.radius) for e in document.query("CIRCLE")]
        holes = [h for h in model.holes if h.side == side]
        assert len(drawn) == len(holes)
        for h in holes:
            assert min(np.hypot(h.x - x, h.y - y) + abs(h.diameter - d) for x, y, d in drawn) < 1e-6
        texts = {t.dxf.text for t in document.query("TEXT")}
        assert {cell for h in holes for cell in hole_row(h)} <= texts
        assert text == side_dxf(given, 0, model, side)


def test_the_sheet_has_one_row_for_each_hole(model, given):
    sheet = drawing_sheet(given, 0, model, "A4")
    rows = [r for b in sheet.blocks if b["kind"] == "table" for r in b["rows"]]
    assert sorted(r[0] for r in rows) == sorted(h.label for h in model.holes)


def test_a_long_hole_table_keeps_every_row(model, given):
    from dataclasses import replace

    many = tuple(replace(h, label=f"{h.label}.{k}", side="one") for k in range(4) for h in model.holes)
    blocks = drawing_sheet(given, 0, replace(model, holes=many), "A4").blocks
    (columns,) = [b for b in blocks if b["kind"] == "columns"]
    rows = [r[0] for b in (*columns["left"], *columns["right"]) for r in b["rows"]]
    assert rows == [h.label for h in many]


def test_a_hole_off_the_carrier_is_left_out_and_named(given, live):
    from dataclasses import replace

    stations = (replace(given.design.stations[0], y=-10000.0), *given.design.stations[1:])
    assert stations
    far = [dict(b) for b in given.way["scene"]["cycles"][0]["bodies"]]
    for b in far:
        if b["owner"] == "10.1":
            b["pose"] = [*b["pose"][:7], b["pose"][7] - 10000.0, *b["pose"][8:]]
    scene = given.way["scene"] | {"cycles": [given.way["scene"]["cycles"][0] | {"bodies": far}]}
    moved = replace(given, way=given.way | {"scene": scene})
    placing = next(p for p in given.design.placings if p.mount == "fixed")
    model = carrier_model(moved, 0, placing, live)
    assert len(model.holes) == 4
    assert len(model.notes) == 4
    assert all("10.1/" in note and "left out" in note for note in model.notes)
