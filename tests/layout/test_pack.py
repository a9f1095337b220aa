"""Packing: what is placed stands clear, what is claimed as a bound holds, and more care never places more."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from blocks_of_steel import box, drilled, flat_side, of_boxes

from palletwright.layout import Packing, apothems, carrier_mesh, claim, flat_width, pack, pack_mixed, sides_of
from palletwright.layout.model import Module
from palletwright.layout.polygons import convex_pieces, shifted, turned
from palletwright.shop.model import Carrier

UP, BACK = (0.0, 0.0, 1.0), (0.0, 1.0, 0.0)
SLIP = 2e-3  # mm, the sets' own rounding and more


def outlines(module: Module, packing: Packing) -> list[shapely.Geometry]:
    return [shifted(turned(module.outline, s.turn), (s.x, s.y)) for s in packing.stations]


@pytest.mark.parametrize("turns", [(0,), (0, 2), (0, 1, 2, 3)])
@pytest.mark.parametrize("directions", [(UP,), (UP, BACK)])
def test_outlines_keep_their_gap_on_the_side(turns: tuple[int, ...], directions: tuple[tuple[float, ...], ...]) -> None:
    module, side = drilled(directions=directions), flat_side(300, 160)
    packing = pack(module, side, clearance=2.0, solid_gap=1.0, turns=turns)
    shapes = outlines(module, packing)
    assert 0 < packing.count == len(shapes) <= packing.bound
    assert packing.proven == (packing.count == packing.bound)
    assert side.area.buffer(1e-5).covers(shapely.union_all(shapes))
    for i, a in enumerate(shapes):
        assert all(a.distance(b) >= 1.0 - SLIP for b in shapes[:i])


def test_upright_tools_keep_their_clearance_from_every_neighbour() -> None:
    module, side = drilled(), flat_side(300, 160)
    packing = pack(module, side, clearance=2.0, solid_gap=1.0)
    tips, stack, _, _ = module.sweeps[0].moves[0]
    turns = [np.array(((1, 0), (0, 1), (-1, 0), (0, -1))[s.turn]) for s in packing.stations]
    at = [np.array([s.x, s.y]) for s in packing.stations]
    pairs = 0
    for i in range(packing.count):
        c, s = turns[i]
        axes = tips[:, :2] @ np.array([[c, s], [-s, c]]) + at[i]
        for j in range(packing.count):
            if i == j:
                continue
            for _, mesh in module.bodies:
                low, high = mesh.bounds
                foot = shifted(turned(shapely.box(*low[:2], *high[:2]), packing.stations[j].turn), at[j])
                for radius, start, _ in stack:
                    for axis, tip in zip(axes, tips, strict=True):
                        if tip[2] + start - high[2] < 2.0 - SLIP:
                            pairs += 1
                            assert shapely.Point(axis).distance(foot) >= radius + 2.0 - SLIP
    assert pairs > 0


@pytest.mark.parametrize("turns", [(0,), (0, 2)])
def test_more_clearance_never_places_more(turns: tuple[int, ...]) -> None:
    counts = [
        pack(drilled(), flat_side(320, 180), clearance=c, solid_gap=1.0, turns=turns).count
        for c in (0.5, 2.0, 5.0, 12.0)
    ]
    assert counts == sorted(counts, reverse=True)
    assert counts[0] > counts[-1]


@pytest.mark.parametrize("turns", [(0,), (0, 2)])
def test_a_fatter_or_shorter_tool_never_places_more(turns: tuple[int, ...]) -> None:
    def count(holder: float, stick_out: float) -> int:
        module = drilled(size=(60, 40, 60), holder=holder, stick_out=stick_out)
        return pack(module, flat_side(320, 180), clearance=2.0, solid_gap=1.0, turns=turns).count

    by_holder = [count(h, 15.0) for h in (8.0, 20.0, 35.0)]
    assert by_holder == sorted(by_holder, reverse=True)
    assert by_holder[0] > by_holder[-1]
    assert count(35.0, 15.0) < count(35.0, 70.0)


def test_across_the_side_everything_ahead_is_in_the_way() -> None:
    """One row only: a second one, however far behind, would stand in the spindle's strip of the first."""
    module = drilled(directions=(BACK,), clamps=False)
    packing = pack(module, flat_side(70, 600), clearance=2.0, solid_gap=1.0, turns=(0,))
    assert (packing.count, packing.bound) == (1, 1)
    assert pack(drilled(clamps=False), flat_side(70, 600), clearance=2.0, solid_gap=1.0, turns=(0,)).count > 5


def test_more_turns_never_place_fewer() -> None:
    counts = [
        pack(drilled(directions=(UP, BACK)), flat_side(400, 250), clearance=2.0, solid_gap=1.0, turns=t).count
        for t in ((0,), (0, 2), (0, 1, 2, 3))
    ]
    assert counts == sorted(counts)


def test_an_l_shape_nests() -> None:
    module = of_boxes(box(0, 0, 0, 60, 20, 10), box(0, 20, 0, 20, 60, 10))
    packing = pack(module, flat_side(84, 62), clearance=0.0, solid_gap=0.0)
    assert packing.count == packing.bound == 2


def test_plain_boxes_reach_the_pallet_loading_optimum() -> None:
    """(34, 23, 5, 4) holds 38 though the area allows 39 (published, see test_loading)."""
    module = of_boxes(box(-25, -20, 0, 25, 20, 10))
    packing = pack(module, flat_side(340.5, 230.5), clearance=0.0, solid_gap=0.0)
    assert packing.count == 38 <= packing.bound


