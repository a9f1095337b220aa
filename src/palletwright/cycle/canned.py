"""Canned cycles taken apart into rapids, feeds and waits (RS-274 meanings of G73, G74, G76, G80–G89)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

PECK_CLEARANCE = 0.254
"""mm kept above the last depth when a peck goes back in; 0.010 in in RS-274/NGC controllers."""

CYCLES = frozenset({73.0, 74.0, 76.0, 81.0, 82.0, 83.0, 84.0, 85.0, 86.0, 87.0, 88.0, 89.0})

Step = tuple[str, float]
"""('rapid' | 'feed', height along the drilling axis) or ('wait', s) or ('ramp', changes between rest and speed)."""


@dataclass
class Hole:
    """What a canned cycle keeps until G80: heights along the drilling axis in mm, dwell in s, peck in mm."""

    code: float
    bottom: float
    retract: float
    initial: float
    dwell: float = 0.0
    peck: float = 0.0
    to_initial: bool = True


def hole_steps(hole: Hole) -> Iterator[Step]:
    """From the retract height down and back up to where the next hole is approached from."""
    code, up = hole.code, max(hole.initial, hole.retract) if hole.to_initial else hole.retract
    if code in (73.0, 83.0) and hole.peck > 0.0:
        yield from _pecks(hole)
    else:
        yield "feed", hole.bottom
    if code in (76.0, 82.0, 88.0, 89.0) and hole.dwell > 0.0:
        yield "wait", hole.dwell
    if code in (74.0, 84.0):
        yield "ramp", 2.0
        yield "feed", hole.retract
        yield "ramp", 2.0
    elif code in (85.0, 89.0):
        yield "feed", hole.retract
    elif code in (76.0, 86.0, 87.0, 88.0):
        yield "ramp", 1.0
        yield "rapid", up
        yield "ramp", 1.0
    yield "rapid", up


def _pecks(hole: Hole) -> Iterator[Step]:
    depth = hole.retract
    while depth > hole.bottom + 1e-9:
        if depth < hole.retract - 1e-9:
            if hole.code == 83.0:
                yield "rapid", hole.retract
                yield "rapid", min(hole.retract, depth + PECK_CLEARANCE)
            else:
                yield "rapid", min(hole.retract, depth + PECK_CLEARANCE)
        depth = max(hole.bottom, depth - hole.peck)
        yield "feed", depth
