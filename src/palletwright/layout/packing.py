"""As many modules on a side as is safe, with the proof of how far that is from the most possible."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import chain
from typing import Any

from palletwright.layout.blocked import table
from palletwright.layout.board import NONE, Board, Placed, clear, greedy
from palletwright.layout.bounds import outline_centre, upper_bound
from palletwright.layout.boxes import Points, box_patterns
from palletwright.layout.choose import candidates, largest_clear
from palletwright.layout.joints import bare, joints, shared
from palletwright.layout.lattice import Cell, double_cells, fitted, lattices, single_cells
from palletwright.layout.limits import proof_of, too_large, what_stops_one_more
from palletwright.layout.model import Module, Packing, Side, Station
from palletwright.layout.polygons import room, turned
from palletwright.layout.refill import refilled
from palletwright.layout.swept import Rows
from palletwright.verdict import Reason

MORE = ", filled up"
REFILLS = 60  # rounds; twice as many found little more on the shipped example
GREEDY_WEIGHTS = ((0.001, 1.0), (1.0, 0.001), (-0.001, 1.0), (1.0, -0.001), (0.4, 1.0), (1.0, 0.4))


def pack(
    module: Module,
    side: Side,
    *,
    clearance: float,
    solid_gap: float,
    nose: Rows | None = None,
    pitch: float = 0.25,
    turns: Sequence[int] | None = None,
    most: int | None = None,
    at_least: int | None = None,
    overhang: float = 0.0,
    seed: int = 1,
    effort: int = 1,
    explain: bool = True,
) -> Packing:
    """Place as many copies of `module` on `side` as stand clear of one another.

    Parameters
    ----------
    clearance : mm demanded between a tool's sweep and another module's bodies
    solid_gap : mm demanded between the outlines of two modules
    nose : rows (radius, from, to) mm of the spindle above the gauge line, or None where it can't matter
    pitch : mm, tool levels nearer than this count as one, on the safe side
    turns : quarter turns allowed; default the module's own
    most : place no more than this
    at_least : place nothing, and give the bound alone, if the bound shows that so many can't stand on the side
    overhang : mm by which outlines may stand out past the side's area
    effort : 0 patterns only and the quick bounds, 1 usual, more searches longer; work is counted, so the answer
        repeats
    explain : whether to work out what stops one more
    """
    allowed = tuple(sorted({t % 4 for t in (module.turns if turns is None else turns)}))
    area = side.area.buffer(overhang, join_style="mitre") if overhang else side.area
    relative = {(b - a) % 4 for a in allowed for b in allowed}
    rooms = {t: room(area, turned(module.outline, t)) for t in allowed}
    if all(r.is_empty for r in rooms.values()):
        return Packing((), 0, 0, True, "none", (too_large(module, area),), (), "empty")
    board = Board(rooms, table(module, module, relative, clearance, solid_gap, nose, pitch))
    bound, bound_name = upper_bound(board, module.outline, area, solid_gap, exact=effort > 0)
    if at_least is not None and bound < at_least:
        text = f"at most {bound} possible by {bound_name}, {at_least} were asked for; none placed"
        return Packing((), 0, bound, bound == 0, "none", (Reason("bound", text, float(bound), "modules"),), (), "empty")
    board = Board({t: r for t, r in board.rooms.items() if not r.is_empty}, board.table)
    goal = bound if most is None else min(bound, most)
    best = search(board, goal, effort, seed, outline_centre(module.outline)) if board.rooms and goal > 0 else NONE
    if module.stops and (most is None or len(best) < most):
        board, best, bound, bound_name = _sharing(
            module, area, board, best, (bound, bound_name), most, clearance, solid_gap, nose, pitch, effort
        )
        goal = bound if most is None else min(bound, most)
    if not clear(board, best):
        raise AssertionError("a packing failed its exact check")
    best = _first(best.sorted(), goal)
    if explain:
        reasons = what_stops_one_more(board, best, bound, bound_name, goal, module, area)
    else:
        reasons = (proof_of(len(best), bound, bound_name),)
    stations, pattern = _stations(side, best), best.pattern or "none"
    return Packing(stations, len(best), bound, len(best) == bound, pattern, reasons, (), "ok" if stations else "empty")


def _stations(side: Side, placed: Placed) -> tuple[Station, ...]:
    rows = enumerate(zip(placed.at, placed.turn, strict=True))
    return tuple(Station(side.id, float(x), float(y), int(t), 0, k) for k, ((x, y), t) in rows)


def _sharing(
    module: Module,
    area: Any,
    board: Board,
    best: Placed,
    bound: tuple[int, str],
    most: int | None,
    clearance: float,
    gap: float,
    nose: Rows | None,
    pitch: float,
    effort: int,
) -> tuple[Board, Placed, int, str]:
    """The same with rows that share stops where they hold more; its bound then counts no stops at all.

    Where they don't, the bound stands for modules with stops of their own, and says so.
    """
    relative = {(b - a) % 4 for a in board.turns for b in board.turns}
    found = joints(module, relative, clearance, gap, nose)
    if not found:
        return board, best, *bound
    joined = Board(board.rooms, replace(board.table, joints=found, kept=board.table.kept))
    more = shared(joined, 10**6 if most is None else most, effort)
    if len(more) <= len(best):
        return board, best, bound[0], f"{bound[1]}, each with its own stops"
    plain = bare(module)
    least = Board(board.rooms, table(plain, plain, relative, clearance, gap, nose, pitch))
    limit, name = upper_bound(least, plain.outline, area, gap, exact=effort > 0)
    return joined, more, limit, f"{name}, stops shared"


def search(board: Board, goal: int, effort: int, seed: int, centre: Points) -> Placed:
    """Each turn alone, then half turns together, then all turns, until the goal is met: a count never falls
    because more turns are allowed (but for the last few, found by placing again in part)."""
    best = NONE
    kept: list[Placed] = []
    for turns in _turn_groups(board.turns):
        part = Board({t: board.rooms[t] for t in turns}, board.table)
        boxes = box_patterns(part, centre) if len(turns) > 1 and effort > 0 else ()
        for found in chain(boxes, _steps(part, kept, goal, effort, seed)):
            if len(found) > len(best):
                best = found
                kept = [*kept, best]
            if len(best) >= goal:
                return best
    return refilled(board, best, goal, REFILLS * (1 + effort), seed)


def _turn_groups(turns: tuple[int, ...]) -> list[tuple[int, ...]]:
    groups: list[tuple[int, ...]] = [(t,) for t in turns]
    groups += [(t, t + 2) for t in (0, 1) if t in turns and t + 2 in turns]
    return groups if tuple(turns) in groups else [*groups, tuple(turns)]


def _steps(board: Board, so_far_all: list[Placed], goal: int, effort: int, seed: int) -> Iterator[Placed]:
    """Lattices, then module by module, then the exact choice among contact places, with one group of turns."""
    alone = len(board.turns) == 1
    cells = single_cells(board) if alone else double_cells(board, 4 * max(1, effort))
    seeds: list[Placed] = []
    for cell in cells:
        seeds.append(_best_lattice(board, cell, goal, max(1, effort)))
        yield seeds[-1]
    for turns in dict.fromkeys((board.turns, board.turns[::-1])):
        for x, y in GREEDY_WEIGHTS:
            seeds.append(greedy(board, NONE, (x, y, 0.0), turns, goal, "placed one by one"))
            yield seeds[-1]
    rooted = [p for p in (*so_far_all, *seeds) if set(p.turn.tolist()) <= set(board.turns)]
    for start in sorted(rooted, key=len, reverse=True)[: 4 + effort]:
        for x, y in GREEDY_WEIGHTS[:2]:
            pattern = start.pattern.removesuffix(MORE) + MORE
            full = greedy(board, start, (x, y, 0.0), board.turns, goal, pattern)
            if len(full) > len(start):
                seeds.append(full)
                yield full
    if effort < 1:
        return
    pool = candidates(board, sorted([*rooted, *seeds], key=len, reverse=True)[:6], 80 + 160 * effort)
    hint = max(rooted + seeds, key=len)
    improved, _ = largest_clear(board, pool, hint, goal, 0.1 * effort, seed)
    yield improved
    yield greedy(board, improved, (0.001, 1.0, 0.0), board.turns, goal, improved.pattern.removesuffix(MORE) + MORE)


def _best_lattice(board: Board, cell: Cell, goal: int, effort: int) -> Placed:
    best = NONE
    density = 0.0
    for u, v in lattices(cell, board.span, effort):
        size = abs(u[0] * v[1] - u[1] * v[0])
        if size <= 0 or (density and size > 1.6 * density):
            continue
        density = min(density or math.inf, size)
        found = fitted(board, cell, u, v, 4, len(best))
        if len(found) > len(best):
            best = found
        if len(best) >= goal:
            break
    return best


def _first(placed: Placed, most: int) -> Placed:
    return Placed(placed.at[:most], placed.turn[:most], placed.pattern)
