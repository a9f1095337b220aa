"""Scenes small enough to compute by hand: two blocks, one tool, one rotary."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from palletwright.reach import Rasters, ReachReport, Task, check
from palletwright.scene import Placed, PlacedStation, Scene, StationBody, box, build, index_angle, rotary_pose, turned
from palletwright.shop.model import Cutter, Cylinder, Floors, Holder, Machine, RotaryAxis, Tool, Travel
from palletwright.verdict import Margin

DRILL = Cutter(id="d6", kind="drill", DC=6, LU=60, LCF=60, DMM=6, OAL=100)
COLLET = Holder(id="c", taper="BT30", stack=(Cylinder(diameter=30, length=50),), bore=(3, 10))
TOOL = Tool(number=1, cutter=DRILL, holder=COLLET, stick_out=40)
FLOORS = Floors()
ROTARY = RotaryAxis(
    centre_height=160, swing_radius=120, between=300, faceplate_at=(-150, 0), brake_torque=400, payload=100,
    index_time=1.0,
)  # fmt: skip


def machine(**other: object) -> Machine:
    base = Machine(
        id="m", travel=Travel(x=(-250, 250), y=(-200, 200), z=(90, 600)), table=(700, 500), table_payload=300,
        door=800, spindle_speed=10000, spindle_power=10, spindle_torque=60, taper="BT30",
        nose=(Cylinder(diameter=80, length=60),), tool_setter=True, chip_to_chip=3, rapid=(30000, 30000, 30000),
        acceleration=(3, 3, 3), magazine=20, rate=50,
    )  # fmt: skip
    return base.model_copy(update=other)


def at(x: float, y: float, z: float) -> np.ndarray:
    pose = np.eye(4)
    pose[:3, 3] = (x, y, z)
    return pose


def part(state: str = "blank", height: float = 30.0) -> StationBody:
    return StationBody(f"part {state}", "part", box((-10, -10, 0), (10, 10, height)), state)  # type: ignore[arg-type]


def plate_scene(gap: float, neighbour: float = 50.0, m: Machine | None = None) -> Scene:
    """Station A at x = 0 with a 20 mm block, station B's block `neighbour` high from x = 10 + gap on."""
    plate = box((-100, -100, 0), (100, 100, 20))
    a = PlacedStation("A", at(0, 0, 20), (part(),))
    b = PlacedStation("B", at(20 + gap, 0, 20), (part(height=neighbour),))
    return build(m or machine(), [Placed("plate", "p", plate, np.eye(4), False, (a, b))])


def task(tip: tuple[float, float, float], **other: object) -> Task:
    base = Task("A", "plate", "hole 1/drill", TOOL, (0, 0, 1), np.array([tip]), 52.0)
    return replace(base, **other)  # type: ignore[arg-type]


def margin(report: ReachReport, name: str) -> Margin:
    (found,) = [m for m in report.margins if m.check == name]
    return found


def test_holder_beside_a_taller_neighbour() -> None:
    # tip 10 above the plate at z = 30: holder (radius 15) from z = 70, neighbour's top at 70: level with it
    report = check(plate_scene(gap=12.0), [task((0, 0, 30))], machine(), FLOORS)
    m = margin(report, "tool clearance")
    assert m.have == pytest.approx(22.0 - 15.0)  # holder, level with the neighbour's top at z = 70
    assert m.obstacle == "B/part blank"
    assert report.least_clearance == m.have
    assert m.need == 1.0
    assert report.passed, [x for x in report.margins if not x.passed]
    assert margin(report, "nose clearance").obstacle == "nothing within 30 mm"


def test_a_neighbour_in_the_way_is_named_with_the_shortfall() -> None:
    report = check(plate_scene(gap=12.0, neighbour=55.0), [task((6, 0, 30))], machine(), FLOORS)
    m = margin(report, "tool clearance")
    # holder edge at x = 21, neighbour from 22, reaching 5 above the holder's front: 1 mm; now 8 mm to the right
    assert m.have == pytest.approx(1.0)
    assert report.passed
    report = check(plate_scene(gap=12.0, neighbour=55.0), [task((9, 0, 30))], machine(), FLOORS)
    m = margin(report, "tool clearance")
    assert m.have == pytest.approx(-2.0)  # 24 - 22 sideways is less than 5 up
    assert report.conflicts == (("A", "B"),)
    assert m.where is not None
    assert m.where[0] == pytest.approx(22.25)
    assert any("B/part blank" in r.text for r in report.reasons)


def test_hypot_of_both_gaps_and_the_tool_setting_error() -> None:
    # holder front 4 above the neighbour's top, 3 beside it
    report = check(plate_scene(gap=8.0, neighbour=46.0), [task((0, 0, 30))], machine(), FLOORS)
    assert margin(report, "tool clearance").have == pytest.approx(5.0)
    unmeasured = machine(tool_setter=False)
    m = margin(check(plate_scene(gap=8.0, neighbour=46.0), [task((0, 0, 30))], unmeasured, FLOORS), "tool clearance")
    assert m.have == pytest.approx(np.hypot(3.0, 3.5))
    assert m.need == 2.0


