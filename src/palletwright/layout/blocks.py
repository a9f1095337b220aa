"""Recursive five-block patterns for identical boxes, by table over all sub-rectangles."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from palletwright.layout.skyline import below, sums


@numba.njit(cache=True)
def _rods(X, Y, k):  # type: ignore[no-untyped-def]
    """Least area that 1 × k rods must waste in X × Y (Barnes 1979)."""
    r, s = X % k, Y % k
    return min(r * s, (k - r) * (k - s))


@numba.njit(cache=True, nogil=True)
def _five_table(xs, ys, floor, a, b, goal, most_work, top_only):  # type: ignore[no-untyped-def]
    """count[i, j] for the rectangle xs[i] × ys[j], and its cuts. `floor` maps a length to the index of its sum.

    With `top_only` all but the whole are cut straight through only. A rectangle at its bound is not searched.
    """
    n, m = len(xs), len(ys)
    count = np.zeros((n, m), dtype=np.int32)
    cuts = np.full((n, m, 4), -1, dtype=np.int16)
    work = 0
    for i in range(n):
        for j in range(m):
            X, Y = xs[i], ys[j]
            best = max((X // a) * (Y // b), (X // b) * (Y // a))
            bound = min((X * Y - max(_rods(X, Y, a), _rods(X, Y, b))) // (a * b), goal)
            if top_only and best < bound and (i < n - 1 or j < m - 1):
                best = _straight(xs, ys, floor, count, cuts, i, j, best)
            elif best < bound and work < most_work:
                best, more = _five(xs, ys, floor, count, cuts, i, j, best, bound)
                work += more
            count[i, j] = best
    return count, cuts, work < most_work


@numba.njit(cache=True, nogil=True)
def _straight(xs, ys, floor, count, cuts, i, j, best):  # type: ignore[no-untyped-def]
    """The best of two rectangles, cut straight through; writes its cuts."""
    X, Y = xs[i], ys[j]
    for p in range(1, i):
        total = count[p, j] + count[floor[X - xs[p]], j]
        if total > best:
            best = total
            cuts[i, j, 0], cuts[i, j, 1], cuts[i, j, 2], cuts[i, j, 3] = xs[p], xs[p], Y, Y
    for r in range(1, j):
        total = count[i, r] + count[i, floor[Y - ys[r]]]
        if total > best:
            best = total
            cuts[i, j, 0], cuts[i, j, 1], cuts[i, j, 2], cuts[i, j, 3] = 0, X, ys[r], Y
    return best


@numba.njit(cache=True, nogil=True)
def _five(xs, ys, floor, count, cuts, i, j, best, bound):  # type: ignore[no-untyped-def]
    """(best, work) of five blocks for x1 ≤ x2 and y1 ≤ y2; writes its cuts.

    The blocks: [0, x1] × [0, y2], [x1, X] × [0, y1], [x1, x2] × [y1, y2], [0, x2] × [y2, Y], [x2, X] × [y1, Y].
    """
    X = xs[i]
    work = 0
    for p in range(i + 1):
        if 2 * xs[p] > X:
            break
        for q in range(p, i + 1):
            if xs[p] + xs[q] > X:
                break
            work += (j + 1) * (j + 2) // 2
            found = _five_high(xs, ys, floor, count, cuts, i, j, p, q, best, bound)
            best = max(best, found)
            if best >= bound:
                return best, work
    return best, work


@numba.njit(cache=True, nogil=True)
def _five_high(xs, ys, floor, count, cuts, i, j, p, q, best, bound):  # type: ignore[no-untyped-def]
    """The best y1, y2 for x1 = xs[p] and x2 = xs[q]; stops once it meets the bound."""
    X, Y = xs[i], ys[j]
    right, centre, last = floor[X - xs[p]], floor[xs[q] - xs[p]], floor[X - xs[q]]
    for r in range(j + 1):
        y1 = ys[r]
        two = count[right, r] if right < i or r < j else 0
        if right == i and r == j:
            continue
        for s in range(r, j + 1):
            y2 = ys[s]
            four_y, five_y, mid = floor[Y - y2], floor[Y - y1], floor[y2 - y1]
            if (p == i and s == j) or (q == i and four_y == j) or (last == i and five_y == j):
                continue
            if centre == i and mid == j:
                continue
            total = count[p, s] + two + count[centre, mid] + count[q, four_y] + count[last, five_y]
            if total > best:
                best = total
                cuts[i, j, 0], cuts[i, j, 1], cuts[i, j, 2], cuts[i, j, 3] = xs[p], xs[q], y1, y2
                if best >= bound:
                    return best
    return best


def five_blocks(
    length: int, width: int, a: int, b: int, goal: int, work: int, top_only: bool = False
) -> tuple[NDArray[np.int64], bool]:
    """Boxes (n, 3): x, y, turned, of the best recursive five-block pattern found within `work` steps.

    Past `work` the larger rectangles are only filled with rows, and the second answer is False.
    """
    floor = below(max(length, width), a, b)
    points = np.flatnonzero(sums(max(length, width), a, b)).astype(np.int64)
    index = np.searchsorted(points, floor)
    xs, ys = points[points <= length], points[points <= width]
    count, cuts, whole = _five_table(xs, ys, index, a, b, goal, work, top_only)
    boxes: list[tuple[int, int, int]] = []
    todo = [(0, 0, length, width)]
    while todo:
        x, y, wide, tall = todo.pop()
        i, j = index[wide], index[tall]
        if count[i, j] == 0:
            continue
        if cuts[i, j, 0] < 0:
            boxes.extend(_rows(x, y, wide, tall, a, b))
            continue
        x1, x2, y1, y2 = (int(c) for c in cuts[i, j])
        X, Y = int(points[i]), int(points[j])
        todo += [
            (x, y, x1, y2),
            (x + x1, y, X - x1, y1),
            (x + x1, y + y1, x2 - x1, y2 - y1),
            (x, y + y2, x2, Y - y2),
            (x + x2, y + y1, X - x2, Y - y1),
        ]
    return np.array(boxes, dtype=np.int64).reshape(-1, 3), whole


def _rows(x: int, y: int, wide: int, tall: int, a: int, b: int) -> list[tuple[int, int, int]]:
    lying, standing = (wide // a) * (tall // b), (wide // b) * (tall // a)
    w, h, turn = (a, b, 0) if lying >= standing else (b, a, 1)
    return [(x + k * w, y + n * h, turn) for k in range(wide // w) for n in range(tall // h)]
