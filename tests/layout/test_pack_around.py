"""More modules beside those that stay: the kept ones never move, nothing comes too near, the bound holds."""

from __future__ import annotations

import pytest
import shapely
from blocks_of_steel import drilled, flat_side

from palletwright.layout import pack
from palletwright.layout.around import pack_around
from palletwright.layout.polygons import shifted, turned

SLIP = 2e-3


@pytest.mark.parametrize("kept", [[(10.0, 5.0, 0)], [(-100.0, -30.0, 1), (60.0, 40.0, 2)]])
def test_the_kept_ones_stay_and_the_others_keep_their_gap(kept: list[tuple[float, float, int]]) -> None:
    module, side = drilled(), flat_side(300, 160)
    packing = pack_around(module, side, kept, clearance=2.0, solid_gap=1.0)
    assert [(s.x, s.y, s.turn) for s in packing.stations[: len(kept)]] == kept
    assert len(kept) < packing.count <= packing.bound
    shapes = [shifted(turned(module.outline, s.turn), (s.x, s.y)) for s in packing.stations]
    assert side.area.buffer(1e-5).covers(shapely.union_all(shapes))
    for i, a in enumerate(shapes):
        assert all(a.distance(b) >= 1.0 - SLIP for b in shapes[:i])


def test_kept_as_the_packing_has_them_as_many_come_back() -> None:
    module, side = drilled(), flat_side(300, 160)
    full = pack(module, side, clearance=2.0, solid_gap=1.0)
    kept = [(s.x, s.y, s.turn) for s in full.stations[:-1]]
    again = pack_around(module, side, kept, clearance=2.0, solid_gap=1.0)
    assert again.count == full.count
    assert again.bound <= full.bound


def test_one_in_the_middle_leaves_less_room_and_none_leaves_all() -> None:
    module, side = drilled(), flat_side(200, 120)
    free = pack_around(module, side, [], clearance=2.0, solid_gap=1.0)
    assert free.count == pack(module, side, clearance=2.0, solid_gap=1.0).count
    assert pack_around(module, side, [(3.0, 2.0, 0)], clearance=2.0, solid_gap=1.0).count <= free.count


def test_no_more_than_asked_and_never_fewer_than_kept() -> None:
    module, side = drilled(), flat_side(300, 160)
    kept = [(-90.0, 0.0, 0), (90.0, 0.0, 0)]
    assert pack_around(module, side, kept, clearance=2.0, solid_gap=1.0, most=3).count == 3
    assert pack_around(module, side, kept, clearance=2.0, solid_gap=1.0, most=1).count == 2
