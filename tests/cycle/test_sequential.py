"""The sequential ordering solver: brute force, published optima, bounds that hold."""

from __future__ import annotations

import csv
import json
import os
from itertools import pairwise, permutations
from pathlib import Path

import numpy as np
import pytest
from benchmarks.tool_order import main, read_sop
from hypothesis import given, settings
from hypothesis import strategies as st

from palletwright.cycle import minutes_per_part_curve, sequential_order
from palletwright.cycle.arborescence import FAR, ascend, least_arborescence
from palletwright.errors import InputError

Problem = tuple[np.ndarray, list[tuple[int, int]]]


@st.composite
def problems(draw: st.DrawFn, most: int = 7) -> Problem:
    n = draw(st.integers(1, most))
    cost = np.array(draw(st.lists(st.integers(0, 50), min_size=n * n, max_size=n * n)), dtype=float).reshape(n, n)
    numbers = draw(st.permutations(range(n)))
    pairs = [(numbers[a], numbers[b]) for a in range(n) for b in range(a + 1, n) if draw(st.integers(0, 4)) == 0]
    return cost, pairs


def length(cost: np.ndarray, order: tuple[int, ...]) -> float:
    return float(sum(cost[a, b] for a, b in pairwise(order)))


def kept(order: tuple[int, ...], pairs: list[tuple[int, int]]) -> bool:
    place = {a: k for k, a in enumerate(order)}
    return all(place[a] < place[b] for a, b in pairs)


@settings(max_examples=60, deadline=None)
@given(problems())
def test_small_problems_agree_with_brute_force(problem: Problem) -> None:
    cost, pairs = problem
    found = sequential_order(cost, pairs)
    best = min(length(cost, o) for o in permutations(range(len(cost))) if kept(o, pairs))
    assert kept(found.order, pairs)
    assert sorted(found.order) == list(range(len(cost)))
    assert length(cost, found.order) == found.cost == found.bound == best


def test_nine_nodes_agree_with_brute_force() -> None:
    rng = np.random.default_rng(5)
    for _ in range(3):
        cost, pairs = rng.integers(0, 99, (9, 9)).astype(float), [(2, 0), (0, 5), (7, 1)]
        best = min(length(cost, o) for o in permutations(range(9)) if kept(o, pairs))
        assert sequential_order(cost, pairs).cost == best


@settings(max_examples=15, deadline=None)
@given(problems(most=16))
def test_the_search_and_its_bound_hold_against_the_exact_answer(problem: Problem) -> None:
    cost, pairs = problem
    exact = sequential_order(cost, pairs)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("palletwright.cycle.sequential.EXACT_NODES", -1)
        found = sequential_order(cost, pairs, effort=0.1)
    assert kept(found.order, pairs)
    assert found.bound <= exact.cost <= found.cost


