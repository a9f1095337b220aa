"""Vises side by side on a table: none over another or over the edge, never more than are owned, and as many as fit."""

from __future__ import annotations

import itertools
from collections import Counter

import pytest

from palletwright.plan.table import GAP, footprint, free_areas, side_by_side, vise_rows
from palletwright.shop import example_shop

SHOP = example_shop()
VISES = {c.id: c for c in SHOP.carriers if c.kind == "vise"}


def box(placing):
    dx, dy = footprint(VISES[placing.carrier], placing.turn)
    x, y = placing.at
    return x - dx / 2, y - dy / 2, x + dx / 2, y + dy / 2


@pytest.mark.parametrize("machine", SHOP.machines, ids=lambda m: m.id)
def test_vises_stand_apart_within_one_free_area(machine):
    rows = vise_rows(machine, SHOP.carriers)
    assert rows
    for placings in rows:
        boxes = [box(p) for p in placings]
        for a, b in itertools.combinations(boxes, 2):
            assert max(a[0] - b[2], b[0] - a[2], a[1] - b[3], b[1] - a[3]) >= GAP - 1e-6
        assert any(
            all(
                a.x0 - 1e-6 <= b[0] and b[2] <= a.x1 + 1e-6 and a.y0 - 1e-6 <= b[1] and b[3] <= a.y1 + 1e-6
                for b in boxes
            )
            for a in free_areas(machine)
        )
        owned = Counter(p.carrier for p in placings)
        assert all(n <= VISES[c].how_many for c, n in owned.items())
        assert len({p.mount for p in placings}) == len(placings)


def test_all_kinds_mixed_stand_on_a_large_table():
    large = next(m for m in SHOP.machines if m.id == "mc-large")
    mixed = max(vise_rows(large, SHOP.carriers), key=len)
    assert Counter(p.carrier for p in mixed) == {"vise-100": 3, "vise-125": 4, "vise-150": 2}


def test_on_a_small_table_mixing_gives_more_than_any_kind_alone():
    small = next(m for m in SHOP.machines if m.id == "mc-small")
    rows = vise_rows(small, SHOP.carriers)
    alone = [len(r) for r in rows if len({p.carrier for p in r}) == 1]
    mixed = [len(r) for r in rows if len({p.carrier for p in r}) > 1]
    assert max(mixed) > max(alone) == 4


def test_a_vise_that_is_not_owned_or_too_large_does_not_stand():
    small = next(m for m in SHOP.machines if m.id == "mc-small")
    bought = [c.model_copy(update={"owned": False}) for c in VISES.values()]
    assert vise_rows(small, bought) == ()
    huge = VISES["vise-150"].model_copy(update={"length": 5000.0})
    assert side_by_side(small, [huge]) == ()