def test_drilling_out_below_meets_the_plate_and_the_own_part_does_not_count() -> None:
    report = check(plate_scene(gap=60.0), [task((0, 0, 18))], machine(), FLOORS)
    m = margin(report, "tool clearance")
    assert m.have == pytest.approx(-2.0)
    assert m.obstacle == "plate/p"
    assert report.conflicts == (("A", "plate/p"),)


def test_the_worse_of_blank_and_cut_counts_for_a_neighbour() -> None:
    plate = box((-100, -100, 0), (100, 100, 20))
    a = PlacedStation("A", at(0, 0, 20), (part(),))
    both = PlacedStation("B", at(32, 0, 20), (part("blank", 52), part("cut", 45)))
    scene = build(machine(), [Placed("plate", "p", plate, np.eye(4), False, (a, both))])
    m = margin(check(scene, [task((0, 0, 30))], machine(), FLOORS), "tool clearance")
    assert m.obstacle == "B/part blank"
    assert m.have == pytest.approx(7.0)


def test_holder_against_the_own_part_in_its_state() -> None:
    # a hole in the floor of a step: holder front at z = 55, blank top 70 over all of it, cut top 70 for x < -22 only
    plate = box((-100, -100, 0), (100, 100, 20))
    blank = StationBody("blank", "part", box((-30, -10, 0), (30, 10, 50)))
    cut = StationBody("cut", "part", box((-30, -10, 0), (-22, 10, 50)), "cut")
    scene = build(
        machine(), [Placed("plate", "p", plate, np.eye(4), False, (PlacedStation("A", at(0, 0, 20), (blank, cut)),))]
    )
    report = check(scene, [task((0, 0, 30), entry=75.0)], machine(), FLOORS)
    assert margin(report, "holder to own part").have == pytest.approx(0.0, abs=1e-9)  # level: front at 70, top at 70
    deeper = task((0, 0, 25), entry=75.0)
    report = check(scene, [deeper], machine(), FLOORS)
    assert margin(report, "holder to own part").have < 0
    assert report.conflicts == (("A", "A/blank"),)
    report = check(scene, [replace(deeper, own_state="cut")], machine(), FLOORS)
    m = margin(report, "holder to own part")
    assert m.passed
    assert m.obstacle == "A/cut"
    # what an earlier cut of the same part swept is gone: a cleared region wide enough for the holder
    grid = np.stack(np.meshgrid(np.arange(-20, 21, 2.0), np.arange(-20, 21, 2.0)), -1).reshape(-1, 2)
    cleared = np.column_stack([grid, np.full(len(grid), 50.0)])
    mill = Tool(number=2, cutter=Cutter(id="e", kind="end_mill", DC=16, LU=45, LCF=45, DMM=16, OAL=100),
                holder=Holder(id="h", taper="BT30", stack=(Cylinder(diameter=20, length=40),), bore=(3, 16)),
                stick_out=45)  # fmt: skip
    first = task((0, 0, 50), cut="pocket/rough", tool=mill, tips=cleared, entry=75.0)
    report = check(scene, [first, deeper], machine(), FLOORS)
    mine = [m for m in report.margins if m.check == "holder to own part" and "T1" in m.subject]
    assert mine[0].passed


def test_travel_daylight_and_lead_in() -> None:
    m = machine(travel=Travel(x=(-250, 250), y=(-200, 200), z=(125, 170)))
    report = check(plate_scene(gap=60.0), [task((0, 0, 30))], m, FLOORS)
    # gauge length 90: z from 120 to 52 + 3 + 90 = 145
    z = margin(report, "travel z")
    assert z.have == pytest.approx(-5.0)
    assert not report.passed
    assert margin(report, "travel x").have == pytest.approx(250.0)
    assert margin(report, "daylight").have == pytest.approx(170 - 90 - 70)


def rotary_scene(length: float = 200.0, y: float = 60.0) -> tuple[Scene, Machine]:
    m = machine(rotary=ROTARY)
    pallet = box((5, -40, -40), (length, 40, 40))
    side = np.eye(4)
    side[:3, 3] = (100, 0, 40)
    back = np.eye(4)
    back[:3, :3] = ((1, 0, 0), (0, 0, -1), (0, 1, 0))  # its z is the carrier's -y
    back[:3, 3] = (100, -40, 0)
    stations = (
        PlacedStation("up", side, (StationBody("part", "part", box((-10, -10, 0), (10, 10, y - 40))),)),
        PlacedStation("back", back, (StationBody("part", "part", box((-10, -10, 0), (10, 10, y - 40))),)),
    )
    return build(m, [Placed("A axis", "pallet", pallet, rotary_pose(m), True, stations)]), m


