"""Identical rectangles with quarter turns in a rectangle (the manufacturer's pallet loading problem)."""

from __future__ import annotations

import math


def loading_bound(length: float, width: float, a: float, b: float) -> int:
    """Most a × b rectangles, quarter turns allowed, in length × width: the area bound."""
    return math.floor(length * width / (a * b) + 1e-9)
