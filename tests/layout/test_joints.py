"""Stops between two modules: found from their shapes, checked, and never where something else would meet."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from palletwright.layout import Module, Side, pack
from palletwright.layout.joints import bare, joints
from palletwright.layout.model import ToolSweep
from palletwright.solid import footprint
from palletwright.solid.bodies import box

UP = (0.0, 0.0, 1.0)


def module(stops: tuple[str, ...] = ("left", "right"), holder: float = 0.0, between: float = 8.0) -> Module:
    """A block 40 × 40 × 30 between two stops; with a `holder` radius (mm) a tool bores its middle down to 25."""
    bodies = (
        ("part1", box((-20, -20, 0), (20, 20, 30))),
        ("left", box((-20 - between, -4, 0), (-20, 4, 20))),
        ("right", box((20, -4, 0), (20 + between, 4, 20))),
    )
    stack = ((4.0, 0.0, 2.0), (holder, 2.0, 80.0))
    sweeps = (ToolSweep(UP, ((np.array([[0.0, 0.0, 25.0]]), stack, 1, 30.0),)),) if holder else ()
    outline = shapely.union_all([footprint(m, UP) for _, m in bodies])
    return Module(0, "g", bodies, sweeps, outline, 1, (0, 2), stops)


def side(length: float, width: float = 45.0) -> Side:
    return Side("plate", shapely.box(-length / 2, -width / 2, length / 2, width / 2), np.eye(4))


def placed(made: Module, length: float, **more: float):  # type: ignore[no-untyped-def]
    return pack(made, side(length), **{"clearance": 2.0, "solid_gap": 1.0, **more})


def test_a_row_between_shared_stops_holds_one_more() -> None:
    """Own stops: 57 mm a module, 7 on 400. Shared: 48 mm, (400 − 56)/48 + 1 = 8."""
    assert placed(module(()), 400.0).count == 7
    found = placed(module(), 400.0)
    assert found.count == 8
    assert found.bound >= 8
    xs = sorted(s.x for s in found.stations)
    steps = np.diff(xs)
    assert (np.isclose(steps, 48.0, atol=1e-3) | (steps > 57.0 - 1e-6)).all()
    assert np.isclose(steps, 48.0, atol=1e-3).sum() >= 5


def test_stops_that_coincide_are_the_same_body_within_a_micrometre() -> None:
    found = placed(module(), 400.0)
    edges = sorted((s.x + sign * 24.0, s.turn) for s in found.stations for sign in (-1, 1))
    middles = np.array([e[0] for e in edges])
    near = np.diff(middles)
    assert ((near < 1e-3) | (near > 9.0 - 1e-6)).all()


def test_the_bound_without_stops_is_never_below_what_is_placed() -> None:
    for length in np.linspace(60.0, 420.0, 13):
        found = placed(module(), float(length))
        assert found.count <= found.bound
        assert found.count >= placed(module(()), float(length)).count


def test_a_holder_that_reaches_the_neighbour_forbids_sharing() -> None:
    """The neighbour's wall stands 28 mm from the bore, its top 5 over the tip: a holder of 27 comes within 2 mm."""
    slim, fat = joints(module(holder=20.0), (0, 2), 2.0, 1.0, None), joints(module(holder=27.0), (0, 2), 2.0, 1.0, None)
    assert len(slim[0])
    assert not fat


def test_the_gap_between_parts_counts_beside_a_thin_stop() -> None:
    assert joints(module(between=1.0), (0,), 2.0, 1.0, None)
    assert not joints(module(between=0.9), (0,), 2.0, 1.0, None)


def test_a_stop_that_only_one_pair_of_shares_blocks_where_the_other_pair_overlaps() -> None:
    """Two stops a wall, the second row shifted: at the wrong displacement one pair coincides, the other overlaps."""
    bodies = (
        ("part1", box((-20, -20, 0), (20, 20, 30))),
        ("a1", box((-28, -14, 0), (-20, -6, 20))),
        ("a2", box((-28, 6, 0), (-20, 14, 20))),
        ("b1", box((20, -14, 0), (28, -6, 20))),
        ("b2", box((20, 1, 0), (28, 9, 20))),
    )
    outline = shapely.union_all([footprint(m, UP) for _, m in bodies])
    made = Module(0, "g", bodies, (), outline, 1, (0,), ("a1", "a2", "b1", "b2"))
    assert not joints(made, (0,), 2.0, 1.0, None)


def test_no_pair_of_a_packing_meets_but_in_shared_stops() -> None:
    """Every two bodies of different modules: apart by the gap, or the same stop, or beside a stop that is shared."""
    made = module(holder=20.0)
    found = pack(made, side(300.0, 160.0), clearance=2.0, solid_gap=1.0)
    rows = []
    for s in found.stations:
        turn = 90.0 * s.turn
        rows.append(
            {
                n: shapely.affinity.translate(shapely.affinity.rotate(footprint(m, UP), turn, origin=(0, 0)), s.x, s.y)
                for n, m in made.bodies
            }
        )
    for i, one in enumerate(rows):
        for two in rows[:i]:
            common = [(a, b) for a in made.stops for b in made.stops if one[a].symmetric_difference(two[b]).area < 0.01]
            mine, theirs = {a for a, _ in common}, {b for _, b in common}
            for a, p in one.items():
                for b, q in two.items():
                    if a not in mine and b not in theirs:
                        assert p.distance(q) >= 1.0 - 1e-4


def test_bare_leaves_the_stops_out() -> None:
    plain = bare(module())
    assert [n for n, _ in plain.bodies] == ["part1"]
    assert plain.outline.area == pytest.approx(1600.0)
