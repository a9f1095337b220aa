"""Where chips and coolant stay on a side, and whether each seat can be blown clean.

The side faces up, as in loading; heights are those of a raster, mm, z out of the side. What lies under an overhang
counts as filled: a spot there is called hidden, the careful side, and a hollow there isn't seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from palletwright.field import grid_over, raster
from palletwright.solid.model import Mesh
from palletwright.verdict import Reason, Vec

PITCH = 1.0  # mm
LEAST_POCKET = 1000.0  # mm³ (1 ml) that is worth telling: our own choice
JET = 1.0  # mm of radius that a jet of air keeps free of what it passes: common practice, no source
NOZZLE = 80.0  # mm from which a nozzle blows: common practice, no source
LIFT = 1.5  # mm off the face at which a jet is aimed
TILTS = (75.0, 60.0, 45.0, 30.0)  # degrees over the side
TURNS = 16
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Pocket:
    """Standing room for chips: middle (x, y), depth mm, area mm², volume mm³."""

    at: tuple[float, float]
    depth: float
    area: float
    volume: float


@dataclass(frozen=True, slots=True)
class Spot:
    """A place that has to be clean before a part is loaded: name, point and the normal towards the part."""

    name: str
    at: Vec
    normal: Vec


@dataclass(frozen=True, slots=True)
class Chips:
    """Pockets that keep what falls into them, largest first, spots that no jet reaches, and both in words."""

    pockets: tuple[Pocket, ...]
    hidden: tuple[str, ...]
    spots: int
    reasons: tuple[Reason, ...]


def chips(
    area: tuple[Floats, Floats],
    standing: Sequence[Mesh],
    sunk: Sequence[Mesh],
    empty: Sequence[Mesh],
    spots: Sequence[Spot],
    *,
    turns_over: bool = False,
) -> Chips:
    """Pockets of a loaded side, and which locating spots a jet reaches when the side is empty.

    Parameters
    ----------
    area : (low, high) (2,) mm, the side's rectangle
    standing : bodies on the loaded side; `sunk` : what is milled out of it; `empty` : bodies that stay when it is empty
    spots : where parts bear
    turns_over : whether the side is turned down in the cycle, so that its pockets empty themselves
    """
    origin, shape = grid_over(area[0], area[1], PITCH)
    full = _ground(origin, shape, sunk)
    for mesh in standing:
        full = np.maximum(full, raster(mesh.corners, origin, shape, PITCH))
    pockets = _pockets(full, origin)
    bare = _ground(origin, shape, sunk)
    for mesh in empty:
        bare = np.maximum(bare, raster(mesh.corners, origin, shape, PITCH))
    wide = ndimage.maximum_filter(bare, size=2 * int(np.ceil(JET / PITCH)) + 1)
    hidden = tuple(s.name for s in spots if not _blown(wide, origin, s))
    return Chips(pockets, hidden, len(spots), tuple(_told(pockets, hidden, len(spots), turns_over)))


def _ground(origin: Floats, shape: tuple[int, int], sunk: Sequence[Mesh]) -> Floats:
    """The side's face at 0, lower where it is milled away."""
    ground = np.zeros(shape)
    for mesh in sunk:
        where = np.isfinite(raster(mesh.corners, origin, shape, PITCH))
        ground[where] = np.minimum(ground[where], float(mesh.vertices[:, 2].min()))
    return ground


def _pockets(height: Floats, origin: Floats) -> tuple[Pocket, ...]:
    depth = filled(height) - height
    label, count = ndimage.label(depth > 0.05)
    found = []
    for k, where in enumerate(ndimage.find_objects(label), start=1):
        inside = label[where] == k
        deep = np.where(inside, depth[where], 0.0)
        volume = float(deep.sum()) * PITCH**2
        if volume < LEAST_POCKET:
            continue
        rows, columns = np.nonzero(inside)
        y = origin[1] + (where[0].start + rows.mean() + 0.5) * PITCH
        x = origin[0] + (where[1].start + columns.mean() + 0.5) * PITCH
        found.append(Pocket((float(x), float(y)), float(deep.max()), float(inside.sum()) * PITCH**2, volume))
    assert count >= len(found)
    return tuple(sorted(found, key=lambda p: (-p.volume, p.at)))


@numba.njit(cache=True)
def filled(height):  # type: ignore[no-untyped-def]
    """The heights with every hollow filled up to where it runs over; the grid's rim drains.

    Sweeps to and fro until nothing changes (Planchon & Darboux 2002, Catena 46, from memory).
    """
    ny, nx = height.shape
    level = np.full((ny, nx), np.inf)
    for j in range(ny):
        level[j, 0], level[j, nx - 1] = height[j, 0], height[j, nx - 1]
    for i in range(nx):
        level[0, i], level[ny - 1, i] = height[0, i], height[ny - 1, i]
    changed = True
    turn = 0
    while changed:
        changed = False
        for a in range(1, ny - 1):
            j = a if turn % 2 == 0 else ny - 1 - a
            for b in range(1, nx - 1):
                i = b if turn // 2 % 2 == 0 else nx - 1 - b
                low = min(min(level[j - 1, i], level[j + 1, i]), min(level[j, i - 1], level[j, i + 1]))
                new = max(height[j, i], low)
                if new < level[j, i]:
                    level[j, i] = new
                    changed = True
        turn += 1
    return level


def _ways() -> Floats:
    """(n, 3) directions from a spot to a nozzle, steep ones first."""
    turns = 2.0 * np.pi / TURNS * np.arange(TURNS)
    rows = [
        np.column_stack([np.cos(t) * np.cos(turns), np.cos(t) * np.sin(turns), np.full(TURNS, np.sin(t))])
        for t in np.radians(TILTS)
    ]
    return np.concatenate(rows)


def _blown(wide: Floats, origin: Floats, spot: Spot) -> bool:
    """Whether some straight jet reaches a spot, from the side that its part lies on.

    `wide` are the heights, each cell with the greatest within a jet's radius.
    """
    normal = np.asarray(spot.normal)
    ways = _ways()
    ways = ways[ways @ normal > -1e-6]
    steps = np.arange(0.0, NOZZLE, PITCH)
    lines = np.asarray(spot.at) + (LIFT + JET) * normal + steps[None, :, None] * ways[:, None, :]
    cells = np.floor((lines[..., :2] - origin) / PITCH).astype(int)
    inside = (cells >= 0).all(axis=2) & (cells[..., 0] < wide.shape[1]) & (cells[..., 1] < wide.shape[0])
    i, j = np.where(inside, cells[..., 0], 0), np.where(inside, cells[..., 1], 0)
    stands = inside & (wide[j, i] > lines[..., 2] - JET + 1e-6)
    return bool((~stands.any(axis=1)).any())


def _told(pockets: Sequence[Pocket], hidden: Sequence[str], spots: int, turns_over: bool) -> list[Reason]:
    rows = []
    if pockets:
        whole, first = sum(p.volume for p in pockets), pockets[0]
        text = (
            f"{len(pockets)} pockets that open upwards keep chips and coolant, {whole / 1000.0:.0f} ml in all; the "
            f"largest {first.depth:.0f} mm deep at ({first.at[0]:.0f}, {first.at[1]:.0f})"
        )
        text += ": the side empties them when it is turned down" if turns_over else ": blow them out at every load"
        rows.append(Reason("chips", text, whole / 1000.0, "ml"))
    if hidden:
        text = f"{len(hidden)} of {spots} locating spots are hidden from a jet: {', '.join(hidden[:4])}"
        rows.append(Reason("chips", text, float(len(hidden)), "spots"))
    return rows
