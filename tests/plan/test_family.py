"""A family from saved plans: the mix against trying every one, rounds in turn, and what it can't do said."""

from __future__ import annotations

import itertools

import pytest

from palletwright.errors import InputError
from palletwright.plan.family import carriers_of, family
from palletwright.plan.table import GAP, free_areas
from palletwright.shop import example_shop

SHOP = example_shop()
MACHINE = next(m for m in SHOP.machines if m.id == "mc-rotary")


def way(name, placings, stations, parts):
    operations = [{"clamping": k, "number": 10 * (k + 1)} for k in sorted({k for _, k, _ in stations})]
    design = {
        "machine": "mc-rotary",
        "operations": operations,
        "placings": [{"mount": m, "carrier": c, "kind": kind, "turn": 0} for m, c, kind in placings],
        "stations": [{"mount": m, "operation": k, "parts": [f"{m}.{k}.{i}" for i in range(n)]} for m, k, n in stations],
    }
    return {"name": name, "design": design, "timing": {"parts_per_start": parts, "start_seconds": 200.0 * parts}}


def plan(*ways):
    return {"shop": SHOP.model_dump(mode="json"), "plans": list(ways)}


YOKE = plan(
    way("plan 1", [("rotary", "pallet-160x480", "pallet")], [("rotary", 0, 6), ("rotary", 1, 6)], 6),
    way("plan 2", [("plate", "plate-350x300", "plate")], [("plate", 0, 4), ("plate", 1, 4)], 4),
)
PIN = plan(
    way("plan 1", [("plate", "plate-350x300", "plate")], [("plate", 0, 12)], 12),
    way("plan 2", [("rotary", "pallet-120x300", "pallet")], [("rotary", 0, 20)], 20),
)


def test_yokes_on_the_axis_and_pins_on_the_table_make_whole_kits():
    """By trying every choice: one thing on the axis, one plate of 350 mm on the table beside it."""
    found = family({"yoke": YOKE, "pin": PIN}, {"yoke": 1, "pin": 2}, "mc-rotary")
    both = {"yoke": YOKE, "pin": PIN}
    kinds = [kind for part, data in both.items() for kind in carriers_of(part, data, MACHINE, SHOP)]
    row = max(a.size[0] for a in free_areas(MACHINE)) + GAP
    best = 0
    for counts in itertools.product(range(4), repeat=len(kinds)):
        axis = sum(n for n, k in zip(counts, kinds, strict=True) if k.where == (0,))
        table = sum(n * k.room for n, k in zip(counts, kinds, strict=True) if k.where == (1,))
        if axis > 1 or table > row:
            continue
        made = {
            key: sum(n * k.stations.get(key, 0) for n, k in zip(counts, kinds, strict=True))
            for key in (("yoke", 0), ("yoke", 1), ("pin", 0))
        }
        best = max(best, min(made["yoke", 0], made["yoke", 1], made["pin", 0] // 2))
    assert found["together"]["kits_per_start"] == best >= 6
    assert "not checked" in found["together"]["checked"]


def test_in_turn_whole_kits_come_from_a_round():
    found = family({"yoke": YOKE, "pin": PIN}, {"yoke": 1, "pin": 2}, "mc-rotary")["in_turn"]
    assert found["starts"]["yoke"] * 6 == found["kits"]
    assert found["starts"]["pin"] * 12 == 2 * found["kits"]
    assert found["surplus"] == {}


def test_a_part_that_is_not_planned_or_not_for_that_machine_is_refused():
    with pytest.raises(InputError, match="bolt"):
        family({"yoke": YOKE}, {"bolt": 1}, "mc-rotary")
    with pytest.raises(InputError, match="mc-small"):
        family({"yoke": YOKE}, {"yoke": 1}, "mc-small")
