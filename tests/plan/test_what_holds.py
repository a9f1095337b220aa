"""How the plan asks holding: interrupted cuts, tolerances in words, places, walls, the chain."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from palletwright.access.model import Feature
from palletwright.cutting import conditions_for, load_of
from palletwright.cutting.model import Cut
from palletwright.plan.engaged import engaged, interrupted
from palletwright.plan.giving import general
from palletwright.plan.toleranced import feature_at, half_width
from palletwright.shop import example_shop
from palletwright.solid.bodies import box, subtract, union
from palletwright.solid.model import Mesh

SHOP = example_shop()
STEEL = next(m for m in SHOP.materials if m.group == "P")
MACHINE = SHOP.machines[0]
FACER = next(t for t in SHOP.tools if t.cutter.kind == "face_mill")
DRILL = next(t for t in SHOP.tools if t.cutter.kind == "drill")


def feature(removal: Mesh, kind: str = "face", **more: object) -> Feature:
    return Feature("f-1", kind, "", removal, removal.volume, frozenset(), (), **more)  # type: ignore[arg-type]


def cut(tool=FACER, stage: str = "face") -> Cut:
    conditions = conditions_for(tool, STEEL, MACHINE, stage)
    load = load_of(tool, STEEL, conditions, stage)
    return Cut("f-1", stage, (0.0, 0.0, 1.0), tool.number, np.array([[0.0, 0, 8.0]]), 12.0, conditions, load, 5.0)


PLATE = box((0, 0, 8), (200, 120, 10))


@pytest.mark.parametrize(
    ("removal", "struck"),
    [
        (PLATE, False),
        (subtract(PLATE, box((80, 40, 7), (120, 80, 11))), True),
        (union([box((0, 0, 8), (80, 120, 10)), box((120, 0, 8), (200, 120, 10))]), True),
        (subtract(PLATE, box((80, 40, 7), (82, 42, 11))), False),  # a pin's hole doesn't count
    ],
)
def test_a_face_with_holes_or_in_pieces_interrupts_the_cut(removal: Mesh, struck: bool) -> None:
    whole, own = cut(), feature(removal)
    assert interrupted(whole, own) is struck
    made = engaged(whole, own, FACER, STEEL)
    plain = load_of(FACER, STEEL, made.conditions, "face")
    assert made.load.side == pytest.approx(plain.side * (1.2 if struck else 1.0))
    assert ("interrupted" in " ".join(made.notes)) is struck


def test_a_drill_across_a_cavity_is_interrupted_and_a_milled_pocket_with_an_island_is_not() -> None:
    hole = feature(box((0, 0, 0), (5, 5, 30)), "hole", notes=("interrupted by 1 cavity",))
    drilled = cut(DRILL, "drill")
    assert engaged(drilled, hole, DRILL, STEEL).load.torque == pytest.approx(1.2 * drilled.load.torque)
    island = subtract(box((0, 0, 0), (60, 60, 10)), box((20, 20, -1), (40, 40, 11)))
    assert not interrupted(cut(stage="rough"), feature(island, "pocket"))


@pytest.mark.parametrize(
    ("text", "half"),
    [
        ("±0.05", 0.05), ("+/- 0.05 mm", 0.05), ("+0.1/-0.05", 0.075), ("+0.02 -0", 0.01), ("position 0.1", 0.05),
        ("0.2", 0.1), ("Ø0.1 A B", 0.05), ("0.004 in", 0.0508), ("±0,02", 0.02), ("±20 µm", 0.02), ("as shown", None),
        ("−0.1 −0.3", 0.1), ('±0.002"', 0.0508),
    ],
)  # fmt: skip
def test_tolerances_are_read_from_their_words(text: str, half: float | None) -> None:
    got = half_width(text)
    assert got == (None if half is None else pytest.approx(half))


def test_a_place_means_the_feature_on_whose_surface_it_lies() -> None:
    hole = Feature(
        "hole-1", "hole", "", box((18, 18, 0), (22, 22, 10)), 1.0, frozenset(), (), diameter=8.0, depth=10.0,
        axis=(0.0, 0.0, 1.0), position=(20.0, 20.0, 10.0),
    )  # fmt: skip
    top = Feature("face-9", "face", "", box((0, 0, 10), (40, 40, 12)), 1.0, frozenset(), ())
    access = SimpleNamespace(features=(top, feature(box((40, 0, 0), (60, 20, 5))), hole))
    assert feature_at(access, "hole-1") == "hole-1"
    assert feature_at(access, (24.0, 20.0, 5.0)) == "hole-1"  # on its wall
    assert feature_at(access, (20.0, 20.0, 10.0)) == "hole-1"  # in the middle of its mouth
    assert feature_at(access, (5.0, 5.0, 10.0)) == "face-9"
    assert feature_at(access, (50.0, 0.0, 2.0)) == "f-1"
    assert feature_at(access, (20.0, 20.0, -3.0)) is None
    assert feature_at(access, "hole-9") is None


def test_the_general_tolerance_grows_with_the_size() -> None:
    assert [general(x) for x in (3.0, 6.0, 6.1, 30.0, 100.0, 900.0)] == [0.1, 0.1, 0.2, 0.2, 0.3, 0.5]
