"""The densest lattice found for one outline: single, or double with a half turn."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from palletwright.layout.blocked import Table
from palletwright.layout.board import Board
from palletwright.layout.lattice import double_cells, lattices, single_cells
from palletwright.layout.polygons import convex_pieces, minkowski, mirrored, turned


def touching(outline: Any) -> Table:
    """Blocked displacements of bare outlines that may touch, at turns 0 and 2."""
    pieces = convex_pieces(outline)
    sets = {t: shapely.union_all(minkowski(pieces, convex_pieces(mirrored(turned(outline, t))))) for t in (0, 2)}
    return Table(sets, sets, {})


def densest_lattice(outline: Any, effort: int = 4) -> tuple[float, str]:
    """(density, pattern) of the densest single or double lattice of `outline` found: area over the cell's area
    a module. Never above the true greatest density by more than 1e-6 (rounding).

    Convex outlines reach at least √3/2 with double lattices (Kuperberg & Kuperberg 1990).
    """
    x0, y0, x1, y1 = outline.bounds
    size = float(np.hypot(x1 - x0, y1 - y0))
    scaled = shapely.transform(outline, lambda xy: xy * (100.0 / size))
    room = shapely.box(-300.0, -300.0, 300.0, 300.0)
    board = Board({0: room, 2: room}, touching(scaled))
    best = (0.0, "none")
    for cell in [single_cells(board)[0], *double_cells(board, 8 * effort)]:
        for u, v in lattices(cell, (300.0, 300.0), effort):
            area = abs(u[0] * v[1] - u[1] * v[0])
            density = len(cell.turns) * scaled.area / area
            best = max(best, (float(density), cell.name))
    return best
