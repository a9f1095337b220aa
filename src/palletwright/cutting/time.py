"""Seconds in the cut, without rapids and tool changes (those are the cycle's)."""

from __future__ import annotations

import math

from palletwright.cutting.model import Conditions, Stage

# Time in the cut over removal at full width: entries, corners, last passes (common practice, no source).
PATH_OVERHEAD = 1.25
# A peck's way out and in, mm/s, and its two reversals, s (common practice, no source).
PECK_SPEED = 250.0
PECK_REVERSAL = 0.3
# Spindle reversal of a tap, s (common practice, no source).
TAP_REVERSAL = 0.6


def point_length(diameter: float, point: float) -> float:
    """Length (mm) of a drill's point: (D/2)/tan(σ/2), `point` the angle σ in degrees."""
    return diameter / 2.0 / math.tan(math.radians(point / 2.0)) if point < 180.0 else 0.0


def hole_seconds(
    conditions: Conditions,
    depth: float,
    stage: Stage,
    *,
    approach: float = 2.0,
    peck: float | None = None,
    dwell: float = 0.0,
) -> float:
    """Seconds to feed `depth` mm (point and break-through included by the caller) and out again where that is at feed.

    Taps return at feed after a reversal, reamers return at twice the feed, drills leave at rapid. `peck` is mm per
    step: each step but the last goes out and back in at 15 m/min.
    """
    into = (depth + approach) * 60.0 / conditions.feed
    if stage == "tap":
        return 2.0 * into + TAP_REVERSAL + dwell
    if stage == "ream":
        return 1.5 * into + dwell
    steps = math.ceil(depth / peck) - 1 if peck else 0
    pecks = sum(2.0 * (i * (peck or 0.0) + approach) / PECK_SPEED + PECK_REVERSAL for i in range(1, steps + 1))
    return into + pecks + dwell


def mill_seconds(
    volume: float, path_length: float, conditions: Conditions, *, passes: int = 1, overhead: float = PATH_OVERHEAD
) -> float:
    """Seconds to mill: the greater of the volume at the removal rate and the path at the feed, with overhead.

    Parameters
    ----------
    volume : mm³ to remove
    path_length : mm of one pass along the contour (0 where unknown)
    passes : how many times the path is run
    """
    by_volume = volume / (conditions.ap * conditions.ae * conditions.feed) * 60.0
    by_path = path_length * passes / conditions.feed * 60.0
    return max(by_volume, by_path) * overhead
