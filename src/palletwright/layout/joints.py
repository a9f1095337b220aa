"""Stops that serve two modules: displacements at which one module's stop is the other's, and rows made of them.

A stop or rail between two parts is pressed from both sides, so that the room of a second one is saved. Nothing here
knows a kind of clamp: whatever stops a module has, the displacements follow from their shapes, and each is checked.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from palletwright.grip.sweeps import Swept, shortfall, swept
from palletwright.layout.board import NONE, Board, Placed, greedy
from palletwright.layout.lattice import cell_of, fitted, lattices
from palletwright.layout.model import Module
from palletwright.layout.silhouette import profile
from palletwright.layout.swept import Rows
from palletwright.solid.model import Mesh

SAME = 1e-3  # mm within which two stops are one
TOUCH = 1e-6  # mm by which a gap may be undershot by rounding
MOST = 6  # displacements that are tried
LEVELS = 8  # heights at which a body's outline is asked
Points = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class _Body:
    name: str
    outline: Any
    low: float
    high: float
    mesh: Mesh

    def above(self, height: float) -> Any:
        return profile(self.mesh).slab(height, self.high + 1.0)


def joints(module: Module, turns: Iterable[int], clearance: float, gap: float, nose: Rows | None) -> dict[int, Points]:
    """By relative turn, displacements (n, 2) mm of a second module at which they share a stop and are clear otherwise.

    Parameters
    ----------
    clearance : mm between a tool's sweep and the other module's bodies, sideways and upwards
    gap : mm between bodies that aren't shared
    nose : rows (radius, from, to) mm of the spindle above the gauge line
    """
    bodies = [_Body(n, profile(m).whole, float(profile(m).low), float(profile(m).high), m) for n, m in module.bodies]
    stops = [b for b in bodies if b.name in module.stops]
    tools = _tools(module, nose or ())
    found: dict[int, Points] = {}
    for turn in sorted({t % 4 for t in turns}):
        near = _meetings(stops, turn)[:MOST]
        good = [d for d in near if _joint(bodies, set(module.stops), tools, turn, d, clearance, gap)]
        if good:
            found[turn] = np.array(good)
    return found


def _tools(module: Module, nose: Rows) -> tuple[Swept, ...]:
    sweeps = []
    for s in module.sweeps:
        for tips, stack, _, entry in s.moves:
            gauge = max(row[2] for row in stack)
            rows = (*stack, *((r, gauge + f, gauge + t) for r, f, t in nose))
            sweeps.append((s.direction, tips, rows, entry))
    return swept(sweeps, np.eye(3), np.zeros(3))


def _meetings(stops: Sequence[_Body], turn: int) -> list[Points]:
    """Displacements at which some two stops coincide, nearest first."""
    found: dict[tuple[float, float], Points] = {}
    for one in stops:
        for two in stops:
            other = turned_shape(two.outline, turn)
            if abs(one.low - two.low) > SAME or abs(one.high - two.high) > SAME:
                continue
            d = np.array(one.outline.centroid.coords[0]) - np.array(other.centroid.coords[0])
            if np.hypot(*d) > SAME and _coincide(one.outline, shapely.affinity.translate(other, *d)):
                found[tuple(np.round(d, 4).tolist())] = np.round(d, 6)
    return sorted(found.values(), key=lambda d: (round(float(np.hypot(*d)), 4), *d.tolist()))


def turned_shape(shape: Any, turn: int) -> Any:
    """A shape after quarter turns about the origin."""
    return shapely.affinity.rotate(shape, 90.0 * turn, origin=(0.0, 0.0)) if turn else shape


def _coincide(one: Any, two: Any) -> bool:
    return bool(shapely.area(shapely.symmetric_difference(one, two)) < SAME * one.length)


def _joint(
    bodies: Sequence[_Body],
    stops: set[str],
    tools: Sequence[Swept],
    turn: int,
    d: Points,
    clearance: float,
    gap: float,
) -> bool:
    """Whether two modules stand so, with the stops that coincide as one."""
    moved = [replace(b, outline=shapely.affinity.translate(turned_shape(b.outline, turn), *d)) for b in bodies]
    mine: set[str] = set()
    theirs: set[str] = set()
    for a in bodies:
        for b in moved:
            if a.name in stops and b.name in stops and _coincide(a.outline, b.outline):
                mine.add(a.name)
                theirs.add(b.name)
    for a in (x for x in bodies if x.name not in mine):
        for b in (x for x in moved if x.name not in theirs):
            if float(shapely.distance(a.outline, b.outline)) < gap - TOUCH:
                return False
    back = -_rotated(d[None, :], -turn)[0]
    return _clear(tools, [b for b in bodies if b.name not in theirs], turn, d, clearance) and _clear(
        tools, [b for b in bodies if b.name not in mine], -turn % 4, back, clearance
    )


def _rotated(points: Points, turn: int) -> Points:
    cos, sin = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[turn % 4]
    return np.asarray(points @ np.array([[cos, sin], [-sin, cos]]))


def _clear(tools: Sequence[Swept], bodies: Sequence[_Body], turn: int, d: Points, clearance: float) -> bool:
    """Whether bodies, turned and displaced, are clear of a module's tools: exact from above, by hulls from beside."""
    for s in tools:
        for body in bodies:
            if not (_clear_above if s.straight else _clear_aside)(s, body, turn, d, clearance):
                return False
    return True


