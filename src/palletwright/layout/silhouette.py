"""What of a body stands over the side between two heights, seen along the side's normal."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import manifold3d
import numpy as np
import shapely

from palletwright.layout.polygons import EMPTY, filled, joined
from palletwright.solid.model import Mesh


class Profile:
    """A body that can be asked for its footprint between two heights; answers are kept.

    The body's mesh must be closed. Where it is not, the footprint of everything stands for every slab
    (`closed` is False): too careful, never too bold.
    """

    def __init__(self, mesh: Mesh) -> None:
        self.low, self.high = float(mesh.vertices[:, 2].min()), float(mesh.vertices[:, 2].max())
        self.chord_error = mesh.chord_error
        self.levels = np.unique(np.round(mesh.vertices[:, 2], 3))
        self.solid = _manifold(mesh)
        self.closed = self.solid is not None
        self.whole = _whole(mesh) if self.solid is None else _outline(self.solid)
        self._slabs: dict[tuple[float, float], Any] = {}
        self._filled: dict[tuple[float, float], Any] = {}

    def slab(self, low: float, high: float, holes: bool = False) -> Any:
        """The footprint of what stands between heights `low` and `high`, mm; without `holes` they are filled."""
        if low >= self.high or high <= self.low:
            return EMPTY
        key = (round(max(low, self.low), 4), round(min(high, self.high), 4))
        if key not in self._slabs:
            self._slabs[key] = self._cut(*key)
            self._filled[key] = filled(self._slabs[key])
        return self._slabs[key] if holes else self._filled[key]

    def _cut(self, low: float, high: float) -> Any:
        cut = self.solid
        if cut is None or (low <= self.low and high >= self.high):
            return self.whole
        if low > self.low:
            cut = cut.trim_by_plane((0.0, 0.0, 1.0), low)
        if high < self.high:
            cut = cut.trim_by_plane((0.0, 0.0, -1.0), -high)
        return EMPTY if cut.is_empty() else _outline(cut)


@lru_cache(maxsize=512)
def _profile(key: str, holder: _Keyed) -> Profile:
    return Profile(holder.mesh)


class _Keyed:
    """A mesh that hashes by content, so that profiles are kept by content."""

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Keyed) and self.mesh.key == other.mesh.key

    def __hash__(self) -> int:
        return hash(self.mesh.key)


def profile(mesh: Mesh) -> Profile:
    """The profile of a mesh, kept by the mesh's content."""
    return _profile(mesh.key, _Keyed(mesh))


def _manifold(mesh: Mesh) -> Any:
    points, where = np.unique(np.round(mesh.vertices, 6), axis=0, return_inverse=True)
    triangles = where.reshape(-1)[mesh.triangles]
    good = (
        (triangles[:, 0] != triangles[:, 1])
        & (triangles[:, 1] != triangles[:, 2])
        & (triangles[:, 2] != triangles[:, 0])
    )
    raw = manifold3d.Mesh64(
        vert_properties=np.ascontiguousarray(points), tri_verts=np.ascontiguousarray(triangles[good].astype(np.uint64))
    )
    solid = manifold3d.Manifold(raw)
    return solid if solid.status() == manifold3d.Error.NoError and not solid.is_empty() else None


def _outline(solid: Any) -> Any:
    rings = [shapely.Polygon(r) for r in solid.project().to_polygons() if len(r) >= 3]
    outer, holes = ([r.buffer(0) for r in rings if r.exterior.is_ccw == way] for way in (True, False))
    union = joined(outer) if outer else EMPTY
    return union.difference(joined(holes)) if holes else union


def _whole(mesh: Mesh) -> Any:
    flat = mesh.corners[:, :, :2]
    twice = np.cross(flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0])
    return joined(shapely.polygons(flat[np.abs(twice) > 1e-9]))
