"""Every load that the cuts can put on the part: extreme tool positions times every direction of the push."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls
from scipy.spatial import ConvexHull, QhullError

from palletwright.cutting.model import Load
from palletwright.holding.contacts import Array, wrench
from palletwright.holding.model import Wrench
from palletwright.verdict import Vec

# Side directions of a cut, evenly around its axis, on the circle's outside: never below the true push.
SIDES = 12
_MOST_CORNERS = 6


class StationCut(NamedTuple):
    """One cut in the station frame: its name, tool tip positions (n, 3) mm, direction to the spindle, its load."""

    name: str
    tips: NDArray[np.float64]
    direction: Vec
    load: Load


class Loads(NamedTuple):
    """k loads: points (k, 3) mm, forces (k, 3) N, free moments (k, 3) N·mm, names, and the cut's row (k,)."""

    at: Array
    force: Array
    moment: Array
    names: tuple[str, ...]
    cut: NDArray[np.int64]

    @property
    def wrenches(self) -> Array:
        """(k, 6) about the origin."""
        return wrench(self.at, self.force, self.moment)


def across(direction: Array) -> tuple[Array, Array]:
    """Two unit vectors square to `direction`, the first along the frame's x or, if that is the direction, y."""
    seed = np.eye(3)[0 if abs(direction[0]) < 0.7 else 1]
    first = seed - (seed @ direction) * direction
    first /= np.linalg.norm(first)
    return first, np.cross(direction, first)


def extreme_tips(tips: Array, direction: Array) -> Array:
    """(c, 3) positions whose hull holds all `tips` (n, 3), at most 12.

    A wrench is linear in the tip's position, so checking these covers every tip. Square to the direction: the hull's
    corners, or the box around them if there are more than six; along it: the deepest and the highest tip.
    """
    u, v = across(direction)
    flat = np.column_stack([tips @ u, tips @ v])
    corners = np.unique(np.round(flat, 6), axis=0)
    if len(corners) > 2:
        try:
            corners = corners[ConvexHull(corners).vertices]
        except QhullError:  # all on one line: its ends
            order = np.argsort(corners @ (corners[-1] - corners[0]))
            corners = corners[order[[0, -1]]]
    if len(corners) > _MOST_CORNERS:
        low, high = corners.min(axis=0), corners.max(axis=0)
        corners = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
    heights = np.unique(np.round([(tips @ direction).min(), (tips @ direction).max()], 6))
    return np.array([a * u + b * v + h * direction for a, b in corners for h in heights])


def loads_of(cuts: Sequence[StationCut | tuple[str, Array, Vec, Load]], *, with_spread: bool = True) -> Loads:
    """All loads of the cuts: corners × (side directions) × push or pull × torque sign.

    `with_spread` takes every force at the upper end of its spread. Forces act on the part: a push goes against the
    cut's direction, a pull along it.
    """
    at, force, moment, names, rows = [], [], [], [], []
    for row, (name, tips, towards, load) in enumerate(cuts):
        direction = np.asarray(towards, dtype=float) / np.linalg.norm(towards)
        grown = 1.0 + load.spread if with_spread else 1.0
        pushes = _pushes(direction, load)
        for corner in extreme_tips(np.asarray(tips, dtype=float).reshape(-1, 3), direction):
            place = f"({corner[0]:.1f}, {corner[1]:.1f}, {corner[2]:.1f})"
            for push, torque, told in pushes:
                at.append(corner)
                force.append(grown * push)
                moment.append(grown * torque)
                names.append(f"{name} at {place}: {told}")
                rows.append(row)
    return Loads(
        np.array(at).reshape(-1, 3),
        np.array(force).reshape(-1, 3),
        np.array(moment).reshape(-1, 3),
        tuple(names),
        np.array(rows, dtype=np.int64),
    )


def undominated(cuts: Sequence[StationCut | tuple[str, Array, Vec, Load]]) -> list[StationCut]:
    """The cuts less those that another covers: same direction, tips inside its box, no force or torque greater.

    Every load of a covered cut is a mean of the other's loads and none, so it can't have the least friction factor.
    """
    rows = [StationCut(c[0], np.asarray(c[1], dtype=float).reshape(-1, 3), c[2], c[3]) for c in cuts]
    kept: list[StationCut] = []
    for cut in sorted(rows, key=lambda c: -max(c.load.side, c.load.push, c.load.pull)):
        if not any(_covers(other, cut) for other in kept):
            kept.append(cut)
    return sorted(kept, key=lambda c: [r is c for r in rows].index(True))


def _covers(big: StationCut, small: StationCut) -> bool:
    if not np.allclose(big.direction, small.direction, atol=1e-9):
        return False
    a, b = (
        (1.0 + c.load.spread) * np.array([c.load.side, c.load.push, c.load.pull, c.load.torque]) for c in (big, small)
    )
    if (a < b).any():
        return False
    # The corners of the big cut's hull: the small one's corners must be means of them.
    corners = extreme_tips(big.tips, np.asarray(big.direction) / np.linalg.norm(big.direction))
    return all(_inside(corners, tip) for tip in extreme_tips(small.tips, np.asarray(big.direction, dtype=float)))


def _inside(corners: Array, point: Array) -> bool:
    _, left = nnls(np.vstack([corners.T, np.ones(len(corners))]), np.append(point, 1.0))
    return bool(left < 1e-6)


def _pushes(direction: Array, load: Load) -> list[tuple[Array, Array, str]]:
    """(force, moment, told) of one cut at one place."""
    u, v = across(direction)
    sides = [(np.zeros(3), "")]
    if load.side > 0:
        outside = load.side / np.cos(np.pi / SIDES)
        turns = 2.0 * np.pi * np.arange(SIDES) / SIDES
        sides = [(outside * (np.cos(a) * u + np.sin(a) * v), "") for a in turns]
        sides = [(f, f"{load.side:.0f} N towards {_told(f)}") for f, _ in sides]
    axial = {(-load.push, "pushed in"), (load.pull, "pulled out")}
    torques = {load.torque, -load.torque}
    return [
        (side + along * direction, 1000.0 * torque * direction, ", ".join(t for t in (told, way, _turn(torque)) if t))
        for side, told in sides
        for along, way in sorted(axial)
        for torque in sorted(torques)
    ]


def _told(force: Array) -> str:
    unit = force / np.linalg.norm(force)
    return " ".join(
        f"{'+' if c > 0 else '-'}{n}{abs(c):.2f}" for n, c in zip("xyz", unit, strict=True) if abs(c) > 0.05
    )


def _turn(torque: float) -> str:
    return f"torque {torque:+.1f} N·m" if torque else ""


def wrenches(
    cuts: Sequence[StationCut | tuple[str, Array, Vec, Load]], *, with_spread: bool = True
) -> tuple[Wrench, ...]:
    """The loads of `loads_of`, one named `Wrench` each."""
    loads = loads_of(cuts, with_spread=with_spread)
    return tuple(Wrench(*rows) for rows in zip(loads.at, loads.force, loads.moment, loads.names, strict=True))


def in_station(tips: Array, direction: Vec, pose: Array) -> tuple[Array, Vec]:
    """Tips (n, 3) and direction of the part frame in the station frame; `pose` (4, 4) is T_station_part."""
    turned = pose[:3, :3] @ np.asarray(direction, dtype=float)
    return np.asarray(tips) @ pose[:3, :3].T + pose[:3, 3], (float(turned[0]), float(turned[1]), float(turned[2]))