@pytest.mark.parametrize("size", [(3, 2), (2, 1)])
@pytest.mark.parametrize("room", [(7, 5), (5, 5), (8, 3)])
def test_the_bound_is_never_below_what_trying_everything_finds(size: tuple[int, int], room: tuple[int, int]) -> None:
    from test_loading import brute

    module = of_boxes(box(0, 0, 0, 10 * size[0], 10 * size[1], 10))
    packing = pack(module, flat_side(10 * room[0], 10 * room[1]), clearance=0.0, solid_gap=0.0)
    assert packing.count <= brute(*room, *size) <= packing.bound


def test_one_more_names_a_length_that_does_take_one_more() -> None:
    module = drilled()
    first = pack(module, flat_side(300, 120), clearance=2.0, solid_gap=1.0, turns=(0,))
    longer = next(r for r in first.reasons if r.about == "one more" and "longer" in r.text)
    assert longer.amount is not None
    second = pack(module, flat_side(300 + longer.amount, 120), clearance=2.0, solid_gap=1.0, turns=(0,))
    assert second.count > first.count


def test_the_same_seed_gives_the_same_stations() -> None:
    one, two = (pack(drilled(), flat_side(300, 160), clearance=2.0, solid_gap=1.0) for _ in range(2))
    assert one.stations == two.stations


def test_a_side_too_small_is_empty_with_the_shortfall() -> None:
    packing = pack(drilled(clamps=False), flat_side(50, 100), clearance=2.0, solid_gap=1.0, turns=(0,))
    assert (packing.status, packing.count, packing.bound) == ("empty", 0, 0)
    assert packing.reasons


def test_more_than_the_bound_is_refused_before_any_search() -> None:
    plain = pack(drilled(), flat_side(300, 160), clearance=2.0, solid_gap=1.0)
    asked = {"clearance": 2.0, "solid_gap": 1.0}
    refused = pack(drilled(), flat_side(300, 160), at_least=plain.bound + 1, **asked)
    assert (refused.count, refused.bound, refused.status, refused.proven) == (0, plain.bound, "empty", False)
    assert pack(drilled(), flat_side(300, 160), at_least=plain.bound, **asked).count == plain.count


def test_a_side_claims_what_it_holds_and_what_it_could() -> None:
    side = flat_side(300, 160)
    packing = pack(drilled(), side, clearance=2.0, solid_gap=1.0, turns=(0,), effort=0, explain=False)
    row = claim(packing, parts=2, placed=2 * packing.count, side="p/1", operation=20)
    assert (row["placed"], row["bound"]) == (2 * packing.count, 2 * packing.bound)
    assert row["proven"] == (packing.count == packing.bound)
    assert row["bound_by"]
    assert row["text"].startswith(f"{2 * packing.count} placed, at most {2 * packing.bound} possible")
    fewer = claim(packing, parts=2, placed=2, side="p/1", operation=20)
    assert f"room for {2 * packing.count}" in fewer["text"]
    with pytest.raises(ValueError, match="only"):
        claim(packing, parts=1, placed=packing.count + 1, side="p/1", operation=20)


def test_convex_pieces_cover_a_ring_with_an_arm_exactly() -> None:
    ring = shapely.Point(0, 0).buffer(30).difference(shapely.Point(3, 2).buffer(20)).union(shapely.box(10, 10, 60, 15))
    pieces = [shapely.Polygon(p) for p in convex_pieces(ring)]
    assert shapely.union_all(pieces).symmetric_difference(ring).area < 1e-6
    assert sum(p.area for p in pieces) == pytest.approx(ring.area)
    assert all(p.convex_hull.area == pytest.approx(p.area) for p in pieces)


def test_mixed_modules_keep_the_proportion_and_their_gap() -> None:
    modules = [drilled(), drilled(size=(40, 30, 40), clamps=False)]
    packing = pack_mixed(modules, (1, 2), flat_side(300, 160), clearance=2.0, solid_gap=1.0)
    kinds = [s.module for s in packing.stations]
    assert 0 < 2 * kinds.count(0) == kinds.count(1)
    assert packing.count <= packing.bound
    shapes = [shifted(turned(modules[s.module].outline, s.turn), (s.x, s.y)) for s in packing.stations]
    for i, a in enumerate(shapes):
        assert all(a.distance(b) >= 1.0 - SLIP for b in shapes[:i])


PALLET = Carrier(id="p", kind="pallet", length=400, blank_diameter=150, edge=8)


@pytest.mark.parametrize("n", [1, 2, 3, 4, 6, 8])
def test_pallet_sides_lie_on_the_body(n: int) -> None:
    sides, body = sides_of(PALLET, n), carrier_mesh(PALLET, n)
    assert len(sides) == n
    for k, side in enumerate(sides):
        normal, centre = side.pose[:3, 2], side.pose[:3, 3]
        angle = 2 * math.pi * k / n
        assert normal == pytest.approx([0.0, -math.sin(angle), math.cos(angle)], abs=1e-12)
        assert (body.vertices @ normal).max() == pytest.approx(centre @ normal, abs=1e-6)
    assert body.volume > 0
    assert body.bounds[0, 0] == pytest.approx(0.0, abs=1e-9)
    assert body.bounds[1, 0] == pytest.approx(400.0)


def test_apothems_leave_the_width_that_is_needed() -> None:
    for n in (1, 2, 3, 4, 6):
        for a in apothems(PALLET, n, 50.0):
            assert flat_width(75.0, a, n) - 2 * PALLET.edge >= 50.0 - 0.05
    assert apothems(PALLET, 8, 100.0) == ()
