"""Identical rectangles with quarter turns in a rectangle: the manufacturer's pallet loading problem.

The instance is reduced to the smallest integer one with the same feasible partitions (Dowsland 1984). Bounds:
area and Barnes (Discrete Mathematics 26, 1979, 93–100), least over the equivalent instances. Patterns:
recursive five-block (Morabito & Morales 1998; Birgin, Lobato & Morabito 2010). What is left open is decided by
an exhaustive skyline search with a budget of waste, on raster points (Scheithauer & Terno 1996).
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from palletwright.layout.blocks import five_blocks
from palletwright.layout.skyline import Outcome, skyline_search

SLACK = 1e-9  # relative rounding that a fitting combination may overshoot by
LARGEST = 160  # longest box side of the integer instances tried
FIVE_BLOCK_STEPS = 400_000_000
Floats = NDArray[Any]
Placement = tuple[float, float, bool]


@dataclass(frozen=True, slots=True)
class Instance:
    """An integer instance: a × b boxes (a ≥ b) in length × width."""

    length: int
    width: int
    a: int
    b: int

    @property
    def area_bound(self) -> int:
        return self.length * self.width // (self.a * self.b)

    @property
    def bound(self) -> int:
        """Area left after the least waste of 1 × k rods for both box sides, over the box's area."""
        waste = max(_rod_waste(self.length, self.width, k) for k in (self.a, self.b))
        return (self.length * self.width - waste) // (self.a * self.b)


def _rod_waste(length: int, width: int, k: int) -> int:
    r, s = length % k, width % k
    return min(r * s, (k - r) * (k - s))


def _partitions(length: float, a: float, b: float) -> tuple[int, ...]:
    """For i = 0, 1, … boxes of side a along a length, the most of side b beside them."""
    fit = length * (1 + SLACK)
    return tuple(math.floor((fit - i * a) / b) for i in range(math.floor(fit / a) + 1))


def _side(partitions: tuple[int, ...], a: int, b: int) -> int | None:
    """The tight length with exactly these feasible partitions for integer sides a and b, if there is one."""
    longest = max(i * a + j * b for i, j in enumerate(partitions))
    shortest = min(len(partitions) * a, min(i * a + (j + 1) * b for i, j in enumerate(partitions)))
    return longest if longest < shortest else None


@lru_cache(maxsize=4096)
def equivalents(long: tuple[int, ...], short: tuple[int, ...]) -> tuple[Instance, ...]:
    """Integer instances with the given feasible partitions, smallest boxes first."""
    found = []
    for a in range(1, LARGEST + 1):
        for b in range(1, a + 1):
            length, width = _side(long, a, b), _side(short, a, b)
            if length is not None and width is not None:
                found.append(Instance(length, width, a, b))
        if len(found) > 40:
            break
    return tuple(found)


def _classes(length: float, width: float, a: float, b: float) -> tuple[Instance, ...]:
    long, short, a, b = max(length, width), min(length, width), max(a, b), min(a, b)
    return equivalents(_partitions(long, a, b), _partitions(short, a, b))


def loading_bound(length: float, width: float, a: float, b: float) -> int:
    """Never below the most a × b rectangles, quarter turns allowed, in length × width."""
    if min(length, width) * (1 + SLACK) < min(a, b) or max(length, width) * (1 + SLACK) < max(a, b):
        return 0
    plain = math.floor(length * width / (a * b) * (1 + SLACK))
    return min([plain, *(i.bound for i in _classes(length, width, a, b))])


