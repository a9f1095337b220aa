"""What must be cut away before a tool goes in, on boxes whose distances are plain."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from palletwright.cutting.model import Conditions, Cut, Load
from palletwright.plan.cleared import cut_first
from palletwright.plan.ownpart import meets_itself
from palletwright.reach.task import wide_rows
from palletwright.shop import example_shop
from palletwright.solid.bodies import box
from palletwright.solid.model import Mesh

SHOP = example_shop()
MACHINE = next(m for m in SHOP.machines if m.tool_setter)
MILL = next(t for t in SHOP.tools if t.cutter.kind == "end_mill" and t.cutter.DC == 10)
WIDE = wide_rows(MILL)
NEED = SHOP.floors.cutter / 2
HOLDER, FROM = max(WIDE, key=lambda row: row[0])[:2]
"""Radius of the widest row, and its height over the tip, mm."""


def cut(feature: str, z: float) -> Cut:
    load = Load(100, 10, 30, 1, 0.1, "test")
    return Cut(feature, "rough", (0.0, 0.0, 1.0), MILL.number, np.array([[0.0, 0.0, z]]), z + 90.0,
               Conditions(6000, 1200, 0.1, 5, 2, 1), load, 5.0)  # fmt: skip


def away(gap: float, top: float) -> Mesh:
    """Material of another feature beside the holder: its least distance from it, its height."""
    return box((HOLDER + gap, -20, 0), (HOLDER + gap + 30, 20, top))


def context(cuts: tuple[Cut, ...], features: dict[str, Mesh], before: Mesh, after: Mesh) -> Any:
    memo: dict[Any, Any] = {}
    access = SimpleNamespace(features=[SimpleNamespace(id=k, removal=m, after=()) for k, m in features.items()])

    def once(key: Any, make: Any) -> Any:
        memo[key] = memo[key] if key in memo else make()
        return memo[key]

    return SimpleNamespace(
        shop=SHOP, once=once, timed=lambda _, make: make(), work_key=lambda *_: "work", cuts=lambda *_: cuts,
        access=lambda _: access, tool=lambda _: MILL, clearance=lambda _: NEED, in_process=lambda *_: (before, after),
    )  # fmt: skip


def first_of(*args: Any) -> Any:
    return cut_first(context(*args), MACHINE, "rotary", 0, 0)


SMALL = box((-5, -5, 0), (5, 5, 10))


def test_material_in_the_holders_way_is_cut_first_and_what_stands_off_is_not() -> None:
    pocket, tall = cut("pocket", 5.0), FROM + 20.0
    near = {"pocket": SMALL, "step": away(0.2, tall)}
    assert first_of((pocket, cut("step", 60.0)), near, SMALL, SMALL)[0] == {"step"}
    far = {"pocket": SMALL, "step": away(NEED + 1.5, tall)}
    assert first_of((pocket, cut("step", 60.0)), far, SMALL, SMALL)[0] == frozenset()
    low = {"pocket": SMALL, "step": away(0.2, FROM - NEED - 3.0)}
    assert first_of((pocket, cut("step", 60.0)), low, SMALL, SMALL)[0] == frozenset()


def test_two_that_each_ask_for_the_other_leave_the_blank_uncut_for_one() -> None:
    meshes = {"a": away(0.2, FROM + 20.0), "b": away(0.2, FROM + 20.0)}
    rows = first_of((cut("a", 5.0), cut("b", 5.0)), meshes, SMALL, SMALL)
    assert rows == (frozenset({"b"}), None)


def test_a_tool_that_meets_what_is_left_of_its_part_is_told_with_the_gap() -> None:
    wall = box((HOLDER + 0.2, -20, 0), (HOLDER + 30, 20, FROM + 20.0))
    told = meets_itself(context((cut("pocket", 5.0),), {"pocket": SMALL}, wall, wall), MACHINE, "rotary", 0, 0)
    assert told is not None
    assert "pocket/rough" in told.text
    assert told.amount == pytest.approx(NEED - 0.2, abs=0.8)
    assert float(told.amount or 0.0) >= NEED - 0.2
    free = context((cut("pocket", 5.0),), {"pocket": SMALL}, wall, SMALL)
    assert meets_itself(free, MACHINE, "rotary", 0, 0) is None


def test_where_nothing_can_be_cut_first_the_blank_counts() -> None:
    wall, meshes = away(0.2, FROM + 20.0), {"a": away(0.2, FROM + 20.0), "b": away(0.2, FROM + 20.0)}
    ring = context((cut("a", 5.0), replace(cut("b", 5.0))), meshes, wall, SMALL)
    told = meets_itself(ring, MACHINE, "rotary", 0, 0)
    assert told is not None
    assert "b/rough" in told.text
