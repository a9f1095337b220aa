"""Lattice patterns: one, two or a few modules repeated along two steps.

Candidates for the first step run along the whole edge of the cell's own blocked set, for the second along the
edge of the set blocked by the cell and its neighbours in the first step. Neighbours up to ±4 are checked and
degenerate cells refused; patterns rank by the count that fits on the side, not by density.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from palletwright.layout.board import NONE, Board, Placed
from palletwright.layout.offsets import best_offset, stands
from palletwright.layout.polygons import joined, shifted

NEIGHBOURS = 4
Points = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Cell:
    """A few modules that repeat together: offsets (m, 2) mm and turns; `kept` holds steps already worked out."""

    offsets: Points
    turns: tuple[int, ...]
    blocked: Any
    name: str
    kept: dict[Any, Points] = field(default_factory=dict)

    @cached_property
    def tester(self) -> Any:
        """The blocked set less what rounding may take, prepared for point tests."""
        tester = self.blocked.buffer(-1e-5)
        shapely.prepare(tester)
        return tester

    def once(self, key: Any, make: Callable[[], Points]) -> Points:
        """Points worked out once for this cell, since many sides ask for the same."""
        if key not in self.kept:
            self.kept[key] = make()
        return self.kept[key]


def cell_of(board: Board, offsets: Points, turns: Sequence[int], name: str) -> Cell:
    """The cell with its own blocked displacements, kept with the table."""
    key = ("cell", tuple(turns), tuple(offsets.round(5).ravel().tolist()))
    if key not in board.table.kept:
        board.table.kept[key] = _cell(board, offsets, turns, name)
    return board.table.kept[key]  # type: ignore[no-any-return]


def _cell(board: Board, offsets: Points, turns: Sequence[int], name: str) -> Cell:
    sets = [
        shifted(board.table.world(a, b), offsets[i] - offsets[j])
        for i, a in enumerate(turns)
        for j, b in enumerate(turns)
    ]
    return Cell(offsets, tuple(turns), joined(sets), name)


def single_cells(board: Board) -> list[Cell]:
    return [cell_of(board, np.zeros((1, 2)), (t,), "single") for t in board.turns]


def double_cells(board: Board, most: int) -> list[Cell]:
    """Pairs of modules in contact, the tightest first; half turns go before other turns of the same size."""
    found: list[tuple[float, float, float, int, int]] = []
    for a in board.turns:
        for b in board.turns:
            if b < a or (a == b and a != board.turns[0]):
                continue
            later = 0.0 if (b - a) % 4 == 2 else 0.05
            points = _contacts(board, a, b)
            first, second = board.proxy(a), board.proxy(b)
            hulls = shapely.union(first, [shifted(second, p) for p in points])
            sizes = np.round(shapely.area(shapely.convex_hull(hulls)) * (1 + later), 3)
            found += [(float(z), float(x), float(y), a, b) for z, (x, y) in zip(sizes, points, strict=True)]
    found.sort()
    return [_pair(board, a, b, np.array([x, y])) for _, x, y, a, b in found[:most]]


def _contacts(board: Board, a: int, b: int) -> Points:
    key = ("contacts", a, b)
    if key not in board.table.kept:
        board.table.kept[key] = _edge_points(board.table.world(a, b), 8)
    return board.table.kept[key]  # type: ignore[no-any-return]


def _pair(board: Board, a: int, b: int, step: Points) -> Cell:
    name = "double with half turn" if (b - a) % 4 == 2 else ("double" if a == b else "double with quarter turn")
    return cell_of(board, np.array([[0.0, 0.0], step]), (a, b), name)


def _upper_steps(blocked: Any, samples: int) -> Points:
    """Candidate steps: corners of the blocked set's edge, its crossings of the axes, samples between."""
    points = _edge_points(blocked, samples)
    upper = (points[:, 1] > 1e-9) | ((np.abs(points[:, 1]) <= 1e-9) & (points[:, 0] > 0))
    return points[upper]


def _within(points: Points, limit: Sequence[float]) -> Points:
    return points[(np.abs(points[:, 0]) <= limit[0]) & (np.abs(points[:, 1]) <= limit[1])]


def _edge_points(shape: Any, samples: int) -> Points:
    edge = shape.boundary
    if edge.is_empty:
        return np.zeros((0, 2))
    x0, y0, x1, y1 = shape.bounds
    axes = shapely.multilinestrings([[[x0 - 1, 0], [x1 + 1, 0]], [[0, y0 - 1], [0, y1 + 1]]])
    found = [shapely.get_coordinates(edge.intersection(axes)), shapely.get_coordinates(edge.simplify(0.05))]
    if samples:
        at = np.linspace(0, edge.length, samples, endpoint=False)
        found.append(shapely.get_coordinates(shapely.line_interpolate_point(edge, at)))
    points = np.concatenate(found)
    return np.asarray(np.unique(np.round(points, 5), axis=0))


def lattices(
    cell: Cell, limit: tuple[float, float], effort: int, step: Points | None = None
) -> Iterator[tuple[Points, Points]]:
    """Pairs of steps (u, v) for which every displacement i·u + j·v within ±4 is clear.

    With `step` that is the only first one, taken as clear itself: a displacement at which two modules share a stop.
    """
    first = cell.once(("first", effort), lambda: _first_steps(cell, 12 * effort)) if step is None else step[None, :]
    if step is not None:
        far = np.arange(2, NEIGHBOURS + 1)[:, None] * step
        if shapely.contains_xy(cell.tester, far[:, 0], far[:, 1]).any():
            return
    for u in _within(first, limit)[: 16 * effort]:
        second = cell.once(tuple(u), lambda u=u: _second_steps(cell, u))  # type: ignore[misc]
        for v in _within(second, (limit[0] + 2 * abs(u[0]), limit[1] + 2 * abs(u[1])))[: 6 * effort]:
            yield u, v


