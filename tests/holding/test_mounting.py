"""The chain past the part, asked for one mount of a scene; every number here is worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from palletwright.cutting.model import Load
from palletwright.holding import PlacedCut, chain_of, loose_pieces
from palletwright.scene.model import Body, Mount, Scene
from palletwright.shop import example_shop
from palletwright.shop.model import MountHole
from palletwright.solid.bodies import box, subtract, union

SHOP = example_shop()
ROTARY = next(m for m in SHOP.machines if m.rotary is not None)
BARE = [c.model_copy(update={"mount_holes": ()}) for c in SHOP.carriers]
PALLET = next(c for c in BARE if c.kind == "pallet")
PLATE = next(c for c in BARE if c.kind == "plate")
DENSITY = {"carrier": 2700.0, "part": 2700.0}
LOAD = Load(800.0, 300.0, 400.0, 5.0, 0.25, "test")
HERE = np.eye(4)


def at(*point: float, angle: float = 0.0, load: Load = LOAD, name: str = "pocket") -> PlacedCut:
    return PlacedCut(name, "10.1", np.array([point]), load, angle)


def on_plate(cuts: list[PlacedCut]):
    body = Body("m/p", "carrier", box((-175, -150, 0), (175, 150, 40)), HERE)
    part = Body("10.1/part", "part", box((-20, -20, 40), (20, 20, 80)), HERE, owner="10.1")
    stray = Body("99.1/part", "part", box((-20, -20, 40), (20, 20, 800)), HERE, owner="99.1")
    scene = Scene(ROTARY.id, (Mount("m", "p", False, HERE),), (body, part, stray))
    return chain_of(ROTARY, scene, "m", PLATE, cuts, DENSITY, grips=(), clamps=SHOP.clamps, floors=SHOP.floors)


def on_pallet(cuts: list[PlacedCut], offset: float = 0.0, machine=ROTARY):
    pose = np.eye(4)
    pose[:3, 3] = (0.0, 0.0, 200.0)
    body = Body("r/p", "carrier", box((0, -40, -40 + offset), (400, 40, 40 + offset)), pose, group="r")
    mount = Mount("r", "p", True, pose, (0.0, 0.0, 200.0), (1.0, 0.0, 0.0))
    scene = Scene(machine.id, (mount,), (body,))
    return chain_of(machine, scene, "r", PALLET, cuts, DENSITY, grips=(), clamps=SHOP.clamps, floors=SHOP.floors)


def test_a_plate_slips_by_its_side_force_and_the_twist_of_an_offset_cut():
    slip, tip, proof = on_plate([at(60.0, 80.0, 90.0)]).margins
    safety, least = SHOP.floors.holding, 4 * 0.7 * 65000 / (0.2 * 12)
    circle = 0.7 * PLATE.width / 2
    twist = (1000.0 * 100.0 + 6250.0) / circle
    assert slip.need == pytest.approx(safety * (1000.0 + twist))
    assert slip.have == pytest.approx(0.12 * (least - safety * 500.0))
    half = PLATE.width / 2
    assert tip.need == pytest.approx(safety * (1000 * 90 + 500 * half) / 1000)
    mass = (350 * 300 * 40 + 40 * 40 * 40) * 2.7e-6  # the stray part belongs to another mount
    assert tip.have == pytest.approx(mass * 9.80665 * half / 1000 + least * half / 1000)
    assert (proof.check, proof.passed) == ("screw proof load", True)
    assert "pocket at 10.1" in slip.obstacle


def test_the_worst_cut_of_many_is_the_one_named():
    near, far = at(0.0, 0.0, 60.0, name="near"), at(150.0, 120.0, 60.0, name="far")
    assert on_plate([near, far]).margins[0].obstacle == "far at 10.1"
    assert on_plate([near]).margins[0].spare > on_plate([near, far]).margins[0].spare


def test_the_brake_is_asked_at_every_angle_with_the_weight_as_it_hangs_there():
    cuts = [at(200.0, 30.0, 260.0), at(200.0, 0.0, 280.0, angle=90.0)]
    margins = on_pallet(cuts, offset=10.0).margins
    flat, upright = (m for m in margins if m.check == "rotary brake")
    mass, safety = 400 * 80 * 80 * 2.7e-6, SHOP.floors.holding
    # At 0° the centre hangs straight over the axis; at 90° it lies 10 mm beside it.
    assert flat.need == pytest.approx(safety * (1000 * 60 + 500 * 30) / 1000, rel=1e-3)
    assert upright.need == pytest.approx(safety * 1000 * 80 / 1000 + mass * 9.80665 * 10 / 1000, rel=1e-3)
    slip = next(m for m in margins if m.check == "mount slip")
    assert slip.have == pytest.approx(0.12 * 4 * 0.7 * 40000 / (0.2 * 10) * 0.7 * PALLET.blank_diameter / 2000, rel=0.4)
    assert slip.need == pytest.approx(safety * 80.0)


def test_a_pallet_without_a_tailstock_may_bend_off_its_faceplate():
    lone = ROTARY.model_copy(update={"rotary": ROTARY.rotary.model_copy(update={"tailstock": False})})
    own = "r: carrier on its mount"
    with_one = {(m.check, m.subject) for m in on_pallet([at(300.0, 0.0, 250.0)]).margins}
    tip = next(m for m in on_pallet([at(300.0, 0.0, 250.0)], machine=lone).margins if m.check == "tipping")
    assert ("tipping", own) not in with_one
    assert tip.subject == own
    assert tip.need == pytest.approx(SHOP.floors.holding * 1000.0 * 300.0 / 1000.0)


def test_the_brake_counts_the_worst_of_the_stations_empty():
    """Two parts of 0.4 and 0.2 kg at 60 mm on either side: full, the lighter one helps; empty, it doesn't."""
    pose = np.eye(4)
    pose[:3, 3] = (0.0, 0.0, 200.0)
    mount = Mount("r", "p", True, pose, (0.0, 0.0, 200.0), (1.0, 0.0, 0.0))
    heavy, light = (box((0, y - 10, -10), (length, y + 10, 10)) for y, length in ((60, 200), (-60, 100)))
    bodies = (
        Body("r/p", "carrier", box((0, -40, -40), (400, 40, 40)), pose, group="r"),
        Body("10.1/part", "part", heavy, pose, group="r", owner="10.1"),
        Body("10.2/part", "part", light, pose, group="r", owner="10.2"),
    )
    got = chain_of(
        ROTARY, Scene(ROTARY.id, (mount,), bodies), "r", PALLET, [at(200.0, 0.0, 260.0)], DENSITY,
        grips=(), clamps=(), floors=SHOP.floors,
    )  # fmt: skip
    brake = next(m for m in got.margins if m.check == "rotary brake")
    cut, kilos = SHOP.floors.holding * 1000 * 60 / 1000, 200 * 20 * 20 * 2.7e-6
    assert brake.need == pytest.approx(cut + kilos * 9.80665 * 60 / 1000, rel=1e-3)


