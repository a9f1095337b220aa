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
    radius: Sequence[float] | float = 0.0,
) -> tuple[PlaceError, ...]:
    """Error of each point (n, 3) mm of the part: `δq = J⁻¹·δr`, then the carrier's and the index's own.

    With more than six locators the part settles elastically between them: `δq = (Jᵀ·K·J)⁻¹·Jᵀ·K·δr`, K their
    stiffness; with six that is J⁻¹.

    Parameters
    ----------
    locator : ± mm of each locator along its normal, or one figure for all
    carrier : ± mm that the carrier returns to its mount, any direction
    index_arc, radius : arc seconds of the index's repeatability, mm from the axis to each point, or one for all

    Raises
    ------
    ValueError
        when there are not six independent locators (Cai, Hu & Yuan, ASME JMSE 119, 1997, from memory)
    """
    n = contacts.locators
    rows = contacts.grasp[:n, 0, :]
    # Turns about the locators' own middle, in their own length: points far from the origin lose no digits.
    centre = contacts.at[:n].mean(axis=0) if n else np.zeros(3)
    rows = np.column_stack([rows[:, :3], np.cross(contacts.at[:n] - centre, contacts.normal[:n]) / contacts.length])
    if n < 6 or np.linalg.matrix_rank(rows, tol=1e-9) < 6:
        raise ValueError(f"{n} locators of rank {np.linalg.matrix_rank(rows)}; six independent are needed")
    stiff = contacts.stiffness[:n, None] * rows
    back = np.linalg.solve(rows.T @ stiff, stiff.T) * np.broadcast_to(np.asarray(locator, dtype=float), (n,))
    turned = np.radians(index_arc / 3600.0) * np.broadcast_to(np.asarray(radius, dtype=float), (len(points),))
    answers = []
    for point, arc in zip(np.asarray(points, dtype=float).reshape(-1, 3), turned, strict=True):
        arm = (point - centre) / contacts.length
        cross = np.array([[0, arm[2], -arm[1]], [-arm[2], 0, arm[0]], [arm[1], -arm[0], 0]])
        moved = back[:3] + cross @ back[3:]
        worst = np.abs(moved).sum(axis=1) + carrier + arc
        spread = np.sqrt((moved**2).sum(axis=1) + carrier**2 + arc**2)
        answers.append(PlaceError(_vec(worst), _vec(spread)))
    return tuple(answers)


def _vec(values: Array) -> Vec:
    return float(values[0]), float(values[1]), float(values[2])
