"""Where the part really stands: errors of locators, pallet and index carried to a point of the part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from palletwright.holding.contacts import Array, Contacts
from palletwright.verdict import Vec


@dataclass(frozen=True, slots=True)
class PlaceError:
    """Error of one point, mm along x, y, z: `worst` case and `spread` (root of the sum of squares)."""

    worst: Vec
    spread: Vec


def place_errors(
    contacts: Contacts,
    points: Array,
    *,
    locator: Sequence[float] | float,
    carrier: float = 0.0,
    index_arc: float = 0.0,
    radius: float = 0.0,
) -> tuple[PlaceError, ...]:
    """Error of each point (n, 3) mm of the part: `δq = J⁻¹·δr`, then the carrier's and the index's own.

    Parameters
    ----------
    locator : ± mm of each of the six locators along its normal, or one figure for all
    carrier : ± mm that the carrier returns to its mount, any direction
    index_arc, radius : arc seconds of the index's repeatability, mm from the axis to the point

    Raises
    ------
    ValueError
        when there are not six independent locators (Cai, Hu & Yuan, ASME JMSE 119, 1997, from memory)
    """
    rows = contacts.grasp[: contacts.locators, 0, :]
    if rows.shape[0] != 6 or np.linalg.matrix_rank(rows) < 6:
        raise ValueError(f"{rows.shape[0]} locators of rank {np.linalg.matrix_rank(rows)}; six independent are needed")
    back = np.linalg.inv(rows) * np.broadcast_to(np.asarray(locator, dtype=float), (6,))
    turned = np.radians(index_arc / 3600.0) * radius
    answers = []
    for point in np.asarray(points, dtype=float).reshape(-1, 3):
        cross = np.array([[0, point[2], -point[1]], [-point[2], 0, point[0]], [point[1], -point[0], 0]])
        moved = back[:3] + cross @ back[3:]
        worst = np.abs(moved).sum(axis=1) + carrier + turned
        spread = np.sqrt((moved**2).sum(axis=1) + carrier**2 + turned**2)
        answers.append(PlaceError(_vec(worst), _vec(spread)))
    return tuple(answers)


def _vec(values: Array) -> Vec:
    return float(values[0]), float(values[1]), float(values[2])
