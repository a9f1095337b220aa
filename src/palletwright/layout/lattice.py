"""Lattice patterns: one, two or a few modules repeated along two steps.

Candidates for the first step run along the whole edge of the cell's own blocked set, for the second along the
edge of the set blocked by the cell and its neighbours in the first step. Neighbours up to ±4 are checked and
degenerate cells refused; patterns rank by the count that fits on the side, not by density.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from palletwright.layout.board import NONE, Board, Placed
from palletwright.layout.polygons import shifted

NEIGHBOURS = 4
Points = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Cell:
    """A few modules that repeat together: offsets (m, 2) mm and turns."""

    offsets: Points
    turns: tuple[int, ...]
    blocked: Any
    name: str


def cell_of(board: Board, offsets: Points, turns: Sequence[int], name: str) -> Cell:
    """The cell with its own blocked displacements."""
    sets = [
        shifted(board.table.world(a, b), offsets[i] - offsets[j])
        for i, a in enumerate(turns)
        for j, b in enumerate(turns)
    ]
    return Cell(offsets, tuple(turns), shapely.union_all(sets), name)


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
            points = _edge_points(board.table.world(a, b), 8)
            hulls = shapely.union(board.proxy(a), [shifted(board.proxy(b), p) for p in points])
            sizes = np.round(shapely.area(shapely.convex_hull(hulls)) * (1 + later), 3)
            found += [(float(z), float(x), float(y), a, b) for z, (x, y) in zip(sizes, points, strict=True)]
    found.sort()
    return [_pair(board, a, b, np.array([x, y])) for _, x, y, a, b in found[:most]]


def _pair(board: Board, a: int, b: int, step: Points) -> Cell:
    name = "double with half turn" if (b - a) % 4 == 2 else ("double" if a == b else "double with quarter turn")
    return cell_of(board, np.array([[0.0, 0.0], step]), (a, b), name)


def steps(blocked: Any, limit: tuple[float, float], samples: int) -> Points:
    """Candidate first steps: corners of the blocked set's edge, its crossings of the axes, samples between."""
    points = _edge_points(blocked, samples)
    keep = (np.abs(points[:, 0]) <= limit[0]) & (np.abs(points[:, 1]) <= limit[1])
    points = points[keep]
    upper = (points[:, 1] > 1e-9) | ((np.abs(points[:, 1]) <= 1e-9) & (points[:, 0] > 0))
    return points[upper]


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


def lattices(cell: Cell, limit: tuple[float, float], effort: int) -> Iterator[tuple[Points, Points]]:
    """Pairs of steps (u, v) for which every displacement i·u + j·v within ±4 is clear."""
    tester = cell.blocked.buffer(-1e-5)
    shapely.prepare(tester)
    first = steps(cell.blocked, limit, 12 * effort)
    if len(first):
        multiples = np.arange(1, NEIGHBOURS + 1)[:, None, None] * first[None]
        hit = shapely.contains_xy(tester, multiples[..., 0].ravel(), multiples[..., 1].ravel())
        first = first[~hit.reshape(NEIGHBOURS, -1).any(axis=0)]
    axes = np.minimum(np.abs(first[:, 0]), np.abs(first[:, 1])) > 1e-6
    order = np.lexsort((first[:, 1], first[:, 0], np.hypot(*first.T).round(4), axes))
    for u in first[order][: 16 * effort]:
        around = shapely.union_all([shifted(cell.blocked, k * u) for k in (-2, -1, 0, 1, 2)])
        second = steps(around, (limit[0] + 2 * abs(u[0]), limit[1] + 2 * abs(u[1])), 0)
        across = u[0] * second[:, 1] - u[1] * second[:, 0]
        second = second[across > 1e-3]
        along = second @ u / (u @ u)
        second = second[(along > -0.51) & (along <= 0.51)]
        good = _clear_steps(tester, u, second)
        second = second[good]
        size = (u[0] * second[:, 1] - u[1] * second[:, 0]).round(4)
        for v in second[np.lexsort((second[:, 1], second[:, 0], size))][: 6 * effort]:
            yield u, v


def _clear_steps(tester: Any, u: Points, second: Points) -> NDArray[np.bool_]:
    i, j = np.meshgrid(np.arange(-NEIGHBOURS, NEIGHBOURS + 1), np.arange(1, NEIGHBOURS + 1))
    points = i.ravel()[:, None, None] * u + j.ravel()[:, None, None] * second[None]
    hit = shapely.contains_xy(tester, points[..., 0].ravel(), points[..., 1].ravel())
    return np.asarray(~hit.reshape(i.size, -1).any(axis=0))


def fitted(board: Board, cell: Cell, u: Points, v: Points, grid: int) -> Placed:
    """The most modules of a lattice on the side over its offsets: edges and corners of the rooms, and a grid."""
    bounds = np.array([board.rooms[t].bounds for t in cell.turns])
    low, high = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    points = _covering(u, v, low - high, high - low)
    if len(points) > 4000:
        return NONE
    offsets = _offsets(cell, bounds, u, v, points, grid)
    total = np.zeros(len(offsets), dtype=np.int64)
    for offset, turn in zip(cell.offsets, cell.turns, strict=True):
        stand = (points[None, :, :] + offsets[:, None, :] + offset).reshape(-1, 2)
        total += board.holds(turn, stand).reshape(len(offsets), -1).sum(axis=1)
    best = offsets[int(np.argmax(total))]
    at, turns = [], []
    for offset, turn in zip(cell.offsets, cell.turns, strict=True):
        stand = points + best + offset
        stand = stand[board.holds(turn, stand)]
        at.append(stand)
        turns.append(np.full(len(stand), turn, dtype=np.int64))
    return Placed(np.concatenate(at), np.concatenate(turns), cell.name)


def _covering(u: Points, v: Points, low: Points, high: Points) -> Points:
    """Lattice points within a box."""
    corners = np.array([[x, y] for x in (low[0], high[0]) for y in (low[1], high[1])])
    ij = np.linalg.solve(np.column_stack([u, v]), corners.T).T
    i = np.arange(np.floor(ij[:, 0].min()), np.ceil(ij[:, 0].max()) + 1)
    j = np.arange(np.floor(ij[:, 1].min()), np.ceil(ij[:, 1].max()) + 1)
    if len(i) * len(j) > 40000:
        return np.zeros((5000, 2))
    ii, jj = np.meshgrid(i, j)
    points = ii.reshape(-1, 1) * u + jj.reshape(-1, 1) * v
    inside = ((points >= low - 1e-6) & (points <= high + 1e-6)).all(axis=1)
    return np.asarray(points[inside])


def _offsets(cell: Cell, bounds: Points, u: Points, v: Points, points: Points, grid: int) -> Points:
    """Offsets at which some module of the cell touches one edge of its room in x and another in y."""
    xs: set[float] = set()
    ys: set[float] = set()
    for offset, box in zip(cell.offsets, bounds, strict=True):
        near = points[(np.abs(points) <= 1.5 * (np.abs(u) + np.abs(v))).all(axis=1)][:24]
        xs.update(np.round(box[0] - offset[0] - near[:, 0], 5).tolist())
        ys.update(np.round(box[1] - offset[1] - near[:, 1], 5).tolist())
    corner = np.array([[x, y] for x in sorted(xs)[:12] for y in sorted(ys)[:12]])
    a = (np.arange(grid) + 0.5) / grid
    aa, bb = np.meshgrid(a, a)
    free = bounds[0, :2] + aa.reshape(-1, 1) * u + bb.reshape(-1, 1) * v
    return np.concatenate([corner, free])
