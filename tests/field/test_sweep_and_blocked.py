"""Swept floors, clearances and blocked displacements against plain formulas on small grids and by hand."""

from __future__ import annotations

import numpy as np
import pytest

from palletwright.field import (
    HeightField,
    blocked,
    blocked_along,
    clearance,
    clearances,
    decisive,
    least_clearance,
    swept_floor,
)
from palletwright.field import sweep as sweep_module

STACK = ((1.0, 0.0, 6.0), (0.8, 6.0, 9.0), (2.6, 9.0, 20.0))
EYE = np.eye(3)


def field(z: np.ndarray, index: tuple[int, int] = (0, 0), pitch: float = 0.5) -> HeightField:
    return HeightField(np.array(z, float), np.array(index[::-1]) * pitch, pitch, EYE)


def gap(x: np.ndarray | float, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    return np.maximum(0.0, np.maximum(low - x, x - high))


def plain_floor(tips: np.ndarray, shape: tuple[int, int], pitch: float) -> np.ndarray:
    out = np.full(shape, np.inf)
    x, y = np.arange(shape[1]) * pitch, np.arange(shape[0]) * pitch
    for u, v, w in tips:
        d = np.hypot(gap(u, x, x + pitch)[None, :], gap(v, y, y + pitch)[:, None])
        for r, start, _ in STACK:
            out[d < r - 1e-9] = np.minimum(out[d < r - 1e-9], w + start)
    return out


def test_swept_floor_is_the_plain_formula() -> None:
    tips = np.random.default_rng(1).uniform((2, 2, -4), (12, 9, 4), (15, 3))
    ours = swept_floor(tips, 50.0, STACK, (0.0, 0.0), (24, 30), 0.5)
    assert np.array_equal(ours, plain_floor(tips, (24, 30), 0.5))
    sunk = tips.copy()
    sunk[:, 2] = np.minimum(tips[:, 2], 1.0)
    assert np.array_equal(swept_floor(tips, 1.0, STACK, (0.0, 0.0), (24, 30), 0.5), plain_floor(sunk, (24, 30), 0.5))
    surely = swept_floor(tips, 50.0, STACK, (0.0, 0.0), (24, 30), 0.5, inside=True)
    assert (surely >= ours).all()
    assert np.isfinite(surely).any()


def test_many_tips_are_gathered_on_the_safe_side(monkeypatch: pytest.MonkeyPatch) -> None:
    tips = np.random.default_rng(2).uniform((-3, -3, -4), (15, 12, 4), (80, 3))
    exact = swept_floor(tips, 50.0, STACK, (0.0, 0.0), (18, 24), 0.5)
    monkeypatch.setattr(sweep_module, "_DIRECT", 0.0)
    gathered = swept_floor(tips, 50.0, STACK, (0.0, 0.0), (18, 24), 0.5)
    assert (gathered <= exact).all()
    # one cell of slack at most: as if each tip could be anywhere in its cell
    wide = swept_floor(tips, 50.0, STACK, (0.0, 0.0), (18, 24), 0.5, grow=0.5 * np.sqrt(2))
    assert (gathered >= wide).all()


def plain_clearance(tip: np.ndarray, f: HeightField) -> float:
    ny, nx = f.z.shape
    x, y = f.origin[0] + np.arange(nx) * f.pitch, f.origin[1] + np.arange(ny) * f.pitch
    axis = np.hypot(gap(tip[0], x, x + f.pitch)[None, :], gap(tip[1], y, y + f.pitch)[:, None])
    best = np.inf
    for r, start, _ in STACK:
        best = min(best, np.hypot(np.maximum(0, axis - r), np.maximum(0, tip[2] + start - f.z)).min())
    return float(best)


def test_clearance_is_the_plain_formula_and_names_the_cell() -> None:
    rng = np.random.default_rng(4)
    z = np.where(rng.random((31, 45)) < 0.05, rng.uniform(0, 10, (31, 45)), -np.inf)
    f = field(z, (-3, 7))
    tips = rng.uniform((0, -6, -2), (30, 18, 14), (200, 3))
    found = clearances(tips, STACK, f, cap=40.0)
    want = np.array([plain_clearance(t, f) for t in tips])
    assert np.allclose(found.distance, want, atol=1e-9)
    assert (want == 0).sum() > 5
    assert (want > 2).sum() > 5
    steps = decisive(STACK)
    for k in np.flatnonzero(found.distance > 0)[:40]:
        j, i = found.cell[k]
        corner = f.origin + np.array([i, j]) * f.pitch
        axis = np.hypot(*gap(tips[k, :2], corner, corner + f.pitch))
        r, start = steps[found.level[k]]
        by_hand = np.hypot(max(0, axis - r), max(0, tips[k, 2] + start - f.z[j, i]))
        assert by_hand == pytest.approx(found.distance[k])
    worst = least_clearance(tips, STACK, f.z, f.origin, f.pitch, cap=40.0)
    assert worst is not None
    assert found.have.min() - 1e-9 <= worst.have <= 0  # a collision is told by the first tips that collide
    free = tips[found.distance > 0.5]
    worst = least_clearance(free, STACK, f.z, f.origin, f.pitch, cap=40.0)
    assert worst is not None
    assert worst.have == pytest.approx(found.distance[found.distance > 0.5].min())
    assert least_clearance(tips + np.array([0, 0, 100]), STACK, f.z, f.origin, f.pitch, cap=5.0) is None


def test_shortfall_is_what_frees_the_tool() -> None:
    z = np.full((20, 20), -np.inf)
    z[8:12, 14:] = 11.0  # u from 7.0
    f = field(z)
    tip = np.array([5.0, 5.0, 0.0])
    found = clearances(tip[None], STACK, f)
    assert found.distance[0] == 0.0
    assert found.lift[0] == pytest.approx(2.0)  # holder starts at 9
    assert found.side[0] == pytest.approx(0.6)  # 2.6 - 2.0
    assert found.have[0] == pytest.approx(-0.6)
    assert clearance(tip + np.array([0, 0, 2.5]), STACK, f)[0] == pytest.approx(0.5)
    assert clearance(tip - np.array([1.5, 0, 0]), STACK, f)[0] == pytest.approx(0.9)


def shifted(f: HeightField, s: tuple[int, int], shape: tuple[int, int], fill: float) -> np.ndarray:
    out = np.full(shape, fill)
    j, i = f.index[0] + s[0] + 60, f.index[1] + s[1] + 60
    out[j : j + f.z.shape[0], i : i + f.z.shape[1]] = f.z
    return out


def random_shape(seed: int) -> tuple[HeightField, HeightField]:
    rng = np.random.default_rng(seed)
    h = np.where(rng.random((9, 11)) < 0.4, rng.integers(0, 6, (9, 11)).astype(float), -np.inf)
    e = np.where(rng.random((12, 13)) < 0.5, rng.integers(1, 8, (12, 13)).astype(float), np.inf)
    return field(h, (2, -3)), field(e, (1, -4))


def test_blocked_displacements_equal_the_definition() -> None:
    (ha, ea), (hb, eb) = random_shape(1), random_shape(2)
    mask, (j0, i0) = blocked(ha, ea, hb, eb, 0.5)
    shape = (140, 140)
    big_ea, big_ha = shifted(ea, (0, 0), shape, np.inf), shifted(ha, (0, 0), shape, -np.inf)
    for j in range(-20, 21, 1):
        for i in range(-20, 21, 3):
            hbs, ebs = shifted(hb, (j, i), shape, -np.inf), shifted(eb, (j, i), shape, np.inf)
            want = bool((hbs + 0.5 > big_ea).any() or (big_ha + 0.5 > ebs).any())
            inside = 0 <= j - j0 < mask.shape[0] and 0 <= i - i0 < mask.shape[1]
            assert bool(inside and mask[j - j0, i - i0]) == want, (j, i)
    fewer, at = blocked(ha, ea, hb, eb, 0.5, most_levels=2)
    assert at == (j0, i0)
    assert (fewer >= mask).all()


def test_thresholds_along_a_view_equal_the_definition() -> None:
    (ha, ea), (hb, eb) = random_shape(3), random_shape(4)
    found = blocked_along(ha, ea, hb, eb, 0.25)
    shape = (140, 140)
    big_ea, big_ha = shifted(ea, (0, 0), shape, np.inf), shifted(ha, (0, 0), shape, -np.inf)
    for k in range(found.above.size):
        s = (0, found.first + k)
        with np.errstate(invalid="ignore"):
            above = (big_ea - shifted(hb, s, shape, -np.inf)).min() - 0.25
            below = (big_ha - shifted(eb, s, shape, np.inf)).max() + 0.25
        assert found.above[k] == above
        assert found.below[k] == below
    assert np.isfinite(found.above).sum() > 10
    with pytest.raises(ValueError, match="one pitch"):
        blocked_along(ha, ea, HeightField(hb.z, hb.origin, 0.25, EYE), eb)
