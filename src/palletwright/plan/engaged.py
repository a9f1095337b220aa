"""Cuts loaded by what they really engage: no deeper and no wider than the material that is there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from shapely.geometry import Polygon

from palletwright.access.model import Feature
from palletwright.cutting import load_of
from palletwright.cutting.model import Cut
from palletwright.shop.model import Material, Tool
from palletwright.solid import footprint

MILLED = ("face", "rough", "finish", "chamfer")

UNEVEN = 1.5
"""Times the mean width of a region that is taken as its greatest: estimated, common practice, no source."""


GAP = 0.02
"""Share of a faced region from which holes in it interrupt the cut: estimated."""


def interrupted(cut: Cut, feature: Feature) -> bool:
    """Whether the edge leaves the metal and strikes it again: drills across a cavity, faces with holes or in pieces."""
    if feature.kind == "hole":
        return any(note.startswith("interrupted by") for note in feature.notes)
    if cut.stage != "face" or not len(feature.removal.triangles):
        return False
    shadow = footprint(feature.removal, cut.direction)
    pieces = list(getattr(shadow, "geoms", [shadow]))
    return len(pieces) > 1 or sum(Polygon(r).area for p in pieces for r in p.interiors) > GAP * shadow.area


def engaged(cut: Cut, feature: Feature, tool: Tool, material: Material) -> Cut:
    """The cut with depth and width of cut limited by its region, and the load that follows."""
    struck = interrupted(cut, feature)
    if struck:
        load = load_of(tool, material, cut.conditions, cut.stage, interrupted=True)
        cut = replace(cut, load=load, notes=(*cut.notes, "interrupted cut: forces 1.2 times"))
    if cut.stage not in MILLED or not len(feature.removal.vertices):
        return cut
    points = feature.removal.vertices
    d = np.asarray(cut.direction)
    depth = float(np.ptp(points @ d))
    flat = points - (points @ d)[:, None] * d
    length = float(np.ptp(flat, axis=0).max())
    if depth <= 0 or length <= 0:
        return cut
    width = UNEVEN * feature.volume / (depth * length)
    c = cut.conditions
    if c.ap <= depth and c.ae <= width:
        return cut
    conditions = replace(c, ap=min(c.ap, depth), ae=min(c.ae, max(width, 0.05)))
    return replace(cut, conditions=conditions, load=load_of(tool, material, conditions, cut.stage, interrupted=struck))
