"""Ways across over what really stands there: heights by hand, never below the truth, and the order's time with them."""

from __future__ import annotations

import numpy as np
import pytest
from cycle_shop import machine
from hypothesis import given, settings
from hypothesis import strategies as st

from palletwright.cycle import clear_heights, order_visits
from palletwright.cycle.model import Visit
from palletwright.cycle.motion import axes_of, rapid_seconds, rest_to_rest
from palletwright.cycle.obstacles import PITCH
from palletwright.reach import nose_stack
from palletwright.scene import Body, Mount, Scene, box
from palletwright.shop.model import Cutter, Cylinder, Floors, Holder, Tool

FLOORS = Floors()
UP = FLOORS.cutter + FLOORS.tool_setting_error
TOOL = Tool(
    number=1,
    cutter=Cutter(id="drill 10", kind="drill", DC=10, LU=50, LCF=50, DMM=10, OAL=90),
    holder=Holder(id="chuck", taper="40", stack=(Cylinder(diameter=50, length=60),), bore=(10, 10)),
    stick_out=50,
)
CEILING = 300.0


def scene(*boxes: tuple[tuple[float, float, float], tuple[float, float, float]], rotary: bool = False) -> Scene:
    mount = Mount("m", "c", rotary, np.eye(4), (0.0, 0.0, 0.0), (1.0, 0.0, 0.0))
    bodies = tuple(Body(f"b{k}", "clamp", box(*corners), np.eye(4), group="m") for k, corners in enumerate(boxes))
    return Scene("small mill", (mount,), bodies)


def at(name: str, x: float, y: float = 0.0, z: float = 20.0, angle: float = 0.0) -> Visit:
    return Visit(name, 1, "m", angle, name, name, "drill", 10, (x, y, z), (x, y, z), 3.0)


def height(where: Scene, *visits: Visit) -> float:
    heights = clear_heights(where, visits, {1: TOOL}, machine(), FLOORS, ceiling=CEILING)
    assert set(heights) == {("m", visits[0].angle, 1)}
    return heights["m", visits[0].angle, 1]


def test_a_block_on_the_way_is_passed_over_and_one_beside_it_is_not() -> None:
    ends = at("a", -100.0), at("b", 100.0)
    assert height(scene(((-5, -5, 0), (5, 5, 60))), *ends) == pytest.approx(60.0 + UP)
    assert height(scene(((-5, 60, 0), (5, 70, 60))), *ends) == 20.0
    assert height(scene(((-5, -5, 0), (5, 5, 12))), *ends) == 20.0, "not below where the visits begin"


def test_a_block_under_the_holder_only_counts_less_the_stick_out() -> None:
    """15 mm beside the way: past the drill's 5 mm and its margin, under the chuck's 25 mm, 50 mm above the tip."""
    ends = at("a", -100.0), at("b", 100.0)
    assert height(scene(((-5, 15, 0), (5, 25, 90))), *ends) == pytest.approx(90.0 - 50.0 + UP)
    assert height(scene(((-5, 15, 0), (5, 25, 60))), *ends) == 20.0


def test_the_ceiling_is_safe_everywhere_and_no_answer_is_above_it() -> None:
    assert height(scene(((-5, -5, 0), (5, 5, 299))), at("a", -100.0), at("b", 100.0)) == CEILING


def test_the_carrier_stands_as_it_is_turned() -> None:
    """A block 80 mm up at angle 0 lies to the side at 90°."""
    block = scene(((-5, -5, 0), (5, 5, 80)), rotary=True)
    assert height(block, at("a", -100.0), at("b", 100.0)) == pytest.approx(80.0 + UP)
    assert height(block, at("a", -100.0, angle=90.0), at("b", 100.0, angle=90.0)) == 20.0


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(-90, 90), st.floats(-60, 60), st.floats(2, 30), st.floats(2, 30), st.floats(5, 150)),
        min_size=1,
        max_size=5,
    ),
    st.lists(st.tuples(st.floats(-90, 90), st.floats(-60, 60)), min_size=2, max_size=4),
)
def test_no_way_at_the_height_comes_nearer_than_the_floor(
    blocks: list[tuple[float, float, float, float, float]], points: list[tuple[float, float]]
) -> None:
    corners = [((x, y, 0.0), (x + dx, y + dy, z)) for x, y, dx, dy, z in blocks]
    visits = [at(f"v{k}", x, y) for k, (x, y) in enumerate(points)]
    least = height(scene(*corners), *visits)
    exact, loose = 20.0, 20.0
    for a in points:
        for b in points:
            t = np.linspace(0.0, 1.0, 400)[:, None]
            way = np.array(a) + t * (np.array(b) - np.array(a))
            for (x0, y0, _), (x1, y1, z) in corners:
                away = np.hypot(
                    np.maximum(np.maximum(x0 - way[:, 0], way[:, 0] - x1), 0.0),
                    np.maximum(np.maximum(y0 - way[:, 1], way[:, 1] - y1), 0.0),
                ).min()
                for radius, start, _ in (*TOOL.stack(), *nose_stack(machine(), TOOL.gauge_length)):
                    if away < radius + FLOORS.cutter:
                        exact = max(exact, z - start + UP)
                    if away < radius + FLOORS.cutter + 4 * PITCH:
                        loose = max(loose, z - start + UP)
    assert exact - 1e-9 <= least <= loose + 1e-9


def test_the_order_takes_each_group_across_at_its_own_height() -> None:
    mill = machine()
    visits = [at("a", -100.0), at("b", 100.0), at("c", -100.0, z=40.0, angle=90.0)]
    low = {("m", 0.0, 1): 30.0, ("m", 90.0, 1): 50.0}
    cycle = order_visits(visits, mill, retract_z=CEILING, clear_z=low)
    axes = axes_of(mill)
    across = float(rapid_seconds((200.0, 0.0, 0.0), axes))
    up = 2 * float(rest_to_rest(10.0, axes.speed[2], axes.acceleration[2], None))
    assert min(e.seconds for e in cycle.events if e.what == "rapid") == pytest.approx(across + up)
    high = order_visits(visits, mill, retract_z=CEILING)
    assert cycle.seconds < high.seconds
    assert cycle.bound <= cycle.seconds