def test_index_angles_are_right_handed() -> None:
    scene, _ = rotary_scene()
    (mount,) = scene.mounts
    assert index_angle((0, 0, 1), mount) == (0.0, 0.0)
    assert index_angle((0, 1, 0), mount)[0] == pytest.approx(90.0)
    assert index_angle((0, -1, 0), mount)[0] == pytest.approx(270.0)
    assert index_angle((1, 0, 0), mount)[0] is None
    body = next(b for b in scene.bodies if b.id == "back/part")
    angle, _ = index_angle((0, -1, 0), mount)
    assert angle is not None
    pose = turned(body, mount, angle)
    assert pose[:3, 2] == pytest.approx([0, 0, 1])
    assert pose[:3, 3] == pytest.approx([-50, 0, 200])
    table = next(b for b in scene.bodies if b.id == "table")
    assert turned(table, mount, angle) is table.pose


def test_a_side_comes_up_and_the_rotary_unit_is_an_obstacle() -> None:
    scene, m = rotary_scene()
    tip = np.array([[-50.0, -55.0, 160.0]])  # 5 mm deep into the part on the back side
    back = Task("back", "A axis", "hole", TOOL, (0, -1, 0), tip, 75.0)
    report = check(scene, [back], m, FLOORS)
    assert report.passed, [x for x in report.margins if not x.passed]
    # turned, the tip stands at z = 160 + 55; holder front at 255: 55 over the pallet's 200; cutter 15 over it
    assert margin(report, "tool clearance").have == pytest.approx(15.0, abs=0.01)
    assert margin(report, "travel z").have == pytest.approx(min(215 + 90 - 90, 600 - (235 + 3 + 90)))
    assert margin(report, "swing").need == pytest.approx(np.hypot(60, 10))
    assert margin(report, "swing").note == "by up/part"
    assert {type(v) for x in report.margins for v in (x.need, x.have, *(x.where or ()))} <= {float, int}
    assert margin(report, "indexing clearance").have == pytest.approx(600 - 90 - 160 - np.hypot(60, 10))
    along = Task("back", "A axis", "end hole", TOOL, (1, 0, 0), tip, 75.0)
    report = check(scene, [along], m, FLOORS)
    assert not report.passed
    assert margin(report, "direction").have == pytest.approx(-90.0)


def test_near_the_housing_the_nose_decides() -> None:
    scene, m = rotary_scene()
    # housing top at 320, from x = -370 to -180; nose radius 40, front at tip + 90
    tip = np.array([[-145.0, 0.0, 205.0]])
    report = check(scene, [Task("up", "A axis", "hole", TOOL, (0, 0, 1), tip, 230.0)], m, FLOORS)
    nose = margin(report, "nose clearance")
    assert nose.obstacle == "rotary housing"
    assert nose.have == pytest.approx(-5.0)  # reaches x = -185, and 295 is 25 below 320
    assert ("up", "rotary housing") in report.conflicts


def test_a_long_pallet_and_a_wide_part_fail_by_name() -> None:
    scene, m = rotary_scene(length=310.0, y=125.0)
    tip = np.array([[-50.0, 0.0, 280.0]])
    report = check(scene, [Task("up", "A axis", "hole", TOOL, (0, 0, 1), tip, 290.0)], m, FLOORS)
    assert margin(report, "length at tailstock").have == pytest.approx(-10.0)
    swing = margin(report, "swing")
    assert swing.spare == pytest.approx(120 - np.hypot(125, 10))
    assert not swing.passed


def test_the_same_rasters_serve_many_layouts_and_change_nothing() -> None:
    rasters = Rasters()
    for gap in (12.0, 13.0, 14.5):
        fresh = check(plate_scene(gap), [task((0, 0, 30))], machine(), FLOORS)
        shared = check(plate_scene(gap), [task((0, 0, 30))], machine(), FLOORS, rasters=rasters)
        assert shared == fresh
    assert len(rasters.made) == 3  # plate and two heights of block, each once


def test_unknown_names_are_refused() -> None:
    with pytest.raises(ValueError, match="no body A/other"):
        check(plate_scene(12.0), [task((0, 0, 30), own=("A/other",))], machine(), FLOORS)
    with pytest.raises(ValueError, match="no mount nowhere"):
        check(plate_scene(12.0), [task((0, 0, 30), mount="nowhere")], machine(), FLOORS)
    with pytest.raises(ValueError, match="has no rotary axis"):
        rotary_pose(machine())
    a = PlacedStation("A", at(0, 0, 20), (part(),))
    plate = box((-100, -100, 0), (100, 100, 20))
    with pytest.raises(ValueError, match="A/part blank"):
        build(machine(), [Placed("plate", "p", plate, np.eye(4), False, (a, a))])