def pallet_loading(
    L: float,
    W: float,
    l: float,  # noqa: E741
    w: float,
    *,
    seconds: float = 10.0,
    nodes: int | None = None,
) -> tuple[int, int, bool, tuple[Placement, ...]]:
    """Most l × w rectangles, quarter turns allowed, in L × W.

    `seconds` limits the search by the clock; with `nodes` it is limited by counted work instead, so that the
    answer is the same on every machine.

    Returns count, bound (never below the optimum), whether they are equal, and placements (x, y, turned): lower
    left corners in the given unit; `turned` has side w along x.
    """
    if not all(math.isfinite(v) and v > 0 for v in (L, W, l, w)):
        raise ValueError(f"lengths must be positive numbers, not {(L, W, l, w)}")
    end = math.inf if nodes is not None else time.monotonic() + seconds
    bound = loading_bound(L, W, l, w)
    if bound == 0:
        return 0, 0, True, ()
    found = _classes(L, W, l, w)
    if not found:
        found = (_scaled(L, W, l, w),)
    small = found[0]
    size = (small.length, small.width, small.a, small.b)
    boxes, whole = five_blocks(*size, bound, FIVE_BLOCK_STEPS, top_only=True)
    if len(boxes) < bound:
        deeper, whole = five_blocks(*size, bound, FIVE_BLOCK_STEPS)
        boxes = max(boxes, deeper, key=len)
    while len(boxes) < bound and (left := end - time.monotonic()) > 0.02:
        until = time.monotonic() + (left if whole else 0.6 * left)
        outcome, more = skyline_search(*size, bound, until, nodes)
        if outcome is Outcome.NONE:
            bound -= 1
            continue
        if outcome is Outcome.FOUND:
            boxes = more
        elif not whole:
            boxes = max(boxes, five_blocks(*size, bound, _steps_in(end - time.monotonic()))[0], key=len)
        break
    best = len(boxes)
    return best, bound, best == bound, _real(boxes, small, L, W, l, w)


def _steps_in(seconds: float) -> int:
    """Five-block steps that about fit in the time (measured: 2.4e8 a second on one core of 2026)."""
    return int(min(max(seconds, 0.0), 60.0) * 1.2e8)


def _scaled(L: float, W: float, l: float, w: float) -> Instance:  # noqa: E741
    """Where no small integer instance was found: thousandths, boxes rounded up and the room down (a safe fit)."""
    room = [math.floor(v * 1000 * (1 + SLACK)) for v in (max(L, W), min(L, W))]
    box = [math.ceil(v * 1000 * (1 - SLACK)) for v in (max(l, w), min(l, w))]
    return Instance(room[0], room[1], box[0], box[1])


def _real(boxes: Floats, small: Instance, L: float, W: float, l: float, w: float) -> tuple[Placement, ...]:  # noqa: E741
    """The integer packing with the real sizes: every box pushed left, then down, against those before it."""
    if len(boxes) == 0:
        return ()
    long, short = max(l, w), min(l, w)
    turned = boxes[:, 2] == 1
    size = np.column_stack([np.where(turned, small.b, small.a), np.where(turned, small.a, small.b)])
    real = np.column_stack([np.where(turned, short, long), np.where(turned, long, short)]).astype(float)
    x = _pushed(boxes[:, 0], size[:, 0], boxes[:, 1], size[:, 1], real[:, 0])
    y = _pushed(boxes[:, 1], size[:, 1], x, real[:, 0] * (1 - SLACK), real[:, 1])
    at = np.column_stack([x, y])
    if W > L:
        at, turned = at[:, ::-1], ~turned
    if w > l:
        turned = ~turned
    rows = sorted(zip(at[:, 0].tolist(), at[:, 1].tolist(), turned.tolist(), strict=True))
    return tuple((float(x), float(y), bool(t)) for x, y, t in rows)


def _pushed(start: Floats, extent: Floats, beside: Floats, breadth: Floats, real: Floats) -> Floats:
    """Real coordinates along one axis: each box against those before it that overlap it across the axis."""
    at = np.zeros(len(start))
    for k in np.argsort(start, kind="stable"):
        before = start + extent <= start[k]
        hit = before & (beside < beside[k] + breadth[k]) & (beside[k] < beside + breadth)
        if hit.any():
            at[k] = (at[hit] + real[hit]).max()
    return at
