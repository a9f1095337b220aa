"""Plain bodies as closed meshes."""

from __future__ import annotations

import numpy as np

from palletwright.solid.model import Mesh
from palletwright.verdict import Vec

_BOX = (
    *((0, 2, 1), (0, 3, 2), (4, 5, 6), (4, 6, 7)),
    *((0, 1, 5), (0, 5, 4), (1, 2, 6), (1, 6, 5)),
    *((2, 3, 7), (2, 7, 6), (3, 0, 4), (3, 4, 7)),
)


def box(low: Vec, high: Vec) -> Mesh:
    """The block between two corners, mm."""
    if any(b <= a for a, b in zip(low, high, strict=True)):
        raise ValueError(f"a box needs its high corner above its low one, not {low} and {high}")
    (x0, y0, z0), (x1, y1, z1) = low, high
    ring = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    vertices = np.array([(x, y, z0) for x, y in ring] + [(x, y, z1) for x, y in ring], dtype=np.float64)
    return Mesh(vertices, np.array(_BOX, np.int32))


def cylinder(radius: float, start: float, end: float, sections: int = 64) -> Mesh:
    """A cylinder about x from `start` to `end`, mm; its chord error is carried by the mesh."""
    if radius <= 0 or end <= start or sections < 3:
        raise ValueError(f"a cylinder needs a positive radius and length, not {radius} and {end - start}")
    angle = 2 * np.pi * np.arange(sections) / sections
    y, z = radius * np.cos(angle), radius * np.sin(angle)
    rings = [np.column_stack([np.full(sections, x), y, z]) for x in (start, end)]
    vertices = np.concatenate([*rings, np.array([[start, 0.0, 0.0], [end, 0.0, 0.0]])])
    a = np.arange(sections)
    b = (a + 1) % sections
    near, far = 2 * sections + 0 * a, 2 * sections + 1 + 0 * a
    sides = [np.column_stack(t) for t in ((a, b, b + sections), (a, b + sections, a + sections))]
    ends = [np.column_stack(t) for t in ((near, b, a), (far, a + sections, b + sections))]
    triangles = np.concatenate([*sides, *ends]).astype(np.int32)
    return Mesh(vertices, triangles, chord_error=float(radius * (1 - np.cos(np.pi / sections))))
