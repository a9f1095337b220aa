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
MOST_WASTE = 1 << 15  # cells, past which a search is hopeless and not begun


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
def _future_waste(starts, heights, n, height, floor_x, floor_y, spare):  # type: ignore[no-untyped-def]
    """A lower bound on the waste above a skyline: every column and every free run of a row holds whole boxes.

    Step k of the skyline goes from starts[k] to starts[k + 1] at heights[k].
    """
    columns = 0
    level = top = heights[0]
    for k in range(n):
        left = height - heights[k]
        columns += (left - floor_y[left]) * (starts[k + 1] - starts[k])
        level, top = min(level, heights[k]), max(top, heights[k])
    if columns > spare:
        return columns
    rows = 0
    while level < top:
        following = top
        waste = run = 0
        for k in range(n):
            if heights[k] <= level:
                run += starts[k + 1] - starts[k]
            else:
                following = min(following, heights[k])
                waste += run - floor_x[run]
                run = 0
        waste += run - floor_x[run]
        rows += waste * (following - level)
        if rows > spare:
            return rows
        level = following
    rows += (height - top) * (starts[n] - floor_x[starts[n]])
    return max(rows, columns)


@numba.njit(cache=True)
def _keys(starts, heights, n):  # type: ignore[no-untyped-def]
    """Two hashes of a skyline, the same for its mirror image."""
    turn = False
    for k in range(n):
        other = n - 1 - k
        wide, its = starts[k + 1] - starts[k], starts[other + 1] - starts[other]
        if heights[k] != heights[other] or wide != its:
            turn = heights[k] > heights[other] or (heights[k] == heights[other] and wide > its)
            break
    one = np.uint64(1469598103934665603)
    two = np.uint64(0x9E3779B97F4A7C15)
    for i in range(n):
        k = n - 1 - i if turn else i
        for v in (heights[k], starts[k + 1] - starts[k]):
            h = np.uint64(v) + np.uint64(1)
            one = (one ^ h) * np.uint64(1099511628211)
            one ^= one >> np.uint64(29)
            two = (two + h) * np.uint64(0xBF58476D1CE4E5B9)
            two ^= two >> np.uint64(31)
    return one, two


@numba.njit(cache=True)
def _seen(one, two, used, memo, count):  # type: ignore[no-untyped-def]
    """Whether a skyline of these hashes was met before with no more waste; remembers it otherwise.

    A row of the memo is one hash, and the other with its last 16 bits replaced by the waste and 1: a row lies in
    one line of the processor's cache.
    """
    mask = np.uint64(len(memo) - 1)
    last = np.uint64(0xFFFF)
    other = two & ~last
    mark = np.uint64(used + 1)
    at = one & mask
    for _ in range(64):
        there = memo[at, 1]
        if there == 0:
            if count[0] * 10 < len(memo) * 9:
                memo[at, 0], memo[at, 1] = one, other | mark
                count[0] += 1
            return False
        if memo[at, 0] == one and there & ~last == other:
            if there & last <= mark:
                return True
            memo[at, 1] = other | mark
            return False
        at = (at + np.uint64(1)) & mask
    return False


@numba.njit(cache=True)
def _next_choice(kind, x0, low, gap, height, a, b, starts_x, starts_y):  # type: ignore[no-untyped-def]
    """What to try after `kind` at a lowest step: 0 a box lying, 1 standing, 2 waste up to the next raster point in
    both directions, 3 nothing; with its width and height."""
    kind += 1
    startable = starts_x[x0] and starts_y[low]
    if kind == 0:
        if startable and a <= gap and low + b <= height:
            return 0, a, b
        kind = 1
    if kind == 1:
        if startable and b <= gap and low + a <= height:
            return 1, b, a
        kind = 2
    if kind > 2:
        return 3, 0, 0
    wide = 1
    while wide < gap and not starts_x[x0 + wide]:
        wide += 1
    if gap < min(a, b):
        wide = gap
    tall = 1
    while low + tall < height and not starts_y[low + tall]:
        tall += 1
    return 2, wide, tall


