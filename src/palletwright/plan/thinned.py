"""Fewer tip positions where many say the same: inside a milled region, well away from its border."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from palletwright.cutting.model import Cut
from palletwright.plan.directions import frame
from palletwright.shop.model import Tool

MANY = 120
"""Tip positions from which a cut is thinned."""

NEAR = 3.2
"""mm within which a tip of the inside has neighbours in all four quarters (access samples the inside at 2 mm)."""

SHARE = 0.7
"""Spacing kept inside, as a share of the cutter's radius, so that its circles still cover the region."""


def thinned(cut: Cut, tool: Tool) -> Cut:
    """The cut with every tip of its region's border, and inside only as many as cover it.

    What stands beside the region is nearest to its border tips, so clearances don't change; tips of each depth are
    treated apart.
    """
    spacing = SHARE * tool.cutter.DC / 2
    if len(cut.tips) < MANY or spacing <= 2.0:
        return cut
    seen = cut.tips @ frame(cut.direction).T
    keep = np.zeros(len(seen), dtype=bool)
    levels = np.round(seen[:, 2] / 0.05).astype(np.int64)
    for level in np.unique(levels):
        rows = np.flatnonzero(levels == level)
        keep[rows[_kept(seen[rows, :2], spacing)]] = True
    return replace(cut, tips=np.ascontiguousarray(cut.tips[keep]))


def _kept(flat: np.ndarray, spacing: float) -> np.ndarray:
    """Which of the (n, 2) points of one depth stay."""
    quarters = np.zeros((len(flat), 4), dtype=bool)
    pairs = cKDTree(flat).query_pairs(NEAR, output_type="ndarray")
    for a, b in ((0, 1), (1, 0)):
        step = flat[pairs[:, b]] - flat[pairs[:, a]]
        quarter = (step[:, 0] > 0).astype(int) + 2 * (step[:, 1] > 0)
        oblique = (np.abs(step) > 0.3).all(axis=1)
        quarters[pairs[oblique, a], quarter[oblique]] = True
    inside = np.asarray(quarters.all(axis=1), dtype=bool)
    cell = np.floor(flat / spacing).astype(np.int64)
    _, first = np.unique(cell[inside], axis=0, return_index=True)
    kept = np.asarray(~inside, dtype=bool)
    kept[np.flatnonzero(inside)[first]] = True
    return kept
