"""Everything in the machine at one index angle, as one field that knows whose height each cell has."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from palletwright.field import OwnedField, grid_over, lay, owned_field, view
from palletwright.scene import Body, Scene, turning
from palletwright.solid.model import Mesh

Floats = NDArray[np.float64]
Raster = tuple[Floats, tuple[int, int]]

STEPS = 4
"""Places within a cell, along each axis, at which rasters are made; what stands between two is widened by the rest."""

EXACT = 1e-6
"""Cells within which a place counts as one of those."""


@dataclass(frozen=True)
class Rasters:
    """Rasters made so far, by mesh, turn and place within a cell: hand the same one to every layout of a search.

    `most`: cells kept (8 bytes each) before all are let go and begun anew; `held`: how many there are;
    `own`: for a part and what cuts it, wherever they stand, the clearances to the part itself.
    """

    made: dict[tuple[object, ...], Raster] = field(default_factory=dict)
    most: int = 30_000_000
    held: list[int] = field(default_factory=lambda: [0])
    own: dict[object, list[tuple[float, Floats]]] = field(default_factory=dict)

    def of(self, mesh: Mesh, pose: Floats, pitch: float) -> tuple[Raster, tuple[int, int], float]:
        """(raster, shift in cells (j, i), lift mm) of the mesh in the pose, seen from above.

        Never below the mesh: where its place in the cell isn't one of the `STEPS`, every cell is widened by the most
        that it can be off, half a step, so that one raster serves all stations near enough alike.
        """
        cells = pose[:2, 3] / pitch
        nearest = np.round(cells * STEPS) / STEPS
        off = bool(np.abs(cells - nearest).max() > EXACT)
        whole = np.floor(nearest)
        part = nearest - whole
        turn = np.round(pose[:3, :3], 12)
        key = (mesh.key, turn.tobytes(), *part.tolist(), pitch, off)
        raster = self.made.get(key)
        if raster is None:
            move = np.eye(4)
            move[:3, :3], move[:2, 3] = turn, part * pitch
            seen = view(mesh.moved(move), np.eye(3), pitch, grow=(0.5 / STEPS + EXACT) * pitch if off else 0.0)
            raster = (seen.z, seen.index)
            if self.held[0] + seen.z.size > self.most:
                self.made.clear()
                self.held[0] = 0
            self.held[0] += seen.z.size
            self.made[key] = raster
        return raster, (int(whole[1]), int(whole[0])), float(pose[2, 3])


def moves_of(scene: Scene, angles: Mapping[str, float]) -> dict[str, Floats]:
    """(4, 4) of every mount that turns, at its angle in degrees."""
    return {m.id: turning(m, angles[m.id]) for m in scene.mounts if m.id in angles}


def placed(body: Body, moves: Mapping[str, Floats]) -> Floats:
    """The body's pose (4, 4) with its mount moved."""
    move = moves.get(body.group)
    return body.pose if move is None else np.asarray(move @ body.pose)


def field_at(
    scene: Scene,
    moves: Mapping[str, Floats],
    window: tuple[Floats, Floats],
    pitch: float,
    group_of: Sequence[int],
    rasters: Rasters,
) -> OwnedField:
    """The obstacle field over `window` (low, high (2,) mm) with every rotary mount moved (`moves_of`)."""
    origin, shape = grid_over(window[0], window[1], pitch)
    out = owned_field(origin, shape, pitch, np.asarray(group_of, np.int32))
    corner = np.rint(origin / pitch).astype(int)[::-1]
    for who, body in enumerate(scene.bodies):
        pose = placed(body, moves)
        if body.kind == "table":
            _lay_block(out, body.mesh.moved(pose).bounds, who)
            continue
        (z, at), shift, lift = rasters.of(body.mesh, pose, pitch)
        j, i = (int(v) for v in np.add(at, shift) - corner)
        lay(out, z, (j, i), who, lift)
    return out


def _lay_block(out: OwnedField, bounds: Floats, who: int) -> None:
    """Lays a body's bounding block, which the table is."""
    ny, nx = out.top.shape
    i0, j0 = np.maximum(np.floor((bounds[0, :2] - out.origin) / out.pitch + 1e-9).astype(int), 0)
    i1, j1 = np.ceil((bounds[1, :2] - out.origin) / out.pitch - 1e-9).astype(int)
    i1, j1 = min(int(i1), nx), min(int(j1), ny)
    if i1 > i0 and j1 > j0:
        lay(out, np.full((j1 - j0, i1 - i0), bounds[1, 2]), (int(j0), int(i0)), who)
