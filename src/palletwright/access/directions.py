"""Which way the part can be looked at: its own frame, and the directions that its surfaces ask for."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from palletwright.solid.model import Face, Floats
from palletwright.verdict import Vec

SAME_ANGLE = 1e-3
"""rad within which two directions are one."""


def vec(v: Iterable[float]) -> Vec:
    """A unit vector as a tuple, with rounding noise about 0 and ±1 taken off."""
    a = np.asarray(tuple(v), dtype=np.float64)
    a = a / np.linalg.norm(a)
    near = np.round(a)
    a = np.where(np.abs(a - near) < 1e-9, near, a) + 0.0
    return (float(a[0]), float(a[1]), float(a[2]))


def negated(v: Vec) -> Vec:
    return (-v[0] + 0.0, -v[1] + 0.0, -v[2] + 0.0)


def dot(a: Vec, b: Vec) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def same(a: Vec, b: Vec) -> bool:
    return dot(a, b) > 1.0 - SAME_ANGLE**2 / 2


def square(a: Vec, b: Vec) -> bool:
    return abs(dot(a, b)) < SAME_ANGLE


def normals_by_area(faces: Iterable[Face]) -> list[tuple[Vec, float]]:
    """Unsigned normals of the planar faces with the area that shares them, greatest first."""
    rows: list[tuple[Vec, float]] = []
    for face in sorted((f for f in faces if f.kind == "plane"), key=lambda f: (-f.area, f.id)):
        n = vec(face.axis)
        for k, (m, area) in enumerate(rows):
            if same(m, n) or same(m, negated(n)):
                rows[k] = (m, area + face.area)
                break
        else:
            rows.append((n, face.area))
    return sorted(rows, key=lambda row: -row[1])


def candidates(faces: Iterable[Face], frame: Floats, axes: Iterable[Vec], least_share: float = 0.004) -> list[Vec]:
    """The frame's six directions, both ways of `axes`, then the normals of planes above a share of all area."""
    faces = tuple(faces)
    total = sum(f.area for f in faces) or 1.0
    found: list[Vec] = []
    wanted = [vec(s * row) for row in frame for s in (1.0, -1.0)]
    wanted += [w for a in axes for w in (vec(a), negated(vec(a)))]
    wanted += [w for n, area in normals_by_area(faces) if area / total >= least_share for w in (n, negated(n))]
    for w in wanted:
        if not any(same(w, f) for f in found):
            found.append(w)
    return found
