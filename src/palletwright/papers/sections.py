"""What a plane section of a carrier leaves out: holes and reliefs that it meets, whichever face they are cut from."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from palletwright.papers.carriers import CarrierModel
from palletwright.papers.models import side_pose

Floats = NDArray[np.float64]

FINE = 64
"""Corners of a round cut in a section."""


def gone_at(model: CarrierModel, side: str, level: float) -> list[Any]:
    """Regions (x, z mm, side frame) that holes and reliefs take away in the plane y = `level` of one side."""
    inverse = np.linalg.inv(side_pose(model, side))
    rows = []
    for hole in model.holes:
        start = (inverse @ np.array([*hole.at, 1.0]))[:3]
        into = inverse[:3, :3] @ np.asarray(hole.into)
        rows.append(rod_cut(start, into, hole.diameter / 2, hole.depth, level))
        if hole.sunk:
            rows.append(rod_cut(start, into, hole.sunk[0] / 2, hole.sunk[1], level))
    for pocket in model.pockets:
        pose = inverse @ side_pose(model, pocket.side)
        rows.append(_pocket_cut(pose, shapely.Polygon(pocket.outline, pocket.islands), pocket.depth, level))
    return [r for r in rows if not r.is_empty]


def rod_cut(start: Floats, into: Floats, radius: float, depth: float, level: float) -> Any:
    """Region in x and z that a round hole from `start` (mm) along the unit `into` leaves in the plane y = `level`."""
    off, lean = level - start[1], float(into[1])
    along = np.array([into[0], into[2]])
    flat = float(np.hypot(*along))
    if abs(lean) < 1e-9:
        if abs(off) >= radius - 1e-9:
            return shapely.Polygon()
        half, foot = math.sqrt(radius**2 - off**2), np.array([start[0], start[2]])
        beside = np.array([-along[1], along[0]])
        ends = (foot, foot + depth * along)
        return shapely.Polygon([ends[0] + half * beside, ends[0] - half * beside, ends[1] - half * beside,
                                ends[1] + half * beside])  # fmt: skip
    # the axis crosses the plane at `t` of its depth; a lean draws the circle out along it
    t = off / lean
    middle = np.array([start[0], start[2]]) + t * along
    angle = np.linspace(0.0, 2 * math.pi, FINE, endpoint=False)
    long = along / flat if flat > 1e-9 else np.array([1.0, 0.0])
    beside = np.array([-long[1], long[0]])
    ring = middle + radius * (np.outer(np.cos(angle), long) / abs(lean) + np.outer(np.sin(angle), beside))
    if flat <= 1e-9:
        return shapely.Polygon(ring) if 0.0 < t < depth else shapely.Polygon()
    # a place of the plane lies at depth t + (distance along `long`) * flat
    low, high, reach = -t / flat, (depth - t) / flat, 2 * radius / abs(lean) + 1.0
    if high <= -reach or low >= reach:
        return shapely.Polygon()
    strip = [middle + a * long + b * beside for a, b in ((low, -reach), (high, -reach), (high, reach), (low, reach))]
    return shapely.Polygon(ring).intersection(shapely.Polygon(strip))


def _pocket_cut(pose: Floats, outline: shapely.Polygon, depth: float, level: float) -> Any:
    """The same of a relief; `pose` is T_side_pocket. One of a side that leans isn't drawn: an empty region."""
    normal = pose[:3, 2]
    if abs(normal[1]) > 1 - 1e-9:
        below = -(level - pose[1, 3]) * float(np.sign(normal[1]))
        if not 0.0 < below < depth:
            return shapely.Polygon()
        return shapely.transform(outline, lambda points: _flat(pose, points, -below))
    if abs(normal[1]) > 1e-9:
        return shapely.Polygon()
    # the plane stands square to the relief's face: it meets the outline along a line there
    across = pose[:3, :3].T @ np.array([0.0, 1.0, 0.0])
    point = (np.linalg.inv(pose) @ np.array([0.0, level, 0.0, 1.0]))[:3]
    way = np.array([-across[1], across[0]])
    line = shapely.LineString([point[:2] - 1e4 * way, point[:2] + 1e4 * way])
    met = outline.intersection(line)
    rows = []
    for part in getattr(met, "geoms", [met]):
        if part.geom_type == "LineString" and not part.is_empty:
            top = _flat(pose, np.asarray(part.coords), 0.0)
            down = depth * np.array([normal[0], normal[2]])
            rows.append(shapely.Polygon([*top, *(top - down)[::-1]]))
    return shapely.union_all(rows) if rows else shapely.Polygon()


def _flat(pose: Floats, points: Floats, z: float) -> Floats:
    """(n, 2) x and z of points of a pocket's face at height `z`."""
    solid = np.column_stack([points, np.full(len(points), z)]) @ pose[:3, :3].T + pose[:3, 3]
    return np.asarray(solid[:, [0, 2]])
