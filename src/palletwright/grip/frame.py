"""The operation frame: z out of the side, x from the part's own geometry, the base at z = 0."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from palletwright.grip.patches import Facets, facets
from palletwright.solid.model import Floats, Mesh
from palletwright.verdict import Vec

SNAP = np.cos(np.radians(0.5))  # a direction this close to a face's normal means the normal


def operation_frame(before: Mesh, after: Mesh, up: Vec, axis: Vec | None) -> tuple[Floats, Facets, Facets]:
    """(3, 3) rotation from the part's frame and the two meshes taken apart in the part's frame.

    x is the rotary axis made square to `up` where one is given, else the direction of the greatest wall length. Its
    sense follows the part's own skew, so that a turned copy of a part gets the turned frame and a mirrored copy the
    mirrored x. A part that is alike both ways gets the sense nearest to the file's first axis.

    Raises ValueError if `axis` lies along `up`.
    """
    one, two = facets(before), facets(after)
    z = _snapped(one, np.asarray(up, dtype=np.float64))
    if axis is not None:
        x = np.asarray(axis, dtype=np.float64)
        x = x - (x @ z) * z
        if np.linalg.norm(x) < 1e-6:
            raise ValueError(f"axis {axis} lies along up {up}: a part can't sit on a side square to the rotary axis")
    else:
        x = _longest(one, two, z)
    x = x / np.linalg.norm(x)
    x = x * _sense([one, two], x)
    return np.stack([x, np.cross(z, x), z]), one, two


def _snapped(parts: Facets, up: Floats) -> Floats:
    up = up / np.linalg.norm(up)
    near = np.flatnonzero(parts.normals @ -up > SNAP)
    if not len(near):
        return up
    best = near[np.argmax(np.round(parts.areas[near], 6))]
    return np.asarray(-parts.normals[best] / np.linalg.norm(parts.normals[best]))


def _longest(before: Facets, after: Facets, z: Floats) -> Floats:
    """The direction in the side along which most wall area over its height stands, untouched walls first."""
    for parts in (after, before):
        walls = np.flatnonzero((np.abs(parts.normals @ z) < 1e-5) & (parts.areas > 1e-6))
        if not len(walls):
            continue
        along = np.cross(z, parts.normals[walls])
        first = along[np.argmax(np.round(parts.areas[walls], 6))]
        second = np.cross(z, first)
        angle = np.degrees(np.arctan2(along @ second, along @ first)) % 180.0
        key = np.round(angle / 0.05).astype(np.int64) % 3600
        sums = np.bincount(key, weights=parts.areas[walls] * _extent(parts, walls))
        best = int(np.argmax(np.round(sums, 3)))
        lead = walls[key == best][np.argmax(np.round(parts.areas[walls][key == best], 6))]
        return np.asarray(np.cross(z, parts.normals[lead]))
    least = np.eye(3)[int(np.argmin(np.abs(z)))]
    return np.asarray(np.cross(z, least))


def _extent(parts: Facets, walls: NDArray[np.intp]) -> Floats:
    """Weight of a wall triangle: 1 plus its offset's share, so that outer walls outweigh inner ones of like area."""
    reach = np.abs(parts.offsets[walls] - parts.normals[walls] @ parts.mesh.bounds.mean(axis=0))
    return np.asarray(1.0 + 0.1 * reach / max(float(reach.max()), 1e-9))


def _sense(shapes: Sequence[Facets], x: Floats) -> float:
    for parts in shapes:
        at = parts.mesh.corners.mean(axis=1) @ x
        ends = parts.mesh.vertices @ x
        middle = (ends.max() + ends.min()) / 2.0
        size = max(float(np.ptp(ends)), 1e-9)
        skew = float((parts.areas * ((at - middle) / size)).sum() / parts.areas.sum())
        if abs(skew) > 1e-5:
            return 1.0 if skew > 0 else -1.0
    lead = int(np.argmax(np.round(np.abs(x), 6)))
    return 1.0 if x[lead] > 0 else -1.0
