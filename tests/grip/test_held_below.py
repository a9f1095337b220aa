"""Grips without walls: vees, bores, suction, and stock that goes later, each against its own statics."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from grip_cases import UP, Case, around, drill, over, sawn_block, shop

from palletwright.cutting.model import Load
from palletwright.grip import Grip
from palletwright.holding import certify
from palletwright.solid.bodies import box, cylinder, subtract, union
from palletwright.solid.model import Mesh

Z = (0.0, 0.0, 1.0)


def only(case: Case, kind: str, **more: object) -> list[Grip]:
    """The grips of one kind, with no other clamps in the shop."""
    clamps = tuple(c for c in shop().clamps if c.kind == kind)
    found, _ = case.solve(shop=shop().model_copy(update={"clamps": clamps}), **more)
    return [g for g in found if g.kind == kind]


def round_bar(cut: bool = True) -> Case:
    """A sawn round of 50 mm from which everything above 8 mm is turned into a square by milling."""
    bar = cylinder((0, 0, 0), Z, 25.0, 30.0, segments=96)
    square = union([cylinder((0, 0, 0), Z, 25.0, 14.0, segments=96), box((-15, -15, 0), (15, 15, 30))])
    sweeps = (around(shapely.box(-15, -15, 15, 15), 14.0),)
    return Case(bar, square if cut else bar, bar, square, UP, sweeps)


def bored() -> Case:
    """A flat ring whose whole outline and top are cut: only its two bores stay."""
    holes = [cylinder((x, 0, -1), Z, 8.5, 60.0, segments=96) for x in (-30, 30)]
    blank = subtract(box((-52, -27, 0), (52, 27, 30)), *holes)
    part = subtract(box((-50, -25, 0), (50, 25, 30)), *holes)
    return Case(blank, part, box((-52, -27, 0), (52, 27, 30)), part, UP, (around(shapely.box(-50, -25, 50, 25), -0.5),))


def thin_plate() -> Case:
    """A finished plate of 160 × 110 × 6 in whose top shallow pockets are cut."""
    plate = box((0, 0, 0), (160, 110, 6))
    cut = subtract(plate, box((30, 30, 4), (130, 80, 10)))
    return Case(plate, cut, plate, cut, UP, (over(35, 35, 125, 75, 4.0),))


def all_round(strip: float = 12.0) -> Case:
    """A blank whose outline and top are cut down to its grip stock, which reaches `strip` mm below the part."""
    stock = box((-2, -2, -strip), (122, 82, 22))
    part = box((0, 0, 0), (120, 80, 20))
    after = union([part, box((0, 0, -strip), (120, 80, 0.1))])
    return Case(stock, after, stock, part, UP, (around(shapely.box(0, 0, 120, 80), -strip + 0.6),))


def located(grip: Grip) -> int:
    rows = [[*c.normal, *(np.cross(c.at, c.normal) / 50.0)] for c in grip.contacts if c.kind == "locator"]
    return int(np.linalg.matrix_rank(np.array(rows), tol=1e-4))


def factor(grip: Grip, before: Mesh, side: float, push: float) -> float:
    """The holding factor under a side force (N) at the top of the part."""
    mesh = before.moved(grip.poses[0])
    low, high = mesh.bounds
    middle = (low + high) / 2.0
    tips = np.array([[middle[0], middle[1], high[2]]])
    report = certify(
        grip,
        [("cut", tips, Z, Load(side=side, push=push, pull=0.0, torque=0.0, spread=0.0, source="test"))],
        mass_kg=0.3,
        floors=shop().floors,
        centre=tuple(middle),  # type: ignore[arg-type]
        clamps=shop().clamps,
    )
    assert report.holding_factor is not None
    return report.holding_factor


WAYS = {
    "v_jaw": round_bar,
    "expander": bored,
    "vacuum": thin_plate,
    "stud": all_round,
    "dovetail": all_round,
}


@pytest.mark.parametrize("kind", WAYS)
def test_each_kind_is_found_where_it_belongs_and_locates_the_part(kind: str) -> None:
    found = only(WAYS[kind](), kind)
    assert found
    for grip in found:
        assert located(grip) == 6 - len(grip.unlocated), grip.id
        assert all(m.passed for m in grip.margins), grip.margins
        assert grip.prepare_hours > 0.0
        assert (grip.part_seconds > 0.0) == (kind in ("stud", "dovetail"))


@pytest.mark.parametrize("kind", WAYS)
def test_forces_at_rest_balance_with_what_the_locators_can_bear(kind: str) -> None:
    """Every clamp's push meets locators: least squares without friction finds forces that only press."""
    from scipy.optimize import nnls

    for grip in only(WAYS[kind](), kind):
        stops = [c for c in grip.contacts if c.kind == "locator"]
        push = sum(
            (c.preload * np.array([*c.normal, *(np.cross(c.at, c.normal) / 50.0)]) for c in grip.contacts),
            np.zeros(6),
        )
        rows = np.array([[*c.normal, *(np.cross(c.at, c.normal) / 50.0)] for c in stops]).T
        _, left = nnls(rows, -push)
        assert left < 1e-6 * max(1.0, float(np.abs(push).max())), grip.id


