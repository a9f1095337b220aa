"""Pallet loading against published optima.

Sources: five-block patterns stop one short at (43,26,7,3) 53, (49,28,8,3) 57, (57,34,7,4) 69 and (67,37,11,3) 75
(Martins & Dell, European Journal of Operational Research 184, 2008, 429-440; Lins, Lins & Morabito 2003); the
area and Barnes bounds are one too high at (34,23,5,4) 38 and (37,30,8,3) 45; 1200 × 800 with 176 × 135 is
(34,23,5,4) (Dowsland 1984).
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
import shapely

from palletwright.layout import loading_bound, pallet_loading
from palletwright.layout.loading import _classes

PUBLISHED = [
    ((43, 26, 7, 3), 53),
    ((49, 28, 8, 3), 57),
    ((57, 34, 7, 4), 69),
    ((67, 37, 11, 3), 75),
    ((34, 23, 5, 4), 38),
    ((37, 30, 8, 3), 45),
    ((1200, 800, 176, 135), 38),
]


def disjoint_within(sizes: tuple[float, ...], placed: tuple[tuple[float, float, bool], ...]) -> bool:
    L, W, l, w = sizes  # noqa: E741
    boxes = [shapely.box(x, y, x + (w if t else l), y + (l if t else w)) for x, y, t in placed]
    small = [b.buffer(-1e-6 * w) for b in boxes]
    pairs = shapely.STRtree(small).query(small, predicate="intersects")
    return bool((pairs[0] == pairs[1]).all()) and shapely.box(-1e-6, -1e-6, L + 1e-6, W + 1e-6).covers(
        shapely.union_all(boxes)
    )


@pytest.mark.parametrize(("sizes", "optimum"), PUBLISHED)
def test_published_optimum_is_met_and_proven(sizes: tuple[int, int, int, int], optimum: int) -> None:
    count, bound, proven, placed = pallet_loading(*sizes, nodes=2_000_000)
    assert (count, bound, proven) == (optimum, optimum, True)
    assert len(placed) == count
    assert disjoint_within(sizes, placed)


def test_a_pallet_reduces_to_its_small_equivalent() -> None:
    small = _classes(1200, 800, 176, 135)[0]
    assert (small.length, small.width, small.a, small.b) == (34, 23, 5, 4)


def test_generated_instances_of_the_list(published: Path) -> None:
    with (published / "pallet_loading.csv").open(newline="") as text:
        rows = [r for r in csv.DictReader(text) if r["instance"].startswith("G_")][::6]
    assert len(rows) > 10
    for row in rows:
        sizes = tuple(float(row[k]) for k in ("L", "W", "l", "w"))
        count, bound, _, placed = pallet_loading(*sizes, nodes=2_000_000)
        assert count == int(row["optimum"]) <= bound, row["instance"]
        assert disjoint_within(sizes, placed), row["instance"]


def brute(L: int, W: int, a: int, b: int) -> int:
    """Most boxes by trying every cell in turn: covered by a box lying, standing, or left empty."""
    best = 0

    def go(cell: int, taken: frozenset[tuple[int, int]], count: int) -> None:
        nonlocal best
        best = max(best, count)
        if cell == L * W or count + (L * W - len(taken)) // (a * b) <= best:
            return
        x, y = cell % L, cell // L
        if (x, y) not in taken:
            for wide, tall in ((a, b), (b, a)):
                need = {(x + i, y + j) for i in range(wide) for j in range(tall)}
                if x + wide <= L and y + tall <= W and not need & taken:
                    go(cell + 1, taken | need, count + 1)
        go(cell + 1, taken | {(x, y)}, count)

    go(0, frozenset(), 0)
    return best


@pytest.mark.parametrize("sizes", [(5, 5, 3, 2), (7, 5, 3, 2), (6, 6, 4, 1), (7, 7, 4, 3), (8, 5, 3, 2), (5, 4, 6, 1)])
def test_tiny_instances_agree_with_trying_everything(sizes: tuple[int, int, int, int]) -> None:
    count, bound, proven, _ = pallet_loading(*sizes, nodes=1_000_000)
    assert proven
    assert count == bound == brute(*sizes)


def test_scale_and_swapped_sides_change_nothing() -> None:
    plain = pallet_loading(43, 26, 7, 3, nodes=1_000_000)[:3]
    assert pallet_loading(26 * 1.1, 43 * 1.1, 3 * 1.1, 7 * 1.1, nodes=1_000_000)[:3] == plain


def test_counted_work_gives_the_same_placements_twice() -> None:
    assert pallet_loading(67, 37, 11, 3, nodes=500_000) == pallet_loading(67, 37, 11, 3, nodes=500_000)


def test_a_box_too_large_is_none_and_nonsense_is_refused() -> None:
    assert pallet_loading(10, 5, 11, 2) == (0, 0, True, ())
    assert loading_bound(10, 5, 6, 6) == 0
    with pytest.raises(ValueError, match="positive"):
        pallet_loading(10, -5, 3, 2)