@numba.njit(cache=True)
def _put(starts, heights, n, k, wide, tall, to_starts, to_heights):  # type: ignore[no-untyped-def]
    """The skyline with something put at the left end of its step k; the number of its steps."""
    m = 0
    top = heights[k] + tall
    for i in range(k):
        to_starts[m], to_heights[m] = starts[i], heights[i]
        m += 1
    if m == 0 or to_heights[m - 1] != top:
        to_starts[m], to_heights[m] = starts[k], top
        m += 1
    if starts[k] + wide < starts[k + 1]:
        to_starts[m], to_heights[m] = starts[k] + wide, heights[k]
        m += 1
    for i in range(k + 1, n):
        if to_heights[m - 1] != heights[i]:
            to_starts[m], to_heights[m] = starts[i], heights[i]
            m += 1
    to_starts[m] = starts[n]
    return m


@numba.njit(cache=True, nogil=True)
def _run(sky, rules, rasters, state, memo, nodes):  # type: ignore[no-untyped-def]
    """Depth-first; continues from `state` (depth, placed, waste, forward). 1 found, 0 exhausted, 2 more to do.

    The lowest, leftmost free cell is covered by a box lying there, by one standing there, or wasted. `sky` holds for
    every depth the steps' starts and heights, how many, the lowest, and what was put there (kind, width, height).
    """
    starts, heights, steps, stack = sky
    height, a, b, target, budget = rules
    starts_x, starts_y, floor_x, floor_y = rasters
    table, count = memo
    depth, placed, used, forward = state[0], state[1], state[2], state[3]
    while nodes > 0:
        n = steps[depth]
        if forward == 1:
            nodes -= 1
            k = np.argmin(heights[depth, :n])
            stack[depth, 0], stack[depth, 1] = k, -1
            full = heights[depth, k] >= height
            spare = budget - used
            if full or _future_waste(starts[depth], heights[depth], n, height, floor_x, floor_y, spare) > spare:
                stack[depth, 1] = 3
            else:
                one, two = _keys(starts[depth], heights[depth], n)
                if _seen(one, two, used, table, count):
                    stack[depth, 1] = 3
        k, kind = stack[depth, 0], stack[depth, 1]
        if kind in (0, 1):
            placed -= 1
        elif kind == 2:
            used -= stack[depth, 2] * stack[depth, 3]
        x0, low = starts[depth, k], heights[depth, k]
        gap = starts[depth, k + 1] - x0
        kind, wide, tall = _next_choice(kind, x0, low, gap, height, a, b, starts_x, starts_y)
        if kind == 2 and used + wide * tall > budget:
            kind = 3
        if kind == 3:
            if depth == 0:
                return 0
            depth, forward = depth - 1, 0
            continue
        stack[depth, 1], stack[depth, 2], stack[depth, 3] = kind, wide, tall
        steps[depth + 1] = _put(starts[depth], heights[depth], n, k, wide, tall, starts[depth + 1], heights[depth + 1])
        depth, forward = depth + 1, 1
        if kind < 2:
            placed += 1
            if placed >= target:
                state[0] = depth
                return 1
        else:
            used += wide * tall
    state[0], state[1], state[2], state[3] = depth, placed, used, forward
    return 2


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
    if budget >= MOST_WASTE:
        return Outcome.OPEN, np.zeros((0, 3), dtype=np.int64)
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
        depths = target + budget + 2
        starts, heights = (np.zeros((depths, short + 2), dtype=np.int64) for _ in range(2))
        starts[0, 1] = short
        self.stack = np.full((depths, 4), -1, dtype=np.int64)
        self.sky = (starts, heights, np.ones(depths, dtype=np.int64), self.stack)
        self.state = np.array([0, 0, 0, 1], dtype=np.int64)
        rasters = (raster(short, a, b), raster(long, a, b), below(short, a, b), below(long, a, b))
        memo = (np.zeros((TABLE, 2), np.uint64), np.zeros(1, np.int64))
        self.rest = ((long, a, b, target, budget), rasters, self.state, memo)

    def _found(self) -> Boxes:
        starts, heights, _, stack = self.sky
        rows = [
            (starts[d, stack[d, 0]], heights[d, stack[d, 0]], stack[d, 2])
            for d in range(int(self.state[0]))
            if stack[d, 1] < 2
        ]
        return np.array(rows, dtype=np.int64).reshape(-1, 3)

    def run(self, until: float, stop: threading.Event, nodes: int | None = None) -> None:
        left = nodes
        while not stop.is_set() and (until == math.inf or time.monotonic() < until) and (left is None or left > 0):
            code = _run(self.sky, *self.rest, NODES)
            if code == 1:
                self.boxes = self._found()
            if code != 2:
                self.outcome = Outcome.FOUND if code == 1 else Outcome.NONE
                stop.set()
                return
            left = None if left is None else left - NODES
