"""View frames: the rows of a (3, 3) matrix are u, v, w; w points along the view, towards the spindle."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def frame_of(direction: Sequence[float] | Floats) -> Floats:
    """The right-handed orthonormal frame whose third row is `direction`, always the same for the same direction.

    Parameters
    ----------
    direction : (3,) any length but zero; from the part towards the spindle

    Returns
    -------
    (3, 3) rows u, v, w: `points @ frame.T` are view coordinates. For +z it is the identity. u is the machine's x
    (or y, where the view runs along x) made square to w, so that axis-parallel shapes stay axis-parallel.
    """
    w = np.asarray(direction, dtype=np.float64)
    length = float(np.linalg.norm(w))
    if w.shape != (3,) or not np.isfinite(length) or length == 0.0:
        raise ValueError(f"a direction needs three finite numbers that aren't all zero, not {direction!r}")
    w = _snapped(w / length)
    guide = np.array([1.0, 0.0, 0.0]) if abs(w[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
    u = guide - (guide @ w) * w
    u = _snapped(u / np.linalg.norm(u))
    return np.ascontiguousarray(np.stack([u, np.cross(w, u), w]))


def _snapped(v: Floats) -> Floats:
    """`v` with components that differ from 0 or ±1 by rounding only set to these, so that grids stay aligned."""
    near = np.round(v)
    out = np.where(np.abs(v - near) < 1e-12, near, v)
    return np.asarray(out / np.linalg.norm(out))
