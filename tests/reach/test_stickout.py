"""The shortest stick-out by hand: what a millimetre less runs into."""

from __future__ import annotations

import numpy as np
import pytest

from palletwright.cutting import deflection
from palletwright.reach import Task, shortest_stick_out
from palletwright.scene import Placed, PlacedStation, StationBody, box, build
from palletwright.shop.model import Cutter, Cylinder, Floors, Holder, Machine, Tool, Travel

M = Machine(
    id="m", travel=Travel(x=(-250, 250), y=(-200, 200), z=(90, 600)), table=(700, 500), table_payload=300,
    door=800, spindle_speed=10000, spindle_power=10, spindle_torque=60, taper="BT30",
    nose=(Cylinder(diameter=80, length=60),), tool_setter=True, chip_to_chip=3, rapid=(30000, 30000, 30000),
    acceleration=(3, 3, 3), magazine=20, rate=50,
)  # fmt: skip
CUTTER = Cutter(id="e8", kind="end_mill", DC=8, LU=60, LCF=20, DMM=8, OAL=100)
THICK = Holder(id="thick", taper="BT30", stack=(Cylinder(diameter=40, length=80),), bore=(3, 10))
SLIM = Holder(id="slim", taper="BT30", stack=(Cylinder(diameter=20, length=80),), bore=(3, 10))
TOOL = Tool(number=3, cutter=CUTTER, holder=THICK, stick_out=60)


def at(x: float, z: float) -> np.ndarray:
    pose = np.eye(4)
    pose[:3, 3] = (x, 0, z)
    return pose


def scene():  # type: ignore[no-untyped-def]
    """A part with its top at 40; 15 mm to its right a neighbour with its top at 65."""
    plate = box((-100, -100, 0), (100, 100, 20))
    stations = (
        PlacedStation("A", at(0, 20), (StationBody("part", "part", box((-10, -10, 0), (10, 10, 20))),)),
        PlacedStation("B", at(25, 20), (StationBody("part", "part", box((0, -10, 0), (20, 10, 45))),)),
    )
    return build(M, [Placed("plate", "p", plate, np.eye(4), False, stations)])


TASK = Task("A", "plate", "pocket/rough", TOOL, (0, 0, 1), np.array([[0.0, 0.0, 30.0]]), 42.0)


def test_a_thick_holder_must_stay_over_the_neighbour() -> None:
    # holder radius 20, neighbour from 25: 5 mm aside is enough; own part's top at 40 plus 1 mm: front at 41, so 11;
    # but the flutes (20 mm) stay out of the holder
    found = shortest_stick_out(scene(), [TASK], M, Floors(), TOOL)
    assert found.shortest == 20.0
    assert found.stopped_by is None
    flutes = 20.0**3 / 0.8**4  # stepped cantilever, the fluted part as 0.8 of its diameter
    assert found.stiffer == pytest.approx((flutes + 60.0**3 - 20.0**3) / flutes)
    # 100 N: F·L³/(3·E·I), E of high speed steel or carbide as the cutter's
    pushed = shortest_stick_out(scene(), [TASK], M, Floors(), TOOL, side=100.0)
    assert pushed.gives is not None
    assert pushed.gives == pytest.approx(deflection(TOOL.model_copy(update={"stick_out": 20.0}), 100.0))
    assert pushed.gives_now == pytest.approx(pushed.gives * pushed.stiffer)
    assert found.gives is None
    near = Task("A", "plate", "pocket/rough", TOOL, (0, 0, 1), np.array([[4.5, 0.0, 30.0]]), 42.0)
    found = shortest_stick_out(scene(), [near], M, Floors(), TOOL)
    # 0.5 mm aside is less than 1: sqrt(1 - 0.25) = 0.87 above 65, so 36 from tip 30
    assert found.shortest == 36.0
    assert found.stopped_by is not None
    assert found.stopped_by.obstacle == "B/part"
    slim = shortest_stick_out(scene(), [near], M, Floors(), TOOL, holder=SLIM)
    assert slim.shortest == 20.0
    assert slim.holder == "slim"
    assert not slim.needs_reason


def test_a_tool_that_fails_already_says_so() -> None:
    low = Task("A", "plate", "hole/drill", TOOL, (0, 0, 1), np.array([[0.0, 0.0, 15.0]]), 42.0)
    found = shortest_stick_out(scene(), [low], M, Floors(), TOOL)
    assert found.shortest is None
    assert found.stopped_by is not None
    assert found.stopped_by.obstacle == "plate/p"
    with pytest.raises(ValueError, match="used by none"):
        shortest_stick_out(scene(), [], M, Floors(), TOOL)
