"""Chamfers and edge breaks cut with a chamfering mill whose flank lies along them."""

from __future__ import annotations

import math

import numpy as np

from palletwright.access.columns import Look
from palletwright.access.model import Route
from palletwright.access.regions import Region
from palletwright.access.work import Work, cut
from palletwright.shop.model import Tool
from palletwright.solid.model import Floats

SAME_SLOPE = 4.0
"""degrees between the chamfer and the mill's flank that count as one (common practice, no source)."""
CONTACT = 0.3
"""share of the mill's diameter at which its flank touches the middle of the chamfer."""
GREATEST = 3.0
"""mm of chamfer width up to which a chamfering mill is used (common practice, no source)."""
SPACING = 2.0


def chamfered(work: Work, feature: str, r: Region, view: Look) -> list[Route]:
    """The chamfering route along the view's direction; empty where slope, width or room don't allow it."""
    strips = strip_points(r, view)
    if strips is None:
        return []
    points, outward, slope, width = strips
    if width > GREATEST:
        return []
    for tool in work.tools("chamfer_mill"):
        half = (tool.cutter.SIG or 90.0) / 2
        # A flank at half the point angle to the axis leaves a face whose normal stands 90° - half from the axis.
        if abs(slope - (90.0 - half)) > SAME_SLOPE:
            continue
        offset = CONTACT * tool.cutter.DC
        tips = points + offset * outward - offset / math.tan(math.radians(half)) * view.frame[2]
        if free(view, tool, tips, half):
            conditions, _ = work.rates(tool, "chamfer")
            length = r.volume / max(width * width / 4, 1e-6)
            seconds = 60.0 * length / conditions.feed + 1.0
            top = float((points @ view.frame[2]).max()) + width
            made = cut(work, feature, tool, "chamfer", view.direction, tips, top, seconds)
            return [Route(view.direction, (made,), 1.0, 0.0)]
    return []


def strip_points(r: Region, view: Look) -> tuple[Floats, Floats, float, float] | None:
    """(points along the slanted faces' middle, their outward normals square to the axis, slope °, width mm)."""
    mesh = r.mesh
    if mesh.face_of is None:
        return None
    on = mesh.face_of >= 0
    corners = mesh.corners[on]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    areas = np.linalg.norm(normals, axis=1)
    keep = areas > 1e-9
    corners, areas = corners[keep], areas[keep]
    # The removal's normals on the part's faces point into the part.
    normals = -normals[keep] / areas[:, None]
    axis = view.frame[2]
    lean = np.degrees(np.arccos(np.clip(normals @ axis, -1, 1)))
    if not len(lean) or np.ptp(lean) > SAME_SLOPE or not 5.0 < float(lean.mean()) < 85.0:
        return None
    heights = corners @ axis
    rise = float(heights.max() - heights.min())
    width = rise / math.sin(math.radians(float(lean.mean())))
    side = normals - (normals @ axis)[:, None] * axis
    side /= np.linalg.norm(side, axis=1)[:, None]
    points, outward = [], []
    middle = (heights.max() + heights.min()) / 2
    for tri, n in zip(corners, side, strict=True):
        h = tri @ axis
        ends = crossing(tri, h, float(middle))
        if ends is None:
            continue
        a, b = ends
        count = max(2, int(np.linalg.norm(b - a) / SPACING) + 1)
        points.append(a + np.linspace(0, 1, count)[:, None] * (b - a))
        outward.append(np.repeat(n[None], count, axis=0))
    if not points:
        return None
    return np.concatenate(points), np.concatenate(outward), float(lean.mean()), width


def crossing(tri: Floats, h: Floats, level: float) -> tuple[Floats, Floats] | None:
    """Where a triangle with heights `h` crosses a level, as a segment."""
    ends = []
    for k in range(3):
        a, b = float(h[k]) - level, float(h[(k + 1) % 3]) - level
        if (a < 0) != (b < 0):
            ends.append(tri[k] + a / (a - b) * (tri[(k + 1) % 3] - tri[k]))
    return (ends[0], ends[1]) if len(ends) == 2 else None


def free(view: Look, tool: Tool, tips: Floats, half: float) -> bool:
    """Whether the mill's cone, shank and holder stay off the part at every tip, within two cells."""
    slack = 2 * view.pitch
    seen = tips @ view.frame.T
    rows = [
        (tool.cutter.DC / 2 * s, tool.cutter.DC / 2 * s / math.tan(math.radians(half))) for s in (0.25, 0.5, 0.75, 1)
    ]
    rows += view.wide_rows(tool)
    j, i, inside = view.cells(seen)
    for radius, start in rows:
        if radius <= slack:
            continue
        height = view.grown(radius - slack)[j, i] + view.lift
        if (inside & (height > seen[:, 2] + start + slack)).any():
            return False
    return True