@pytest.mark.parametrize("kind", WAYS)
def test_holding_judges_it_and_a_heavier_cut_holds_less(kind: str) -> None:
    case = WAYS[kind]()
    grip = only(case, kind)[0]
    light, heavy = factor(grip, case.before, 20.0, 10.0), factor(grip, case.before, 400.0, 200.0)
    assert light > heavy
    assert light > 2.5


def test_vees_hold_a_round_by_friction_as_far_as_their_cones_go() -> None:
    """A torque about the axis slips at 2·F·µ·r·√2 at the vees (four flanks of F/√2 each), plus none at the seat."""
    case = round_bar()
    grip = only(case, "v_jaw")[0]
    flanks = [c for c in grip.contacts if c.kind == "clamp"]
    normal = sum(c.preload for c in flanks)
    pressed = next(c for c in shop().clamps if c.id == "vee-60").force
    assert normal == pytest.approx(pressed * np.sqrt(2.0), rel=1e-6)


def test_suction_presses_with_its_share_of_the_sealed_area() -> None:
    grip = only(thin_plate(), "vacuum")[0]
    force = sum(c.preload for c in grip.contacts if c.kind == "clamp")
    seat = next(c for c in shop().clamps if c.kind == "vacuum")
    assert force == pytest.approx(seat.force / np.prod(seat.footprint) * 150.0 * 100.0, rel=1e-3)


def test_suction_is_refused_on_a_raw_base() -> None:
    case = thin_plate()
    raw = replace(case, part=case.part.moved(np.array([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0.5], [0, 0, 0, 1.0]])))
    assert not only(raw, "vacuum")


def test_a_bore_that_a_tool_enters_is_no_place_for_an_expander() -> None:
    case = bored()
    boring = tuple(drill(x, 0.0, -1.0, rows=((8.5, 0.0, 60.0),)) for x in (-30.0, 30.0))
    assert not only(replace(case, sweeps=(*case.sweeps, *boring)), "expander")


def test_a_bore_wider_than_any_expander_says_by_how_much() -> None:
    wide = cylinder((0, 0, -1), Z, 35.0, 60.0, segments=96)
    ring = subtract(cylinder((0, 0, 0), Z, 60.0, 30.0, segments=96), wide)
    _, reasons = Case(ring, ring, ring, ring).solve(
        shop=shop().model_copy(update={"clamps": tuple(c for c in shop().clamps if c.kind == "expander")})
    )
    told = next(r for r in reasons if r.about == "expander")
    assert told.amount == pytest.approx(70.0 - 42.0, abs=0.1)


def test_a_ring_in_one_bore_says_that_its_turn_is_free() -> None:
    bore = cylinder((0, 0, -1), Z, 8.5, 60.0, segments=96)
    ring = subtract(cylinder((0, 0, 0), Z, 40.0, 30.0, segments=96), bore)
    found = only(Case(ring, ring, ring, ring), "expander")
    assert found
    assert all(g.unlocated == ("turn about z",) for g in found)


@pytest.mark.parametrize("kind", ["stud", "dovetail"])
def test_stock_too_thin_for_what_is_cut_into_it_is_refused_by_the_depth_that_it_needs(kind: str) -> None:
    clamps = tuple(c for c in shop().clamps if c.kind == kind)
    found, reasons = all_round(3.0).solve(shop=shop().model_copy(update={"clamps": clamps}))
    assert not [g for g in found if g.kind == kind]
    least = min(c.reach_height for c in clamps) + 1.0
    assert next(r for r in reasons if r.about == kind).amount == pytest.approx(least)


@pytest.mark.parametrize("kind", ["stud", "dovetail"])
def test_what_holds_from_below_stands_under_the_stock_and_costs_each_blank(kind: str) -> None:
    case = all_round()
    for grip in only(case, kind):
        low = case.before.moved(grip.poses[0]).bounds[0, 2]
        clamps = {c.id: c for c in shop().clamps}
        for device in grip.devices:
            assert device.mesh.bounds[1, 2] <= low + 1e-6
        each = clamps[grip.devices[0].catalogue].blank_seconds
        assert grip.part_seconds == pytest.approx(each * (grip.screws if kind == "stud" else 1))


def test_threads_stay_out_of_the_finished_part() -> None:
    """Where half of the base is finished already, every stud stands under the other half."""
    case = all_round()
    lower = union([case.part, box((0, 0, -12), (60, 80, 1))])
    found = only(replace(case, part=lower), "stud")
    assert found
    for grip in found:
        back = np.linalg.inv(grip.poses[0])
        for c in grip.contacts:
            if c.id.startswith("C"):
                assert (back @ np.array([*c.at, 1.0]))[0] > 60.0 + 3.0


def test_a_round_with_a_flat_is_kept_from_turning_by_a_stop() -> None:
    bar = cylinder((0, 0, 0), Z, 25.0, 30.0, segments=96)
    flat = subtract(bar, box((20, -30, -1), (30, 30, 31)))
    found = only(Case(flat, flat, flat, flat), "v_jaw")
    assert found
    assert all(any(c.id == "T1" for c in g.contacts) and not g.unlocated for g in found)


def test_a_tenon_holds_on_a_strip_too_low_for_any_clamp_beside() -> None:
    """4 mm of grip stock: clamps, stops and jaws stand in the tools' way, a tenon of 3 mm and 1 mm of skin fits."""
    found, _ = sawn_block().solve()
    assert {g.kind for g in found} == {"dovetail"}
