"""Unit vectors compared: same, opposite, square to one another."""

from __future__ import annotations

import numpy as np

from palletwright.verdict import Vec

SAME = 1 - 1e-6
"""Cosine from which two directions count as one."""

LEVEL = 1e-3
"""mm, or the cosine, below which a height or a lean counts as none."""


def same(a: Vec, b: Vec) -> bool:
    """Whether two unit vectors point the same way."""
    return float(np.dot(a, b)) > SAME


def negated(a: Vec) -> Vec:
    """The opposite direction, without negative zeros."""
    return (0.0 - a[0], 0.0 - a[1], 0.0 - a[2])


def square(a: Vec, b: Vec) -> bool:
    """Whether two unit vectors stand square to one another."""
    return abs(float(np.dot(a, b))) < LEVEL


def frame(direction: Vec) -> np.ndarray:
    """(3, 3): rows u, v, w with w the direction."""
    from palletwright.field import frame_of

    return np.asarray(frame_of(direction))
