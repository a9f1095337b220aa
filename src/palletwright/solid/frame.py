"""A part's own axes, from its faces, so that a turned copy of a part is planned like the original."""

from __future__ import annotations

import numpy as np
import shapely

from palletwright.solid.bodies import frame_along
from palletwright.solid.model import Floats, Mesh, Solid

PARALLEL = np.cos(np.radians(0.1))  # directions closer than 0.1° are one
SQUARE = np.sin(np.radians(0.1))
ROUND_SHARE = 0.5  # weight of a round face's axis against a flat face's normal, both by area; our own choice
SNAP = 1e-6  # rad: a frame this close to the file's axes is the file's axes
TIE = 1e-6  # relative: areas and moments closer than this don't decide
COARSE = 1e-4  # relative: extents closer than this don't decide; they come from the mesh


def part_frame(solid: Solid) -> Floats:
    """(3, 3): the part's own right-handed axes as columns, longest extent first, in the file's frame.

    The axes are the three square directions that carry the most flat area (round faces count with half their area
    along their axis). Where only one direction stands out, the smallest rectangle round the part's outline along it
    gives the others; where none does, the file's axes are taken.

    A turned part gives the turned frame. Sign: each of the two longer axes points to the side to which the faces'
    areas are skewed (third, else fifth central moment); the third axis completes a right-handed frame, so that a
    mirrored part gives the mirrored frame with one axis turned round. Ties: axes with the same extent go by flat
    area, then by skewness; what is still equal (a symmetric part) goes by the nearest to the file's x, y, z, and is
    the only place where turning the part can change the answer.
    """
    axes = square_axes(solid)
    spans = solid.mesh.vertices @ axes
    extents = np.ptp(spans, axis=0)
    lean = np.array([skewness(solid, axes[:, k]) for k in range(3)])
    size = float(extents.max())
    flat = np.array([aligned_area(solid, axes[:, k]) for k in range(3)])
    order = sorted(
        range(3),
        key=lambda k: (
            -round(float(extents[k]) / size / COARSE),
            -round(float(flat[k]) / size**2 / TIE),
            -round(abs(float(lean[k])) / TIE),
            int(np.argmax(np.abs(axes[:, k]))),
        ),
    )
    ordered = axes[:, order].copy()
    for k, source in enumerate(order):
        sign = np.sign(lean[source]) if lean[source] else file_sign(ordered[:, k])
        ordered[:, k] *= sign
    ordered[:, 2] = np.cross(ordered[:, 0], ordered[:, 1])
    return snapped(ordered)


def skewness(solid: Solid, axis: Floats) -> float:
    """How the faces' areas lean along an axis, from -1 to 1; 0 where third and fifth moments are below `TIE`.

    From the faces' exact areas and centroids: the mesh's noise would decide the sign of a symmetric part.
    """
    areas = np.array([f.area for f in solid.faces])
    if not len(areas) or not areas.sum() > 0:
        return 0.0
    along = np.array([f.centroid for f in solid.faces]) @ axis
    along = along - float(np.average(along, weights=areas))
    reach = float(np.abs(along).max())
    for power in (3, 5):
        moment = float(np.average((along / reach) ** power, weights=areas)) if reach > 0 else 0.0
        if abs(moment) > TIE:
            return moment
    return 0.0


def file_sign(axis: Floats) -> float:
    """+1 where the axis' greatest component is positive."""
    return 1.0 if axis[int(np.argmax(np.abs(axis)))] > 0 else -1.0


def snapped(frame: Floats) -> Floats:
    """A frame that is the file's axes but for rounding, as exact numbers."""
    near = np.round(frame)
    return near + 0.0 if np.abs(frame - near).max() < SNAP else frame


def lines_of(solid: Solid) -> tuple[Floats, Floats]:
    """Unsigned directions (n, 3) of the faces, clustered, and their weights in mm², heaviest first."""
    faces = [f for f in solid.faces if f.kind in ("plane", "cylinder", "cone") and f.area > 0]
    if not faces:
        return np.zeros((0, 3)), np.zeros(0)
    units = np.array([f.axis for f in faces])
    weights = np.array([f.area * (1.0 if f.kind == "plane" else ROUND_SHARE) for f in faces])
    lines: list[Floats] = []
    heavy: list[float] = []
    for k in np.argsort(-weights, kind="stable"):
        near = [i for i, line in enumerate(lines) if abs(float(line @ units[k])) > PARALLEL]
        if near:
            heavy[near[0]] += float(weights[k])
        else:
            lines.append(units[k])
            heavy.append(float(weights[k]))
    order = np.argsort(-np.array(heavy), kind="stable")
    return np.array(lines)[order], np.array(heavy)[order]


def aligned_area(solid: Solid, axis: Floats) -> float:
    """mm² of flat faces square to an axis."""
    return sum(f.area for f in solid.faces if f.kind == "plane" and abs(float(axis @ np.array(f.axis))) > PARALLEL)


def square_axes(solid: Solid) -> Floats:
    """Three square directions that carry the most weight, in no order, signs open."""
    lines, weights = lines_of(solid)
    if not len(lines):
        return np.eye(3)
    best, score = None, -1.0
    for i in range(len(lines)):
        for j in range(i + 1, len(lines)):
            if abs(float(lines[i] @ lines[j])) < SQUARE:
                frame = squared(lines[i], lines[j])
                carried = float(weights[(np.abs(lines @ frame) > PARALLEL).any(axis=1)].sum())
                if carried > score * (1 + TIE):
                    best, score = frame, carried
    if best is None or weights[0] > score:
        return boxed(solid.mesh, lines[0])
    return best


def squared(a: Floats, b: Floats) -> Floats:
    """A right-handed frame with the first column along `a` and the second nearest to `b`."""
    z = np.cross(a, b)
    z /= np.linalg.norm(z)
    return np.stack([a, np.cross(z, a), z], axis=1)


def boxed(mesh: Mesh, axis: Floats) -> Floats:
    """A frame about `axis` whose other two columns lie along the smallest rectangle round the part's outline."""
    frame = frame_along(axis)
    rectangle = shapely.MultiPoint(mesh.vertices @ frame[:, :2]).minimum_rotated_rectangle
    corners = shapely.get_coordinates(rectangle)
    if len(corners) < 4:
        return frame
    edge = corners[1] - corners[0]
    along = frame[:, :2] @ (edge / np.linalg.norm(edge))
    return squared(frame[:, 2], along)
