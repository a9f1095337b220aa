"""What a milled region is called, from its faces and from where it is open."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from palletwright.access.directions import negated, same, vec
from palletwright.access.model import FeatureKind
from palletwright.access.regions import REACHED, Region
from palletwright.access.shapes import face_areas
from palletwright.solid.model import Face, Floats
from palletwright.verdict import Vec

SMALL = 0.6
"""share of the region's own part faces that must be slanted or round for it to be a chamfer or fillet."""


def kind_of(r: Region, faces: Mapping[int, Face], frame: Floats) -> FeatureKind:
    """Slab: face. Slanted strips: chamfer or fillet. Else by the part's axes along which it is open."""
    if r.outward is not None:
        return "face"
    areas = face_areas(r.mesh)
    total = sum(areas.values())
    axes = [vec(s * row) for row in frame for s in (1.0, -1.0)]
    if total > 0:
        slanted = sum(a for k, a in areas.items() if slant(faces.get(k), axes))
        curved = sum(a for k, a in areas.items() if bulge(faces.get(k)))
        planes = sum(1 for k in areas if (f := faces.get(k)) and f.kind == "plane")
        if slanted > 0.95 * total:
            return "chamfer"
        if curved > SMALL * total and planes <= 2:
            return "fillet" if len(areas) <= 6 else "profile"
    return by_openings([a for a in axes if r.share(a) >= REACHED])


def by_openings(ways: Sequence[Vec]) -> FeatureKind:
    """One way in: pocket. Two: through pocket, or blind slot. Three in line: slot. More: step. Round: profile."""
    pairs = sum(1 for a in ways if any(same(negated(a), b) for b in ways)) // 2
    if not ways:
        return "region"
    if len(ways) == 1 or (len(ways) == 2 and pairs == 1):
        return "pocket"
    if len(ways) == 2 or (len(ways) == 3 and pairs == 1):
        return "slot"
    if len(ways) <= 4:
        return "step"
    return "profile"


def slant(face: Face | None, axes: Sequence[Vec]) -> bool:
    if face is None:
        return False
    if face.kind == "cone":
        return 20.0 < face.half_angle < 70.0 and not face.hollow
    return face.kind == "plane" and all(abs(float(np.dot(face.axis, a))) < 0.999 for a in axes)


def bulge(face: Face | None) -> bool:
    return face is not None and face.kind in ("cylinder", "torus", "sphere") and not face.hollow


def smallest_inside_radius(r: Region, faces: Mapping[int, Face]) -> float | None:
    """mm; None where the region has no round inside corner."""
    rows = [f.radius for k in face_areas(r.mesh) if (f := faces.get(k)) and f.kind == "cylinder" and f.hollow]
    return min(rows) if rows else None
