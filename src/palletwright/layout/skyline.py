"""Exhaustive skyline search: do n boxes fit, with a given budget of waste?"""

from __future__ import annotations

import enum
import math
import threading
import time

import numba
import numpy as np
from numpy.typing import NDArray

Boxes = NDArray[np.int64]
NODES = 20_000  # nodes searched between two looks at the clock
TABLE = 1 << 22  # places of the memo


class Outcome(enum.Enum):
    """What an exhaustive search says: a packing, none exists, or it ran out of work."""

    FOUND = "found"
    NONE = "none"
    OPEN = "open"


def sums(length: int, a: int, b: int) -> NDArray[np.bool_]:
    """(length + 1,) whether t = i·a + j·b for some i, j ≥ 0."""
    hit = np.zeros(length + 1, dtype=np.bool_)
    hit[0] = True
    for t in range(1, length + 1):
        hit[t] = (t >= a and hit[t - a]) or (t >= b and hit[t - b])
    return hit


def below(length: int, a: int, b: int) -> NDArray[np.int64]:
    """(length + 1,) the greatest sum not above t."""
    hit = sums(length, a, b)
    return np.maximum.accumulate(np.where(hit, np.arange(length + 1), 0))


def raster(length: int, a: int, b: int) -> NDArray[np.bool_]:
    """(length + 1,) the raster points: starts that suffice along one side (Terno, Lindemann & Scheithauer)."""
    floor = below(length, a, b)
    starts = np.zeros(length + 1, dtype=np.bool_)
    for t in np.flatnonzero(sums(length, a, b)):
        starts[floor[length - floor[length - t]]] = True
    return starts


@numba.njit(cache=True)
def _future_waste(heights, height, floor_x, floor_y, spare):  # type: ignore[no-untyped-def]
    """A lower bound on the waste above a skyline: every column and every free run of a row holds whole boxes."""
    columns = 0
    n = len(heights)
    for x in range(n):
        left = height - heights[x]
        columns += left - floor_y[left]
    if columns > spare:
        return columns
    rows = 0
    level = heights[0]
    top = heights[0]
    for x in range(1, n):
        level = min(level, heights[x])
        top = max(top, heights[x])
    while level < top:
        following = top
        run = 0
        waste = 0
        for x in range(n):
            if heights[x] <= level:
                run += 1
            else:
                if heights[x] < following:
                    following = heights[x]
                waste += run - floor_x[run]
                run = 0
        waste += run - floor_x[run]
        rows += waste * (following - level)
        if rows > spare:
            return rows
        level = following
    rows += (height - top) * (n - floor_x[n])
    return max(rows, columns)


