"""Cutters kept above the part's base: a face that runs down to it is finished without running past it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from palletwright.cutting.model import Cut
from palletwright.plan.directions import same, square
from palletwright.shop.model import Tool
from palletwright.solid.model import Mesh
from palletwright.verdict import Vec

PAST = 0.2
"""mm that a cutter may reach past the finished base so that no burr stays: common practice, no source."""

MILLED = ("face", "rough", "finish", "chamfer")


def base_level(part: Mesh, up: Vec) -> float:
    """mm along `up` of the finished part's lowest point."""
    return float((part.vertices @ np.asarray(up)).min())


def kept_above(cut: Cut, up: Vec, base: float, tool: Tool) -> Cut:
    """A milling cut whose tips stay clear of what is under the base.

    From above, tips end `PAST` below the base. From beside, the cutter's circle does: its centre is lifted, within
    the range in which it moves anyhow, so that every wall above still stands where it stood. What lies under the
    base goes when the base itself is faced.
    """
    if cut.stage not in MILLED or not len(cut.tips):
        return cut
    u = np.asarray(up)
    heights = cut.tips @ u
    if same(cut.direction, up):
        least = base - PAST
    elif square(cut.direction, up):
        least = base - PAST + tool.cutter.DC / 2
    else:
        return cut
    wanted = np.maximum(heights, min(least, float(heights.max())))
    if np.allclose(wanted, heights):
        return cut
    return replace(cut, tips=cut.tips + (wanted - heights)[:, None] * u)
