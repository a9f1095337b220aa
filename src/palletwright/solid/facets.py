"""Surfaces fitted to the faces of a file that holds triangles only: estimates, told as such."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from scipy.optimize import least_squares

from palletwright.solid.model import Face, Floats, Ints, Mesh
from palletwright.verdict import Vec

FLAT = math.radians(0.2)  # normals within this of one another are a plane's
LOOSE = 0.15  # rad, about: a coarse facet's normal leans this much from its surface's
FIT = 2e-4  # of a face's own size: vertices this close to a surface lie on it


def fitted_faces(mesh: Mesh) -> tuple[Face, ...]:
    """One `Face` for each value of `mesh.face_of`, its surface fitted to the vertices; "other" where none fits."""
    assert mesh.face_of is not None
    beside = neighbours(mesh)
    across = np.cross(mesh.corners[:, 1] - mesh.corners[:, 0], mesh.corners[:, 2] - mesh.corners[:, 0])
    faces = []
    for k in range(int(mesh.face_of.max()) + 1):
        rows = np.flatnonzero(mesh.face_of == k)
        if len(rows):
            face = fitted(k, mesh.corners[rows], across[rows])
        else:
            face = Face(k, "other", 0.0, (0.0, 0.0, 0.0), ((0.0, 0.0, 0.0), (0.0, 0.0, 0.0)))
        faces.append(replace(face, neighbours=beside.get(k, ())))
    return tuple(faces)


def pairs(mesh: Mesh) -> Ints:
    """(e, 2): the two triangles at each edge of a closed mesh."""
    arcs = np.concatenate([mesh.triangles[:, [a, b]] for a, b in ((0, 1), (1, 2), (2, 0))])
    order = np.lexsort(np.sort(arcs, axis=1).T)
    return np.asarray(np.tile(np.arange(len(mesh.triangles)), 3)[order].reshape(-1, 2), np.int32)


def neighbours(mesh: Mesh) -> dict[int, tuple[int, ...]]:
    """For each face the others that share an edge with it."""
    assert mesh.face_of is not None
    sides = mesh.face_of[pairs(mesh)]
    met: dict[int, set[int]] = {}
    for a, b in np.unique(sides[sides[:, 0] != sides[:, 1]], axis=0).tolist():
        met.setdefault(a, set()).add(b)
        met.setdefault(b, set()).add(a)
    return {k: tuple(sorted(others)) for k, others in met.items()}


def sagitta(mesh: Mesh) -> float:
    """Estimate of the mesh's chord error, mm: from the turn between neighbouring facets of a face.

    A circle cut into chords of length L with turn t between them stands off by L / 2 · tan(t / 4).
    """
    assert mesh.face_of is not None
    across = np.cross(mesh.corners[:, 1] - mesh.corners[:, 0], mesh.corners[:, 2] - mesh.corners[:, 0])
    double = np.linalg.norm(across, axis=1)
    units = across / np.where(double > 0, double, 1.0)[:, None]
    a, b = pairs(mesh).T
    inside = (mesh.face_of[a] == mesh.face_of[b]) & (double[a] > 0) & (double[b] > 0)
    a, b = a[inside], b[inside]
    if not len(a):
        return 0.0
    turn = np.arccos(np.clip(np.einsum("ij,ij->i", units[a], units[b]), -1.0, 1.0))
    edge = shared_length(mesh, a, b)
    width = np.maximum(double[a], double[b]) / np.where(edge > 0, edge, np.inf)
    return float((width / 2.0 * np.tan(turn / 4.0))[turn > FLAT].max(initial=0.0))


def shared_length(mesh: Mesh, a: Ints, b: Ints) -> Floats:
    """Length of the edge that triangles a and b share, mm."""
    held = (mesh.triangles[a][:, :, None] == mesh.triangles[b][:, None, :]).any(axis=2)
    lone = np.argmin(held, axis=1)
    first = mesh.corners[a, (lone + 1) % 3]
    return np.asarray(np.linalg.norm(first - mesh.corners[a, (lone + 2) % 3], axis=1))


def fitted(k: int, corners: Floats, across: Floats) -> Face:
    """One face from its triangles (n, 3, 3) and their doubled area vectors (n, 3)."""
    double = np.linalg.norm(across, axis=1)
    area = float(double.sum() / 2)
    centroid = (corners.mean(axis=1) * double[:, None]).sum(axis=0) / max(double.sum(), 1e-30)
    points = corners.reshape(-1, 3)
    low, high = points.min(axis=0), points.max(axis=0)
    plain = Face(k, "other", area, vec(centroid), (vec(low), vec(high)))
    solid = double > 1e-9
    units = across[solid] / double[solid][:, None]
    size = float(np.linalg.norm(high - low))
    if not len(units):
        return plain
    mean = across.sum(axis=0) / np.linalg.norm(across.sum(axis=0)) if np.linalg.norm(across.sum(axis=0)) else units[0]
    if (units @ mean).min() > math.cos(FLAT):
        return replace(plain, kind="plane", point=plain.centroid, axis=vec(mean))
    return turned(plain, units, corners[solid], size) or ball(plain, units, corners[solid], size) or plain


def vec(values: Floats) -> Vec:
    """Three numbers as a plain tuple."""
    x, y, z = (float(v) for v in values)
    return x, y, z


def turned(plain: Face, units: Floats, corners: Floats, size: float) -> Face | None:
    """The face as a cylinder or cone, where its vertices lie on one and its facets look away from or to its axis."""
    tapered, axis = likely_axis(units)
    if axis is None:
        return None
    points = corners.reshape(-1, 3)
    found = round_about(axis, points, tapered)
    if np.abs(misfit(found, points)).max() > FIT * size + 1e-3:
        found = refined(found, points, tapered)
    axis, centre, radius, slope = found
    if np.abs(misfit(found, points)).max() > FIT * size + 1e-3 or radius > 100 * size:
        return None
    if slope < 0:
        axis, slope = -axis, -slope
    along, middle = points @ axis, corners.mean(axis=1)
    start = float(along.min())
    point = centre + axis * start
    from_axis = middle - point - ((middle - point) @ axis)[:, None] * axis
    facing = np.einsum("ij,ij->i", units, from_axis / np.linalg.norm(from_axis, axis=1)[:, None])
    if np.abs(facing).min() < math.cos(math.atan(slope)) - LOOSE or np.ptp(np.sign(facing)) > 0:
        return None
    return replace(
        plain,
        kind="cone" if slope else "cylinder",
        point=vec(point),
        axis=vec(axis),
        radius=float(radius + slope * start),
        half_angle=math.degrees(math.atan(slope)),
        span=(0.0, float(along.max()) - start),
        sweep=swept((corners - point) @ np.linalg.svd(axis[None, :])[2][1:].T),
        hollow=bool(facing[0] < 0),
    )


Round = tuple[Floats, Floats, float, float]  # axis, a point of it square to it from the origin, radius there, slope


def likely_axis(units: Floats) -> tuple[bool, Floats | None]:
    """Whether the normals lean along an axis (a cone), and that axis; None where they make no one angle with any."""
    axis = np.linalg.svd(np.concatenate([units, np.zeros((1, 3))]))[2][2]
    if np.abs(units @ axis).max() < LOOSE:
        return False, axis
    axis = np.linalg.svd(np.concatenate([units - units.mean(axis=0), np.zeros((1, 3))]))[2][2]
    lean = units @ axis
    return True, axis if np.ptp(lean) < LOOSE and abs(float(lean.mean())) < 0.999 else None


def round_about(axis: Floats, points: Floats, tapered: bool) -> Round:
    """The best cylinder or cone about a given direction."""
    plane = np.linalg.svd(axis[None, :])[2][1:]
    centre, radius, slope = circle(points @ plane.T, points @ axis, tapered)
    return axis, plane.T @ centre, radius, slope


def misfit(found: Round, points: Floats) -> Floats:
    """Radial distance of points from the surface, mm."""
    axis, centre, radius, slope = found
    along = points @ axis
    radial = np.linalg.norm(points - centre - along[:, None] * axis, axis=1)
    return np.asarray(radial - (radius + slope * along))


def refined(found: Round, points: Floats, tapered: bool) -> Round:
    """The surface with its axis tilted to where the vertices fit best: coarse facets show the axis roughly only."""
    axis, across = found[0], np.linalg.svd(found[0][None, :])[2][1:]

    def tilted(tilt: Floats) -> Round:
        way = axis + tilt @ across
        return round_about(way / np.linalg.norm(way), points, tapered)

    best = least_squares(lambda tilt: misfit(tilted(tilt), points), np.zeros(2), bounds=(-0.3, 0.3), max_nfev=40)
    return tilted(best.x)


def circle(flat: Floats, along: Floats, tapered: bool) -> tuple[Floats, float, float]:
    """Centre, radius at along = 0 and slope of the radius, by least squares on x² + y² = r(along)²."""
    columns = [2 * flat, np.ones((len(flat), 1))]
    if tapered:
        columns += [along[:, None], along[:, None] ** 2]
    found = np.linalg.lstsq(np.concatenate(columns, axis=1), (flat**2).sum(axis=1), rcond=None)[0]
    centre = found[:2]
    square = float(found[2] + centre @ centre)
    if not tapered:
        return centre, math.sqrt(max(square, 0.0)), 0.0
    slope = math.sqrt(max(float(found[4]), 0.0))
    if not slope:
        return centre, math.sqrt(max(square, 0.0)), 0.0
    start = float(found[3]) / (2 * slope)
    if start + slope * float(along.mean()) < 0:  # the same cone, its radius counted positive
        start, slope = -start, -slope
    return centre, start, slope


def swept(flat: Floats) -> float:
    """Degrees that triangles (n, 3, 2), seen along the axis at the origin, cover together."""
    angles = np.degrees(np.arctan2(flat[:, :, 1], flat[:, :, 0]))
    rest = (angles - angles[:, :1] + 180.0) % 360.0 - 180.0
    starts = (angles[:, 0] + rest.min(axis=1)) % 360.0
    lengths = np.ptp(rest, axis=1)
    covered = reach = max(float((starts + lengths - 360.0).max()), 0.0)  # what the last ones cover past a full turn
    for k in np.argsort(starts):
        end = min(float(starts[k] + lengths[k]), 360.0)
        covered += max(0.0, end - max(float(starts[k]), reach))
        reach = max(reach, end)
    return min(covered, 360.0)


def ball(plain: Face, units: Floats, corners: Floats, size: float) -> Face | None:
    """The face as part of a sphere."""
    points = corners.reshape(-1, 3)
    rows = np.concatenate([2 * points, np.ones((len(points), 1))], axis=1)
    found = np.linalg.lstsq(rows, (points**2).sum(axis=1), rcond=None)[0]
    centre, square = found[:3], float(found[3] + found[:3] @ found[:3])
    radius = math.sqrt(max(square, 0.0))
    if radius > 10 * size or np.abs(np.linalg.norm(points - centre, axis=1) - radius).max() > FIT * size + 1e-3:
        return None
    facing = np.einsum("ij,ij->i", units, corners.mean(axis=1) - centre) / radius
    if np.abs(facing).min() < 1.0 - LOOSE or np.ptp(np.sign(facing)) > 0:
        return None
    return replace(plain, kind="sphere", point=vec(centre), radius=radius, hollow=bool(facing[0] < 0))
