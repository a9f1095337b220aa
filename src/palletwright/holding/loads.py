"""Every load that the cuts can put on the part: extreme tool positions times every direction of the push."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError

from palletwright.cutting.model import Load
from palletwright.grip.sweeps import distance_to_hull
from palletwright.holding.contacts import Array, wrench
from palletwright.holding.model import Wrench
from palletwright.verdict import Vec

# Side directions of a cut, evenly around its axis, on the circle's outside: never below the true push.
SIDES = 12
_MOST_CORNERS = 6
_SAME = 1e-6  # mm


class StationCut(NamedTuple):
    """One cut in the station frame: its name, tool tip positions (n, 3) mm, direction to the spindle, its load."""

    name: str
    tips: NDArray[np.float64]
    direction: Vec
    load: Load


@dataclass(frozen=True, eq=False)
class Loads:
    """k loads: points (k, 3) mm, forces (k, 3) N, free moments (k, 3) N·mm, the cut's row (k,); `name` tells one."""

    at: Array
    force: Array
    moment: Array
    cut: NDArray[np.int64]
    told: tuple[tuple[str, str], ...]

    def __len__(self) -> int:
        return len(self.at)

    @property
    def wrenches(self) -> Array:
        """(k, 6) about the origin."""
        return wrench(self.at, self.force, self.moment)

    def name(self, row: int) -> str:
        """The cut, the tool's position and the push of one load."""
        cut, push = self.told[row]
        x, y, z = self.at[row]
        return f"{cut} at ({x:.1f}, {y:.1f}, {z:.1f}): {push}"

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(self.name(k) for k in range(len(self)))


@dataclass(frozen=True, eq=False)
class Prism:
    """What holds all tips of a cut: a ring (c, 2) of the plane square to its direction, from `low` to `high` (mm)."""

    ring: Array
    low: float
    high: float

    def holds(self, other: Prism) -> bool:
        """Whether another prism of the same direction lies inside, within 1e-6 mm."""
        if other.low < self.low - _SAME or other.high > self.high + _SAME:
            return False
        if (other.ring.min(axis=0) < self.ring.min(axis=0) - _SAME).any():
            return False
        if (other.ring.max(axis=0) > self.ring.max(axis=0) + _SAME).any():
            return False
        return bool((distance_to_hull(other.ring, self.ring) <= _SAME).all())


def across(direction: Array) -> tuple[Array, Array]:
    """Two unit vectors square to `direction`, the first along the frame's x or, if that is the direction, y."""
    seed = np.eye(3)[0 if abs(direction[0]) < 0.7 else 1]
    first = seed - (seed @ direction) * direction
    first /= np.linalg.norm(first)
    return first, np.cross(direction, first)


def prism_of(tips: Array, direction: Array) -> Prism:
    """The prism along the unit vector `direction` that holds all `tips` (n, 3).

    Its ring is the hull's, or the box around it where that has more than six corners.
    """
    u, v = across(direction)
    flat = np.round(np.column_stack([tips @ u, tips @ v]), 6).astype(np.float64)
    heights = np.round(tips @ direction, 6)
    low, high = flat.min(axis=0), flat.max(axis=0)
    return Prism(_ring(flat, low, high), float(heights.min()), float(heights.max()))


def _ring(flat: Array, low: Array, high: Array) -> Array:
    if (low == high).all():
        return flat[:1]
    if (low == high).any():
        return np.array([low, high])
    box = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
    if len(flat) == 2:
        return flat
    try:
        corners = flat[ConvexHull(flat).vertices]
    except QhullError:  # all on one line: its ends
        order = np.argsort(flat @ (flat[-1] - flat[0]))
        corners = flat[order[[0, -1]]]
    return corners if len(corners) <= _MOST_CORNERS else box


def extreme_tips(tips: Array, direction: Array) -> Array:
    """(c, 3) positions whose hull holds all `tips` (n, 3), at most 12.

    A wrench is linear in the tip's position, so checking these covers every tip. Square to the direction: the hull's
    corners, or the box around them if there are more than six; along it: the deepest and the highest tip.
    """
    return _corners(prism_of(tips, direction), direction)


def _corners(prism: Prism, direction: Array) -> Array:
    u, v = across(direction)
    heights = [prism.low] if prism.low == prism.high else [prism.low, prism.high]
    return np.array([a * u + b * v + h * direction for a, b in prism.ring for h in heights])


def _unit(direction: Vec) -> Array:
    return np.asarray(direction, dtype=float) / float(np.linalg.norm(direction))


def loads_of(cuts: Sequence[StationCut | tuple[str, Array, Vec, Load]], *, with_spread: bool = True) -> Loads:
    """All loads of the cuts: corners × (side directions) × push or pull × torque sign.

    `with_spread` takes every force at the upper end of its spread. Forces act on the part: a push goes against the
    cut's direction, a pull along it.
    """
    at: list[Array] = [np.zeros((0, 3))]
    force, moment, rows = list(at), list(at), [np.zeros(0, dtype=np.int64)]
    told: list[tuple[str, str]] = []
    for row, (name, tips, towards, load) in enumerate(cuts):
        direction = _unit(towards)
        grown = 1.0 + load.spread if with_spread else 1.0
        pushes = _pushes(direction, load)
        corners = extreme_tips(np.asarray(tips, dtype=float).reshape(-1, 3), direction)
        at.append(np.repeat(corners, len(pushes), axis=0))
        force.append(np.tile(grown * np.array([p for p, _, _ in pushes]), (len(corners), 1)))
        moment.append(np.tile(grown * np.array([m for _, m, _ in pushes]), (len(corners), 1)))
        rows.append(np.full(len(corners) * len(pushes), row, dtype=np.int64))
        told += [(name, text) for _, _, text in pushes] * len(corners)
    return Loads(np.concatenate(at), np.concatenate(force), np.concatenate(moment), np.concatenate(rows), tuple(told))


def undominated(cuts: Sequence[StationCut | tuple[str, Array, Vec, Load]]) -> list[StationCut]:
    """The cuts less those that another covers: same direction, tips inside its prism, no force or torque greater.

    Every load of a covered cut is a mean of the other's loads and none, so it can't have the least friction factor.
    """
    rows = [StationCut(c[0], np.asarray(c[1], dtype=float).reshape(-1, 3), c[2], c[3]) for c in cuts]
    kept: list[tuple[int, Array, Array, Prism]] = []
    for k in sorted(range(len(rows)), key=lambda k: -max(rows[k].load.side, rows[k].load.push, rows[k].load.pull)):
        direction, load = _unit(rows[k].direction), rows[k].load
        forces = (1.0 + load.spread) * np.array([load.side, load.push, load.pull, load.torque])
        prism = prism_of(rows[k].tips, direction)
        if not any(
            (most >= forces).all() and np.abs(way - direction).max() < 1e-9 and big.holds(prism)
            for _, way, most, big in kept
        ):
            kept.append((k, direction, forces, prism))
    return [rows[k] for k in sorted(k for k, _, _, _ in kept)]


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
