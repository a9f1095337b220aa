"""Grey dilation by discs, and how low a tool assembly may go: the two kernels under access, layout and reach."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from palletwright.field.rims import painted, rims_of

Floats = NDArray[np.float64]
H = TypeVar("H", NDArray[np.float64], NDArray[np.float32])
Stack = Sequence[tuple[float, float, float]]

TOUCHES = -0.5
"""slack: cells whose square comes nearer to the disc's centre (a cell's centre) than the radius."""
TOUCHES_ANYWHERE = -1.0
"""slack: as TOUCHES, for a disc's centre anywhere in its cell."""
INSIDE = 0.5
"""slack: cells whose whole square lies in the disc about a cell's centre."""
INSIDE_ANYWHERE = 1.0
"""slack: as INSIDE, for a disc's centre anywhere in its cell."""


def disc(radius_cells: float, slack: float = TOUCHES) -> NDArray[np.int64]:
    """Half widths (cells) of a disc's rows dj = 0, 1, 2 …; empty when no cell belongs to it.

    A cell at offset (dj, di) belongs when hypot(max(0, |di| + slack), max(0, |dj| + slack)) is below the radius
    (in cells): with a negative slack every cell that the disc may touch, with a positive one only cells wholly in it.
    """
    widths = []
    for dj in range(int(np.ceil(radius_cells)) + 2):
        dy = max(0.0, dj + slack)
        rest = radius_cells * radius_cells - dy * dy
        if rest <= 1e-12:
            break
        reach = np.sqrt(rest) - slack
        if reach <= 1e-9:
            break
        widths.append(int(np.ceil(reach - 1e-9)) - 1)
    return np.array(widths, dtype=np.int64)


def dilate(z: H, radius_cells: float, slack: float = TOUCHES) -> H:
    """For each cell the greatest z of all cells that a disc of `radius_cells` about its centre touches.

    z : (ny, nx) mm, -inf where empty, 32 or 64 bits as the answer then has; outside the grid counts as empty.
    `slack` picks which cells belong (see `disc`). Flat parts cost their rims only, sloping ones a sparse table of
    running maxima per row: O(n²·(R + log R)) at the most.
    """
    widths = disc(radius_cells, slack)
    if widths.size == 0:
        return np.full_like(z, -np.inf)
    return painted(rims_of(np.ascontiguousarray(z)), widths)


def erode(z: H, radius_cells: float, slack: float = TOUCHES) -> H:
    """For each cell the least z of the cells that a disc touches; outside the grid counts as +inf."""
    return np.negative(dilate(np.negative(z), radius_cells, slack))


def decisive(stack: Stack) -> tuple[tuple[float, float], ...]:
    """(radius, from) of the steps that can touch first: a step above a wider or equally wide one never does.

    True because a tool comes straight down: all that a narrower step sweeps lies in the wider one's column.
    """
    rows: list[tuple[float, float]] = []
    for radius, start, _ in sorted(stack, key=lambda row: row[1]):
        if not rows or radius > rows[-1][0]:
            rows.append((float(radius), float(start)))
    return tuple(rows)


def lowest_tip(
    height: Floats,
    stack: Stack,
    pitch: float,
    clearance_side: float = 0.0,
    clearance_up: float = 0.0,
    *,
    optimistic: bool = False,
    anywhere: bool = False,
    error: float = 0.0,
) -> Floats:
    """The least height that a tool's tip may have over each cell with nothing of `height` touched.

    Parameters
    ----------
    height : (ny, nx) mm, the exact greatest height in each cell (`raster` with grow 0), -inf where empty
    stack : rows (radius, from, to) in mm above the tip; the space above each step counts as swept
    pitch : mm
    clearance_side, clearance_up : mm kept from everything, sideways and below
    optimistic : False, never below the truth (what is said to be reached is surely reached); True, never above
        the truth (what is said to be out of reach surely is). The truth at the cell's centre lies between them:
        the radius counts as r + √2/2·pitch against r - √2·pitch at most, so where the surface within that ring has
        slope s the two differ by at most about 2.1·s·pitch.
    anywhere : the tip may be anywhere in its cell, not just at the centre
    error : mm by which the mesh may depart from the true surface

    Returns
    -------
    (ny, nx) mm; -inf where nothing is below the tool at all.
    """
    sign = -1.0 if optimistic else 1.0
    slack = (INSIDE_ANYWHERE if anywhere else INSIDE) if optimistic else (TOUCHES_ANYWHERE if anywhere else TOUCHES)
    out = np.full(height.shape, -np.inf)
    for radius, start in decisive(stack):
        grown = (radius + clearance_side + sign * error) / pitch
        if grown > 0:
            np.maximum(out, dilate(height, grown, slack) + (clearance_up + sign * error - start), out=out)
    return out