def _first_steps(cell: Cell, samples: int) -> Points:
    """Steps whose multiples are clear; those along an axis first, then by length."""
    first = _upper_steps(cell.blocked, samples)
    if len(first):
        multiples = np.arange(1, NEIGHBOURS + 1)[:, None, None] * first[None]
        hit = shapely.contains_xy(cell.tester, multiples[..., 0].ravel(), multiples[..., 1].ravel())
        first = first[~hit.reshape(NEIGHBOURS, -1).any(axis=0)]
    axes = np.minimum(np.abs(first[:, 0]), np.abs(first[:, 1])) > 1e-6
    return np.asarray(first[np.lexsort((first[:, 1], first[:, 0], np.hypot(*first.T).round(4), axes))])


def _second_steps(cell: Cell, u: Points) -> Points:
    """Second steps for a first, the tightest lattice first."""
    around = joined([shifted(cell.blocked, k * u) for k in (-2, -1, 0, 1, 2)])
    second = _upper_steps(around, 0)
    across = u[0] * second[:, 1] - u[1] * second[:, 0]
    second = second[across > 1e-3]
    along = second @ u / (u @ u)
    second = second[(along > -0.51) & (along <= 0.51)]
    second = second[_clear_steps(cell.tester, u, second)]
    size = (u[0] * second[:, 1] - u[1] * second[:, 0]).round(4)
    return np.asarray(second[np.lexsort((second[:, 1], second[:, 0], size))])


def _clear_steps(tester: Any, u: Points, second: Points) -> NDArray[np.bool_]:
    i, j = np.meshgrid(np.arange(-NEIGHBOURS, NEIGHBOURS + 1), np.arange(1, NEIGHBOURS + 1))
    points = i.ravel()[:, None, None] * u + j.ravel()[:, None, None] * second[None]
    hit = shapely.contains_xy(tester, points[..., 0].ravel(), points[..., 1].ravel())
    return np.asarray(~hit.reshape(i.size, -1).any(axis=0))


def fitted(board: Board, cell: Cell, u: Points, v: Points, grid: int, more_than: int = 0) -> Placed:
    """The most modules of a lattice on the side over its offsets: edges and corners of the rooms, and a grid.

    Nothing where that is no more than `more_than`.
    """
    boxes = np.array([board.rooms[t].bounds for t in cell.turns])
    offsets = _offsets(cell, boxes, u, v, grid)
    if all(board.rectangular(t) for t in cell.turns):
        k, count = best_offset(boxes, cell.offsets, u, v, offsets)
    else:
        k, count = _tried(board, cell, boxes, u, v, offsets)
    if count <= more_than:
        return NONE
    at, turns = [], []
    for box, offset, turn in zip(boxes, cell.offsets, cell.turns, strict=True):
        stand = stands(box, offsets[k] + offset, u, v)
        stand = stand[board.holds(turn, stand)]
        at.append(stand)
        turns.append(np.full(len(stand), turn, dtype=np.int64))
    return Placed(np.concatenate(at), np.concatenate(turns), cell.name)


def _tried(board: Board, cell: Cell, boxes: Points, u: Points, v: Points, offsets: Points) -> tuple[int, int]:
    """The best of the offsets in rooms of any shape."""
    total = np.zeros(len(offsets), dtype=np.int64)
    for box, shift, turn in zip(boxes, cell.offsets, cell.turns, strict=True):
        points = [stands(box, offset + shift, u, v) for offset in offsets]
        sizes = np.array([len(p) for p in points])
        held = board.holds(turn, np.concatenate(points))
        total += np.bincount(np.repeat(np.arange(len(points)), sizes), weights=held, minlength=len(points)).astype(int)
    k = int(np.argmax(total))
    return k, int(total[k])


NEAR = np.array([[i, j] for i in range(-3, 4) for j in range(-3, 4)], dtype=np.float64)


def _offsets(cell: Cell, boxes: Points, u: Points, v: Points, grid: int) -> Points:
    """Offsets at which some module of the cell touches one edge of its room in x and another in y."""
    near = NEAR[:, :1] * u + NEAR[:, 1:] * v
    near = near[(np.abs(near) <= 1.5 * (np.abs(u) + np.abs(v))).all(axis=1)]
    near = near[np.lexsort((near[:, 0], near[:, 1], np.abs(near).sum(axis=1)))][:24]
    touch = (boxes[:, None, :2] - cell.offsets[:, None, :] - near[None]).reshape(-1, 2).round(5)
    xs, ys = np.unique(touch[:, 0])[:12], np.unique(touch[:, 1])[:12]
    corner = np.stack(np.meshgrid(xs, ys, indexing="ij"), axis=2).reshape(-1, 2)
    a = (np.arange(grid) + 0.5) / grid
    aa, bb = np.meshgrid(a, a)
    free = boxes[0, :2] + aa.reshape(-1, 1) * u + bb.reshape(-1, 1) * v
    return np.concatenate([corner, free])