@numba.njit(cache=True)
def _keys(heights):  # type: ignore[no-untyped-def]
    """Two hashes of a skyline, the same for its mirror image."""
    n = len(heights)
    turn = False
    for x in range(n // 2):
        if heights[x] != heights[n - 1 - x]:
            turn = heights[x] > heights[n - 1 - x]
            break
    one = np.uint64(1469598103934665603)
    two = np.uint64(0x9E3779B97F4A7C15)
    for x in range(n):
        h = np.uint64(heights[n - 1 - x] if turn else heights[x]) + np.uint64(1)
        one = (one ^ h) * np.uint64(1099511628211)
        one ^= one >> np.uint64(29)
        two = (two + h) * np.uint64(0xBF58476D1CE4E5B9)
        two ^= two >> np.uint64(31)
    return one, two


@numba.njit(cache=True)
def _seen(heights, used, key_one, key_two, value, count):  # type: ignore[no-untyped-def]
    """Whether this skyline was met before with no more waste; remembers it otherwise."""
    one, two = _keys(heights)
    mask = np.uint64(len(key_one) - 1)
    at = one & mask
    for _ in range(64):
        if value[at] < 0:
            if count[0] * 10 < len(key_one) * 9:
                key_one[at], key_two[at], value[at] = one, two, used
                count[0] += 1
            return False
        if key_one[at] == one and key_two[at] == two:
            if value[at] <= used:
                return True
            value[at] = used
            return False
        at = (at + np.uint64(1)) & mask
    return False


@numba.njit(cache=True, nogil=True)
def _run(  # type: ignore[no-untyped-def]
    heights,
    height,
    a,
    b,
    target,
    budget,
    starts_x,
    starts_y,
    floor_x,
    floor_y,
    stack,
    state,
    key_one,
    key_two,
    value,
    count,
    nodes,
):
    """Depth-first; continues from `stack` and `state` (depth, placed, waste). 1 found, 0 exhausted, 2 more to do.

    The lowest, leftmost free cell is covered by a box lying there, by one standing there, or wasted up to the
    next raster point in both directions. Rows of the stack: x, height, what was put there, width and height.
    """
    n = len(heights)
    depth, placed, used = state[0], state[1], state[2]
    work = 0
    forward = state[3] == 1
    while True:
        if forward:
            work += 1
            if work > nodes:
                state[0], state[1], state[2], state[3] = depth, placed, used, 1
                return 2
            x0 = 0
            low = heights[0]
            for x in range(1, n):
                if heights[x] < low:
                    low = heights[x]
                    x0 = x
            stack[depth, 0], stack[depth, 1], stack[depth, 2] = x0, low, -1
            if (
                low >= height
                or _future_waste(heights, height, floor_x, floor_y, budget - used) > budget - used
                or _seen(heights, used, key_one, key_two, value, count)
            ):
                stack[depth, 2] = 3
        # undo what stands at this depth, then try the next
        x0, low, kind = stack[depth, 0], stack[depth, 1], stack[depth, 2]
        if 0 <= kind < 3:
            for x in range(x0, x0 + stack[depth, 3]):
                heights[x] = low
            if kind < 2:
                placed -= 1
            else:
                used -= stack[depth, 3] * stack[depth, 4]
        kind += 1
        gap = 0
        while x0 + gap < n and heights[x0 + gap] == low:
            gap += 1
        startable = starts_x[x0] and starts_y[low]
        if kind == 0 and not (startable and a <= gap and low + b <= height):
            kind = 1
        if kind == 1 and not (startable and b <= gap and low + a <= height):
            kind = 2
        wide, tall = 0, 0
        if kind == 0:
            wide, tall = a, b
        elif kind == 1:
            wide, tall = b, a
        elif kind == 2:
            wide = 1
            while wide < gap and not starts_x[x0 + wide]:
                wide += 1
            if gap < min(a, b):
                wide = gap
            tall = 1
            while low + tall < height and not starts_y[low + tall]:
                tall += 1
            if used + wide * tall > budget:
                kind = 3
        if kind >= 3:
            if depth == 0:
                state[0], state[1], state[2], state[3] = 0, placed, used, 0
                return 0
            depth -= 1
            forward = False
            continue
        stack[depth, 2], stack[depth, 3], stack[depth, 4] = kind, wide, tall
        for x in range(x0, x0 + wide):
            heights[x] = low + tall
        depth += 1
        if kind < 2:
            placed += 1
            if placed >= target:
                state[0], state[1], state[2] = depth, placed, used
                return 1
        else:
            used += wide * tall
        forward = True


def skyline_search(
    length: int, width: int, a: int, b: int, target: int, until: float = math.inf, nodes: int | None = None
) -> tuple[Outcome, Boxes]:
    """Do `target` a × b boxes fit in length × width?

    Two searches, one laying boxes first and one standing them first, run side by side until the clock
    (`time.monotonic`) passes `until`, and whichever ends first answers; with `nodes` one runs after the other
    for that much work each, and the answer repeats exactly. Returns the outcome and the boxes (n, 3): x, y,
    turned.
    """
    budget = length * width - target * a * b
    if budget < 0:
        return Outcome.NONE, np.zeros((0, 3), dtype=np.int64)
    searches = [_Search(min(length, width), max(length, width), *order, target, budget) for order in ((a, b), (b, a))]
    if nodes is not None:
        for search in searches:
            search.run(math.inf, threading.Event(), nodes)
            if search.outcome is not Outcome.OPEN:
                break
    else:
        stop = threading.Event()
        threads = [threading.Thread(target=search.run, args=(until, stop)) for search in searches]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    done = [search for search in searches if search.outcome is not Outcome.OPEN]
    if not done:
        return Outcome.OPEN, np.zeros((0, 3), dtype=np.int64)
    boxes = done[0].boxes
    across = length > width
    lying = (boxes[:, 2] == a) != across  # the search has x along the short side
    return done[0].outcome, np.column_stack([boxes[:, int(across)], boxes[:, 1 - int(across)], ~lying])


class _Search:
    """One depth-first search that can be continued; `outcome` and `boxes` (x, y, width over x) are its answer."""

    def __init__(self, short: int, long: int, a: int, b: int, target: int, budget: int) -> None:
        self.outcome = Outcome.OPEN
        self.boxes: Boxes = np.zeros((0, 3), dtype=np.int64)
        self.heights = np.zeros(short, dtype=np.int64)
        self.stack = np.zeros((short * long + 2, 5), dtype=np.int64)
        self.state = np.array([0, 0, 0, 1], dtype=np.int64)
        fixed = (raster(short, a, b), raster(long, a, b), below(short, a, b), below(long, a, b))
        keys = (np.zeros(TABLE, np.uint64), np.zeros(TABLE, np.uint64))
        memo = (*keys, np.full(TABLE, -1, np.int32), np.zeros(1, np.int64))
        self.rest = (long, a, b, target, budget, *fixed, self.stack, self.state, *memo)

    def run(self, until: float, stop: threading.Event, nodes: int | None = None) -> None:
        left = nodes
        while not stop.is_set() and (until == math.inf or time.monotonic() < until) and (left is None or left > 0):
            code = _run(self.heights, *self.rest, NODES)
            if code == 1:
                rows = self.stack[: self.state[0]]
                self.boxes = rows[rows[:, 2] < 2][:, (0, 1, 3)]
            if code != 2:
                self.outcome = Outcome.FOUND if code == 1 else Outcome.NONE
                stop.set()
                return
            left = None if left is None else left - NODES