def test_a_pallet_bends_as_a_propped_beam_and_its_tailstock_bears_its_share():
    """1000 N in the middle of a square bar 80 × 80 × 400: 7·F·L³/(768·E·I), 5·F/16; I on the low side by 3/4."""
    got = on_pallet([at(200.0, 0.0, 240.0)])
    bent = next(r for r in got.reasons if r.unit == "mm")
    tail = next(r for r in got.reasons if r.unit == "N")
    low = 80 * 80 * 40**2 / 4
    assert low == pytest.approx(0.75 * 80**4 / 12)
    assert bent.amount == pytest.approx(7 * 1000 * 400**3 / (768 * 70e3 * low), rel=1e-2)
    assert tail.amount == pytest.approx(5 * 1000 / 16, rel=1e-6)


def test_the_rotary_unit_may_slide_and_tip_on_the_table():
    got = on_pallet([at(200.0, 0.0, 260.0)]).margins
    slip, tip = (
        next(m for m in got if m.check == c and "on the table" in m.subject) for c in ("mount slip", "tipping")
    )
    least, safety = 4 * 0.7 * 160000 / (0.2 * 16), SHOP.floors.holding
    assert (slip.need, slip.have) == pytest.approx((safety * 1000, 0.12 * (least - safety * 500)))
    half = min(ROTARY.rotary.housing_length, ROTARY.rotary.housing_width) / 2
    assert (tip.need, tip.have) == pytest.approx((safety * (1000 * 260 + 500 * half) / 1000, least * half / 1000))


