"""A field that knows whose height it is: the two greatest heights of different groups in every cell.

So a thing can leave itself out of its own obstacles without a new raster.
"""

from __future__ import annotations

from dataclasses import dataclass

import numba as nb
import numpy as np
from numpy.typing import NDArray

from palletwright.field.view import HeightField

Floats = NDArray[np.float64]
Names = NDArray[np.int32]

NOBODY = -1


@dataclass(frozen=True, eq=False)
class OwnedField:
    """Two greatest heights of different groups.

    top, second : (ny, nx) mm, -inf where nothing; body, under : (ny, nx) int32, the body of each, or NOBODY
    group_of : (bodies,) int32, the group that each body belongs to
    origin : (2,) mm, a whole multiple of the pitch; pitch : mm
    """

    top: Floats
    second: Floats
    body: Names
    under: Names
    group_of: Names
    origin: Floats
    pitch: float


def owned_field(origin: Floats, shape: tuple[int, int], pitch: float, group_of: Names) -> OwnedField:
    """An empty field to lay bodies into."""
    return OwnedField(
        np.full(shape, -np.inf),
        np.full(shape, -np.inf),
        np.full(shape, NOBODY, np.int32),
        np.full(shape, NOBODY, np.int32),
        np.ascontiguousarray(group_of, np.int32),
        np.asarray(origin, dtype=np.float64),
        float(pitch),
    )


@nb.njit(cache=True)
def _lay(top, second, body, under, group_of, z, lift, j0, i0, who):  # type: ignore[no-untyped-def]
    ny, nx = top.shape
    mine = group_of[who]
    for jz in range(max(0, -j0), min(z.shape[0], ny - j0)):
        j = jz + j0
        for iz in range(max(0, -i0), min(z.shape[1], nx - i0)):
            h = z[jz, iz] + lift
            i = iz + i0
            if h <= second[j, i] or h == -np.inf:
                continue
            holder = body[j, i]
            same = holder >= 0 and group_of[holder] == mine
            if h > top[j, i]:
                if not same:
                    second[j, i], under[j, i] = top[j, i], holder
                top[j, i], body[j, i] = h, who
            elif not same:
                second[j, i], under[j, i] = h, who


def lay(field: OwnedField, z: Floats, cell: tuple[int, int], who: int, lift: float = 0.0) -> None:
    """Lays body `who` into the field: z (my, mx) mm plus `lift`, with its cell (0, 0) on the field's `cell`."""
    z = np.ascontiguousarray(z)
    _lay(field.top, field.second, field.body, field.under, field.group_of, z, float(lift), *cell, who)


@nb.njit(cache=True)
def _without(top, second, body, group_of, group, j0, j1, i0, i1):  # type: ignore[no-untyped-def]
    out = np.empty((j1 - j0, i1 - i0))
    for j in range(j0, j1):
        for i in range(i0, i1):
            who = body[j, i]
            own = who >= 0 and group_of[who] == group
            out[j - j0, i - i0] = second[j, i] if own else top[j, i]
    return out


def without(field: OwnedField, group: int, low: Floats, high: Floats) -> HeightField:
    """The window [low, high] (2,) mm of the field with one group left out."""
    ny, nx = field.top.shape
    i0, j0 = np.floor((np.asarray(low) - field.origin) / field.pitch).astype(int)
    i1, j1 = np.ceil((np.asarray(high) - field.origin) / field.pitch).astype(int)
    i0, i1, j0, j1 = (int(v) for v in (max(i0, 0), min(i1, nx), max(j0, 0), min(j1, ny)))
    z = _without(field.top, field.second, field.body, field.group_of, group, j0, max(j1, j0), i0, max(i1, i0))
    return HeightField(z, field.origin + np.array([i0, j0]) * field.pitch, field.pitch, np.eye(3))


def name_at(field: OwnedField, group: int, point: Floats) -> int:
    """The body whose height `without` shows at `point` (2,) mm, or NOBODY."""
    i, j = np.floor((np.asarray(point) - field.origin) / field.pitch).astype(int)
    who = int(field.body[j, i])
    return int(field.under[j, i]) if who >= 0 and field.group_of[who] == group else who