def _clear_above(s: Swept, body: _Body, turn: int, d: Points, clearance: float) -> bool:
    grow = clearance + body.mesh.chord_error
    discs = s.discs[: int(np.searchsorted(s.discs[:, 2], body.high + grow))]
    if not len(discs):
        return True
    centres = _rotated(discs[:, :2] - d, -turn)  # the tools in the body's own frame
    near = shapely.distance(body.outline, shapely.points(centres)) < discs[:, 3] + grow
    discs, centres = discs[near], centres[near]
    for low in np.unique(np.floor((discs[:, 2] - body.low) / max((body.high - body.low) / LEVELS, 1e-6))):
        here = np.floor((discs[:, 2] - body.low) / max((body.high - body.low) / LEVELS, 1e-6)) == low
        standing = body.above(float(discs[here, 2].min()) - grow)
        if (
            not standing.is_empty
            and (shapely.distance(standing, shapely.points(centres[here])) < discs[here, 3] + grow).any()
        ):
            return False
    return True


def _clear_aside(s: Swept, body: _Body, turn: int, d: Points, clearance: float) -> bool:
    ring = shapely.get_coordinates(body.outline.convex_hull)[:-1]
    flat = _rotated(ring, turn) + d
    corners = np.concatenate([np.column_stack([flat, np.full(len(flat), z)]) for z in (body.low, body.high)])
    grow = clearance + body.mesh.chord_error
    return shortfall(s, corners, grow, grow) <= TOUCH


def bare(module: Module) -> Module:
    """The module without the stops that two may share: what certainly can't overlap."""
    kept = tuple((n, m) for n, m in module.bodies if n not in module.stops)
    outline = shapely.union_all([profile(m).whole for _, m in kept])
    return replace(module, bodies=kept, outline=outline, stops=())


def shared(board: Board, goal: int, effort: int) -> Placed:
    """The most modules in rows that share stops (`board.table.joints`), filled up with others."""
    best = NONE
    for placed in _rows(board, goal, max(1, effort)):
        full = placed
        for x, y in ((0.001, 1.0), (1.0, 0.001)):
            grown = greedy(board, placed, (x, y, 0.0), board.turns, goal, placed.pattern)
            full = max(full, grown, key=len)
        best = max(best, full, key=len)
        if len(best) >= goal:
            break
    return best


def _rows(board: Board, goal: int, effort: int) -> Iterator[Placed]:
    """Lattices whose first step is a joint, and lattices of pairs that share a stop."""
    for turn in board.turns:
        cell = replace(cell_of(board, np.zeros((1, 2)), (turn,), "single"), name="rows that share stops")
        for d in board.table.joints_at(turn, turn):
            yield _best(board, cell, goal, effort, d)
        for other in board.turns:
            if other <= turn:
                continue
            for d in board.table.joints_at(turn, other):
                pair = cell_of(board, np.array([[0.0, 0.0], d]), (turn, other), "double")
                pair = replace(pair, name="pairs that share a stop")
                yield _best(board, pair, goal, effort, None)


def _best(board: Board, cell: Any, goal: int, effort: int, step: Points | None) -> Placed:
    best = NONE
    away = 4.0 * max(board.span) + 1000.0  # mm: so far that nothing else of the pattern stands on the side
    if step is None:
        lone = (np.array([away, 0.0]), np.array([0.0, away]))
    else:
        lone = (step, away * np.array([-step[1], step[0]]) / float(np.hypot(*step)))
    for u, v in chain([lone], lattices(cell, board.span, effort, step)):
        found = fitted(board, cell, u, v, 4, len(best))
        best = max(best, found, key=len)
        if len(best) >= goal:
            break
    return best
