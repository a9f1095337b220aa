"""The small laws that the search stands on."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from palletwright.cutting.model import Conditions, Cut, Load
from palletwright.plan.assign import SlotGroup, best_assignment
from palletwright.plan.gentler import LAST, LEAST, each_eased, eased
from palletwright.plan.overrun import PAST, kept_above
from palletwright.plan.table import free_areas, standing
from palletwright.plan.thinned import thinned
from palletwright.shop import example_shop

SHOP = example_shop()
MILL = next(t for t in SHOP.tools if t.cutter.kind == "end_mill" and t.cutter.DC == 16)


def a_cut(tips: np.ndarray, stage: str = "rough", direction: tuple[float, float, float] = (0.0, 0.0, 1.0)) -> Cut:
    conditions = Conditions(6000, 1200, 0.1, 10, 4, 3)
    load = Load(800, 100, 300, 6, 0.15, "test")
    return Cut("pocket-1", stage, direction, MILL.number, tips, 20.0, conditions, load, 12.0)  # type: ignore[arg-type]


@given(st.lists(st.tuples(st.integers(1, 4), st.integers(0, 5), st.integers(0, 5)), min_size=1, max_size=3))
def test_the_assignment_is_what_trying_every_one_finds(rows: list[tuple[int, int, int]]) -> None:
    groups = [SlotGroup(str(i), n, (a, b)) for i, (n, a, b) in enumerate(rows)]
    best = max(
        min(
            sum(k * g.capacity[0] for k, g in zip(split, groups, strict=True)),
            sum((g.count - k) * g.capacity[1] for k, g in zip(split, groups, strict=True)),
        )
        for split in product(*(range(g.count + 1) for g in groups))
    )
    assert best_assignment(groups, 2)[0] == best


def test_an_eased_mill_takes_its_share_of_load_and_the_time_that_costs() -> None:
    cut = a_cut(np.zeros((1, 3)))
    half = eased(cut, 0.5)
    assert half.load.side == pytest.approx(400)
    assert half.load.torque == pytest.approx(3)
    assert half.seconds == pytest.approx(24)
    assert half.conditions.ap == pytest.approx(5)
    assert "eased" in half.notes[-1]


def test_a_tap_is_never_eased_and_too_much_easing_is_refused() -> None:
    tap, mill = a_cut(np.zeros((1, 3)), "tap"), a_cut(np.zeros((1, 3)))
    assert each_eased([mill, tap], [0.5, 0.9]) is None
    assert each_eased([mill], [0.9 * LEAST]) is None
    assert each_eased([mill], [0.9 * LEAST], LAST) is not None
    assert each_eased([mill], [0.9 * LAST], LAST) is None
    made = each_eased([mill, tap], [0.5, 1.0])
    assert made is not None
    lighter, same = made
    assert lighter.load.side == pytest.approx(0.5 * mill.load.side)
    assert same is tap


def test_a_cutter_from_beside_is_lifted_off_the_base_and_one_from_above_ends_just_below() -> None:
    tips = np.array([[0.0, -5.0, z] for z in (-8.0, 2.0, 30.0)])
    beside = kept_above(a_cut(tips, direction=(0.0, -1.0, 0.0)), (0.0, 0.0, 1.0), 0.0, MILL)
    assert beside.tips[:, 2].tolist() == pytest.approx([8 - PAST, 8 - PAST, 30.0])
    above = kept_above(a_cut(tips), (0.0, 0.0, 1.0), 0.0, MILL)
    assert above.tips[:, 2].tolist() == pytest.approx([-PAST, 2.0, 30.0])


def test_thinned_tips_cover_the_same_room() -> None:
    grid = np.array([[x, y, 0.0] for x in np.arange(0, 60, 2.0) for y in np.arange(0, 40, 2.0)])
    few = thinned(a_cut(grid), MILL).tips
    assert len(few) < 0.6 * len(grid)
    for edge, column in ((0.0, 0), (58.0, 0), (0.0, 1), (38.0, 1)):
        on = grid[grid[:, column] == edge]
        assert {tuple(p) for p in on} <= {tuple(p) for p in few}
    reach = np.linalg.norm(grid[:, None] - few[None], axis=2).min(axis=1)
    assert reach.max() < MILL.cutter.DC / 2


def test_carriers_stand_on_the_table_beside_the_rotary_unit() -> None:
    machine = next(m for m in SHOP.machines if m.rotary is not None)
    rotary = machine.rotary
    assert rotary is not None
    end = rotary.faceplate_at[0] + rotary.between + rotary.tailstock_length
    area = free_areas(machine)[0]
    assert area.x0 >= end or area.x1 <= rotary.faceplate_at[0] - rotary.housing_length
    plate = next(c for c in SHOP.carriers if c.id == "plate-350x300")
    ((at, turn),) = standing(machine, plate, 4)
    half = plate.length / 2 if turn == 0 else (plate.width or 0) / 2
    assert at[0] - half >= area.x0 - 1e-9
    assert at[0] + half <= area.x1 + 1e-9
    wide = plate.model_copy(update={"length": 900.0, "width": 600.0})
    assert standing(machine, wide, 1) == ()


def test_without_a_rotary_unit_the_whole_travel_is_free() -> None:
    machine = next(m for m in SHOP.machines if m.rotary is None)
    (area,) = free_areas(machine)
    assert area.size[0] == pytest.approx(min(machine.table[0], machine.travel.x[1] - machine.travel.x[0]))
    bare = replace(area, x1=area.x0 + 1)
    assert bare.size[0] == 1
