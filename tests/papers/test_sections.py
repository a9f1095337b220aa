"""Sections show what the solid has: areas by formula, holes of every side; nothing drawn stands in anything else."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from palletwright.papers.carriers import carrier_model
from palletwright.papers.drafting import breadth
from palletwright.papers.interference import interferences
from palletwright.papers.sections import gone_at, rod_cut
from palletwright.papers.sheets import fitted

DOWN = np.array([0.0, 0.0, -1.0])


def test_a_hole_cut_off_its_middle_is_a_narrower_strip():
    cut = rod_cut(np.array([10.0, 3.0, 0.0]), DOWN, 5.0, 20.0, 0.0)
    assert cut.area == pytest.approx(20.0 * 2 * 4.0)
    assert cut.bounds == pytest.approx((6.0, -20.0, 14.0, 0.0))
    assert rod_cut(np.array([10.0, 5.0, 0.0]), DOWN, 5.0, 20.0, 0.0).is_empty


def test_a_hole_across_the_plane_is_round_where_it_gets_there_and_nothing_beyond():
    across = np.array([0.0, 1.0, 0.0])
    found = rod_cut(np.array([4.0, -30.0, -7.0]), across, 5.0, 20.0, -15.0)
    assert found.area == pytest.approx(math.pi * 25.0, rel=2e-3)
    assert found.centroid.coords[0] == pytest.approx((4.0, -7.0))
    assert rod_cut(np.array([4.0, -30.0, -7.0]), across, 5.0, 20.0, -5.0).is_empty


@pytest.mark.parametrize("lean", [20.0, 45.0, 70.0])
def test_a_leaning_hole_is_drawn_out_and_ends_at_its_depth(lean):
    """A long one leaves the whole ellipse, one that ends on the plane leaves half."""
    c, s = math.cos(math.radians(lean)), math.sin(math.radians(lean))
    into = np.array([0.0, c, -s])
    start = np.array([0.0, -20.0, 0.0])
    whole = rod_cut(start, into, 3.0, 500.0, 0.0)
    assert whole.area == pytest.approx(math.pi * 9.0 / c, rel=2e-3)
    ends = rod_cut(start, into, 3.0, 20.0 / c, 0.0)
    assert ends.area == pytest.approx(whole.area / 2, rel=1e-2)


def test_a_section_of_one_side_shows_the_holes_of_the_side_below(given, live):
    """The four-sided pallet: side 2's holes are seen from side 1 as circles where the plane is deep enough in it."""
    placing = next(p for p in given.design.placings if p.mount == "turning")
    model = carrier_model(given, 0, placing, live)
    one, two = (f"{placing.carrier}/{k}" for k in (1, 2))
    apothem = placing.apothem
    alone = replace(model, holes=tuple(h for h in model.holes if h.side == two), pockets=())
    deepest = max(h.depth for h in alone.holes)
    near = [gone_at(alone, one, sign * (apothem - deepest / 4)) for sign in (1.0, -1.0)]
    assert sorted(map(len, near))[0] == 0  # side 2 lies on one side of the axis only
    found = max(near, key=len)
    cut = [h for h in alone.holes if h.depth > deepest / 4]
    assert len(found) == len(cut)
    areas = sum(r.area for r in found)
    assert areas == pytest.approx(sum(math.pi * h.diameter**2 / 4 for h in cut), rel=2e-3)
    assert all(shapely.box(-1e3, -2 * apothem, 1e3, 0.0).contains(r) for r in found)
    assert gone_at(alone, one, 0.0) == []


def test_bodies_side_by_side_are_clear_and_a_moved_station_is_named(given, live):
    placing = next(p for p in given.design.placings if p.mount == "fixed")
    model = carrier_model(given, 0, placing, live)
    assert interferences(given, 0, model, live) == []
    close = [dict(b) for b in given.way["scene"]["cycles"][0]["bodies"]]
    at = next(np.reshape(b["pose"], (4, 4)) for b in close if b["owner"] == "10.1")
    for b in close:
        if b["owner"] == "10.2":
            pose = at.copy()
            pose[0, 3] += 30.0  # parts are 40 mm long
            b["pose"] = pose.ravel().tolist()
    scene = given.way["scene"] | {"cycles": [given.way["scene"]["cycles"][0] | {"bodies": close}]}
    found = interferences(replace(given, way=given.way | {"scene": scene}), 0, model, live)
    assert found[0][:2] == ("10.1", "10.2")
    assert found[0][2] == pytest.approx(10.0 * 30.0 * 25.0, rel=1e-6)


def test_a_long_name_is_set_smaller_then_shortened_visibly():
    size, text = fitted("Trailer fittings, three machining centres", 58.0)
    assert text == "Trailer fittings, three machining centres"
    assert 2.5 <= size < 3.2
    size, text = fitted("W" * 200, 58.0)
    assert text.endswith("…")
    assert breadth(text, size) <= 58.0