@settings(max_examples=40, deadline=None)
@given(problems(most=6))
def test_the_arborescence_is_the_least_of_all(problem: Problem) -> None:
    cost = problem[0]
    n = len(cost)
    full = np.where(np.eye(n, dtype=bool), FAR, cost)
    full[:, 0] = FAR
    choice = np.empty(n, dtype=np.int64)
    value = least_arborescence(full, choice)
    best = np.inf
    for code in range(n ** (n - 1)):
        parent = [0] + [code // n**k % n for k in range(n - 1)]
        if all(_reaches_root(parent, v) for v in range(1, n)):
            best = min(best, sum(full[parent[v], v] for v in range(1, n)))
    assert value == pytest.approx(best if n > 1 else 0.0)
    if n > 1:
        assert value == pytest.approx(sum(full[choice[v], v] for v in range(1, n)))


def _reaches_root(parent: list[int], v: int) -> bool:
    for _ in range(len(parent)):
        if v == 0:
            return True
        v = parent[v]
    return False


def test_the_ascent_only_raises_the_bound() -> None:
    rng = np.random.default_rng(3)
    cost = rng.integers(1, 100, (30, 30)).astype(float)
    np.fill_diagonal(cost, FAR)
    cost[:, 0], cost[-1, :], cost[0, -1] = FAR, FAR, FAR
    plain = least_arborescence(cost, np.empty(30, dtype=np.int64))
    assert ascend(cost, 2 * plain, 1) == pytest.approx(plain)
    assert ascend(cost, 2 * plain, 300) > plain


def test_bad_problems_are_refused() -> None:
    with pytest.raises(ValueError, match="as many rows as columns"):
        sequential_order(np.zeros((2, 3)))
    with pytest.raises(ValueError, match=r"circle through nodes \[0, 1\]"):
        sequential_order(np.zeros((3, 3)), [(0, 1), (1, 0)])
    with pytest.raises(ValueError, match="no numbers"):
        sequential_order(np.full((3, 3), np.nan))


def test_a_start_and_an_end_that_nobody_names_are_free() -> None:
    cost = np.array([[0, 9, 1.0], [1, 0, 9], [9, 9, 0]])
    assert sequential_order(cost) == ((1, 0, 2), 2.0, 2.0)


SHARED = Path(os.environ.get("PALLETWRIGHT_SHARED", Path(__file__).resolve().parents[3] / "shared")) / "checks/ordering"


def published() -> dict[str, tuple[int, int]]:
    if not SHARED.exists():
        return {}
    with (SHARED / "optima.csv").open(newline="") as rows:
        return {r["instance"]: (int(r["published_lower"]), int(r["published_best"])) for r in csv.DictReader(rows)}


@pytest.mark.slow
@pytest.mark.skipif(not SHARED.exists(), reason="the shared ordering instances aren't here")
@pytest.mark.parametrize("name", ["ESC07", "ESC11", "br17.10", "p43.2", "rbg048a"])
def test_published_optima_are_met(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """TSPLIB 95 (Reinelt 1991, ORSA J. Computing 3, 376-384): optima as published."""
    tours = tmp_path / "tours.json"
    arguments = [str(SHARED / f"{name}.sop"), "--csv", "--tours", str(tours), "--effort", "0.5", "--seconds", "100"]
    assert main(arguments) == 0
    row = next(csv.DictReader(capsys.readouterr().out.splitlines()))
    best = published()[name][1]
    order = json.loads(tours.read_text())[name]
    _, cost, before = read_sop(SHARED / f"{name}.sop")
    assert int(row["cost"]) == int(row["optimum"]) == best == length(cost, order)
    assert not any(before[b, a] for k, a in enumerate(order) for b in order[k + 1 :])
    assert int(row["bound"]) <= best
    if len(cost) <= 20:
        assert int(row["bound"]) == best


def test_a_file_that_is_no_instance_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "none.sop"
    file.write_text("NAME: x\nEDGE_WEIGHT_SECTION\n3\n1 2 3\nEOF\n")
    with pytest.raises(InputError, match=r"4 numbers"):
        read_sop(file)
    assert main([str(file)]) == 2
    assert "EDGE_WEIGHT_SECTION" in capsys.readouterr().err


def test_the_curve_falls_to_its_limit_and_names_what_is_enough() -> None:
    """10 s a part, 60 s a start: t(n) = (60/n + 10)/60; the next part gains under 1 % first where n(n+1) > 60·100/t."""
    curve = minutes_per_part_curve(10.0, 60.0, most=40, threshold=0.01)
    assert curve.points[0] == (1, pytest.approx(70 / 60))
    assert curve.points[5] == (6, pytest.approx(20 / 60))
    assert curve.limit == pytest.approx(10 / 60)
    assert all(a[1] > b[1] > curve.limit for a, b in pairwise(curve.points))
    by_hand = next(n for n in range(1, 41) if 60 / n - 60 / (n + 1) < 0.01 * (60 / n + 10))
    assert curve.enough == by_hand
    sided = minutes_per_part_curve(10.0, 60.0, side_seconds=8.0, per_side=4)
    assert sided.limit == pytest.approx(12 / 60)
    assert sided.points[4][1] == pytest.approx((60 + 16) / 5 / 60 + 10 / 60)
