"""The holder and the shank against the part that the tool itself is cutting."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from palletwright.field import extent, grid_over, least_clearance, swept_floor
from palletwright.reach.obstacles import Rasters
from palletwright.reach.task import Stack
from palletwright.solid.model import Mesh

Floats = NDArray[np.float64]
Sweep = tuple[Floats, float, float]
"""Tips (n, 3) mm as the machine stands, entry height mm, cutter radius mm."""

CLOSE = 1.5
"""Cells by which a grid may read short: two half diagonals, and a little."""

FINER = 4.0
"""Times finer the second grid is."""


def own_clearance(
    tips: Floats,
    wide: Stack,
    bodies: Sequence[tuple[Mesh, Floats]],
    top: float,
    gone: Sequence[Sweep],
    pitch: float,
    need: float,
    rasters: Rasters,
) -> tuple[float, Floats]:
    """(mm, never above the true clearance; the tip it belongs to) of the rows wider than the cutter to the own part.

    bodies : (mesh, pose) of the own part; top : its greatest height (`top_of`)
    gone : the sweeps that have cut it, this cut's own last.
    When the lowest wide row stays above the part by `need`, that height is the answer. What a grid falls short of
    `need` by no more than it may read short is looked at on a finer one.
    """
    start = min(row[1] for row in wide)
    lowest = int(np.argmin(tips[:, 2]))
    above = float(tips[lowest, 2] + start - top)
    if above >= need:
        return above, tips[lowest]
    have, at = _at_pitch(tips, wide, bodies, gone, pitch, need, rasters)
    if need - CLOSE * pitch < have < need:
        finer = _at_pitch(tips, wide, bodies, gone, pitch / FINER, need, rasters)
        return max((have, at), finer, key=lambda row: row[0])
    return have, at


def _at_pitch(
    tips: Floats,
    wide: Stack,
    bodies: Sequence[tuple[Mesh, Floats]],
    gone: Sequence[Sweep],
    pitch: float,
    need: float,
    rasters: Rasters,
) -> tuple[float, Floats]:
    """The same by height fields of one pitch."""
    reach = max(row[0] for row in wide) + need + 2 * pitch
    origin, shape = grid_over(*extent(tips), pitch, reach)
    z = _heights(bodies, origin, shape, pitch, rasters)
    for points, entry, radius in gone:
        np.minimum(z, swept_floor(points, entry, ((radius, 0.0, 1.0),), origin, shape, pitch, inside=True), out=z)
    found = least_clearance(tips, wide, z, origin, pitch, cap=need + pitch)
    lowest = tips[int(np.argmin(tips[:, 2]))]
    return (need + pitch, lowest) if found is None else (found.have, tips[found.tip])


def top_of(bodies: Sequence[tuple[Mesh, Floats]]) -> float:
    """The greatest height of bodies (mesh, pose (4, 4)), mm."""
    return max(float((mesh.vertices @ pose[2, :3]).max() + pose[2, 3] + mesh.chord_error) for mesh, pose in bodies)


def _heights(
    bodies: Sequence[tuple[Mesh, Floats]], origin: Floats, shape: tuple[int, int], pitch: float, rasters: Rasters
) -> Floats:
    out = np.full(shape, -np.inf)
    corner = np.rint(origin / pitch).astype(int)[::-1]
    for mesh, pose in bodies:
        (z, at), shift, lift = rasters.of(mesh, pose, pitch)
        j, i = (int(v) for v in np.add(at, shift) - corner)
        rows = slice(max(0, -j), min(z.shape[0], shape[0] - j))
        columns = slice(max(0, -i), min(z.shape[1], shape[1] - i))
        if rows.stop > rows.start and columns.stop > columns.start:
            part = out[rows.start + j : rows.stop + j, columns.start + i : columns.stop + i]
            np.maximum(part, z[rows, columns] + lift, out=part)
    return out