def test_a_stronger_cut_never_leaves_more_margin():
    for ends in ((0.0, 0.0, 60.0), (140.0, 100.0, 120.0)):
        weak = on_plate([at(*ends)]).margins
        strong = on_plate([at(*ends, load=replace(LOAD, side=1.5 * LOAD.side, pull=2 * LOAD.pull))]).margins
        assert all(s.spare <= w.spare for s, w in zip(strong, weak, strict=True))


def test_screws_that_nobody_listed_are_said_to_be_assumed():
    assert any("assumed" in r.text for r in on_plate([at(0.0, 0.0, 60.0)]).reasons)


def test_the_shops_own_mount_holes_are_counted():
    hole = {"x": 100.0, "y": 0.0, "kind": "screw", "size": "M12"}
    six = [MountHole(**(hole | {"x": 100.0 * math.cos(a), "y": 100.0 * math.sin(a)})) for a in range(6)]
    body = Body("m/p", "carrier", box((-175, -150, 0), (175, 150, 40)), HERE)
    scene = Scene(ROTARY.id, (Mount("m", "p", False, HERE),), (body,))
    plate = PLATE.model_copy(update={"mount_holes": tuple(six)})
    got = chain_of(
        ROTARY, scene, "m", plate, [at(0.0, 0.0, 60.0)], DENSITY, grips=(), clamps=SHOP.clamps, floors=SHOP.floors
    )
    proof = next(m for m in got.margins if m.check == "screw proof load")
    assert proof.need == pytest.approx(0.75 * proof.have, rel=1e-3)  # with the torque's scatter upwards
    slip = next(m for m in got.margins if m.check == "mount slip")
    assert slip.have == pytest.approx(
        0.12 * (6 * 0.7 * 0.75 / 1.3 * proof.have - SHOP.floors.holding * 500.0), rel=1e-3
    )
    assert any("6 × M12" in r.text for r in got.reasons)


def test_a_dowel_off_the_axis_carries_the_torque_that_friction_does_not():
    holes = [MountHole(x=30.0 * a, y=30.0 * b, kind="tapped", size="M8") for a in (-1, 1) for b in (-1, 1)]
    pinned = [*holes, MountHole(x=40.0, y=0.0, kind="dowel", size="8")]
    pose = np.eye(4)
    pose[:3, 3] = (0.0, 0.0, 200.0)
    body = Body("r/p", "carrier", box((0, -40, -40), (400, 40, 40)), pose, group="r")
    scene = Scene(ROTARY.id, (Mount("r", "p", True, pose, (0.0, 0.0, 200.0), (1.0, 0.0, 0.0)),), (body,))
    have = []
    for rows in (holes, pinned):
        pallet = PALLET.model_copy(update={"mount_holes": tuple(rows)})
        got = chain_of(
            ROTARY, scene, "r", pallet, [at(200.0, 0.0, 280.0)], DENSITY, grips=(), clamps=(), floors=SHOP.floors
        )
        have.append(next(m for m in got.margins if m.check == "mount slip"))
    bears = min(300.0 * np.pi / 4 * 8**2, 200.0 * 8 * 1.5 * 8)
    assert have[1].have - have[0].have == pytest.approx(bears * 40.0 / 1000.0)
    assert "dowel" in have[1].note
    assert "dowel" not in have[0].note


def test_a_frame_that_is_cut_through_leaves_a_loose_piece_and_it_is_named():
    block = box((0, 0, 0), (60, 60, 10))
    slit = subtract(box((10, 10, -1), (50, 50, 11)), box((15, 15, -1), (45, 45, 11)))
    after = subtract(block, slit)
    part = box((15, 15, 0), (45, 45, 10))
    (reason,) = loose_pieces(block, after, part)
    assert "30.0 × 30.0 × 10.0" in reason.text  # the frame is the larger lump here
    assert math.isclose(reason.amount, 9000.0, rel_tol=1e-6)
    assert loose_pieces(block, subtract(block, box((20, 20, -1), (30, 30, 11))), part) == ()
    two = union([box((0, 0, 0), (5, 5, 5)), box((20, 0, 0), (25, 5, 5))])
    assert loose_pieces(two, two, two) == ()
