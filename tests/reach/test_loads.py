"""Masses, out of balance and brake by hand."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from palletwright.reach import Force, Task, loads
from palletwright.reach.loads import GRAVITY, _worst_subset
from palletwright.scene import Placed, PlacedStation, StationBody, box, build, rotary_pose, rotation
from palletwright.shop.model import Cutter, Cylinder, Floors, Holder, Machine, RotaryAxis, Tool, Travel

ROTARY = RotaryAxis(
    centre_height=160, swing_radius=120, between=300, faceplate_at=(-150, 0), brake_torque=400, payload=100,
    index_time=1.0,
)  # fmt: skip
M = Machine(
    id="m", travel=Travel(x=(-250, 250), y=(-200, 200), z=(90, 600)), table=(700, 500), table_payload=300,
    door=800, spindle_speed=10000, spindle_power=10, spindle_torque=60, taper="BT30",
    nose=(Cylinder(diameter=80, length=60),), chip_to_chip=3, rapid=(30000, 30000, 30000),
    acceleration=(3, 3, 3), magazine=20, rotary=ROTARY, rate=50,
)  # fmt: skip
DRILL = Cutter(id="d6", kind="drill", DC=6, LU=60, LCF=60, DMM=6, OAL=100)
COLLET = Holder(id="c", taper="BT30", stack=(Cylinder(diameter=30, length=50),), bore=(3, 10))
TOOL = Tool(number=1, cutter=DRILL, holder=COLLET, stick_out=40)
DENSITY = {"carrier": 1000.0, "part": 2000.0, "clamp": 8000.0}


def scene(sides: int = 2):  # type: ignore[no-untyped-def]
    """A square bar 100 long, 40 across, with a 20 mm cube on `sides` of its sides."""
    bar = box((0, -20, -20), (100, 20, 20))
    cube = (StationBody("part blank", "part", box((-10, -10, 0), (10, 10, 20))),
            StationBody("part cut", "part", box((-10, -10, 0), (10, 10, 10)), "cut"))  # fmt: skip
    stations = []
    for k in range(sides):
        pose = np.eye(4)
        pose[:3, :3] = rotation((1, 0, 0), 90.0 * k)
        pose[:3, 3] = pose[:3, :3] @ (50, 0, 20)
        stations.append(PlacedStation(f"S{k}", pose, cube))
    return build(M, [Placed("A axis", "bar", bar, rotary_pose(M), True, tuple(stations))])


def test_mass_inertia_and_out_of_balance_by_hand() -> None:
    (load,) = loads(scene(1), M, Floors(), DENSITY).mounts
    bar, cube = 100 * 40 * 40 * 1e-6, 20**3 * 2e-6
    assert load.mass == pytest.approx(bar + cube)  # the blank only, not blank and cut
    own = cube * (20**2 + 20**2) / 12 + cube * 30**2
    assert load.inertia == pytest.approx((bar * (40**2 + 40**2) / 12 + own) * 1e-6)
    assert load.full == pytest.approx(cube * GRAVITY * 0.030)
    assert load.empty == pytest.approx(0.0, abs=1e-12)
    (two,) = loads(scene(2), M, Floors(), DENSITY).mounts
    assert two.full == pytest.approx(cube * GRAVITY * 0.030 * np.sqrt(2))
    (four,) = loads(scene(4), M, Floors(), DENSITY).mounts
    assert four.full == pytest.approx(0.0, abs=1e-12)
    assert four.half == pytest.approx(two.full)  # two neighbours loaded, the other two not yet


def test_the_worst_half_load_equals_trying_them_all() -> None:
    rng = np.random.default_rng(3)
    for _ in range(20):
        parts = [np.array([0.0, *rng.normal(size=2)]) for _ in range(7)]
        rest = np.array([0.0, *rng.normal(size=2)])
        tried = max(
            np.linalg.norm(rest + sum(some, np.zeros(3))) for k in range(8) for some in itertools.combinations(parts, k)
        )
        assert _worst_subset(rest, parts, np.array([1.0, 0.0, 0.0])) == pytest.approx(tried)


def test_brake_payload_and_lift() -> None:
    tip = np.array([[-100.0, 10.0, 200.0]])  # 40 over the axis, 10 beside it
    task = Task("S0", "A axis", "hole", TOOL, (0, 0, 1), tip, 220.0)
    floors = Floors(holding=2.0, lift_kg=0.1)
    found = loads(scene(1), M, floors, DENSITY, [Force(task, 1500.0, 300.0)])
    margins = {m.check: m for m in found.margins}
    gravity = found.mounts[0].full
    assert margins["rotary brake"].need == pytest.approx(2 * (gravity + 1500 * 0.040 + 300 * 0.010))
    assert margins["rotary brake"].have == 400
    assert "hole at S0" in margins["rotary brake"].note
    assert margins["rotary payload"].have == 100
    assert margins["table payload"].need == pytest.approx(found.mounts[0].mass)
    assert any("lift" in r.text for r in found.reasons)
    assert not any("lift" in r.text for r in loads(scene(1), M, Floors(), DENSITY).reasons)


def test_a_body_without_density_is_refused() -> None:
    with pytest.raises(ValueError, match="no density for body S0/part blank"):
        loads(scene(1), M, Floors(), {"carrier": 1000.0})
