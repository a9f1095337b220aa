"""Seconds from the end of one visit to the start of the next, for all pairs of visits.

One way of getting there, and the same in the events: a tool change is taken chip to chip (retract and approach are
in it, ISO 10791-9) plus the rapid across; an index retracts to `retract_z`, turns and clamps, moves across and
comes down; a move to another feature retracts to `clear_z`, moves across, and comes down. `clear_z` is one height, or
one for each mount, angle and tool (`obstacles.clear_heights`); from one such group to another it is `retract_z`.
Every move ends at rest, so no time is promised that needs blending.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from palletwright.cycle.model import Crossing, Visit, crossing
from palletwright.cycle.motion import Axes, axes_of, rapid_seconds, rest_to_rest
from palletwright.shop.model import Machine

Floats = NDArray[np.float64]
Clear = float | Mapping[Crossing, float]
IndexTime = float | Callable[[float, float], float] | None


@dataclass(frozen=True, eq=False)
class Moves:
    """What a change from visit a to visit b costs, (n, n) s each: `tool`, `index`, `rapid`; `total` their sum.

    `angle_key` (n,) numbers the (rotary mount, angle) pairs, -1 on a mount that doesn't turn.
    """

    tool: Floats
    index: Floats
    rapid: Floats
    angle_key: NDArray[np.int64]
    mount_key: NDArray[np.int64]
    tool_key: NDArray[np.int64]

    @property
    def total(self) -> Floats:
        return self.tool + self.index + self.rapid


def index_time(machine: Machine, index_seconds: IndexTime, a: float, b: float) -> float:
    """Seconds to turn from angle a to b, clamp included: the user's own, or the rotary's time for a quarter turn,
    for a smaller turn as well (the clamp is most of it), in proportion for a greater one (an upper estimate)."""
    if callable(index_seconds):
        return float(index_seconds(a, b))
    turn = abs((b - a + 180.0) % 360.0 - 180.0)
    if turn < 1e-6:
        return 0.0
    if index_seconds is not None:
        return float(index_seconds)
    if machine.rotary is None:
        raise ValueError(f"visits need angles {a:g}° and {b:g}° but machine {machine.id} has no rotary axis")
    return machine.rotary.index_time * max(1.0, turn / 90.0)


def rotary_mounts(visits: Sequence[Visit]) -> frozenset[str]:
    """Mounts that are visited at more than one angle: only these turn within the cycle."""
    angles: dict[str, set[float]] = {}
    for visit in visits:
        angles.setdefault(visit.mount, set()).add(visit.angle % 360.0)
    return frozenset(mount for mount, seen in angles.items() if len(seen) > 1)


def moves_between(
    visits: Sequence[Visit], machine: Machine, retract_z: float, clear_z: Clear, index_seconds: IndexTime
) -> Moves:
    """All pairs at once. From a fixed mount to a turning one no index is counted here; the events count it."""
    turning = rotary_mounts(visits)
    keys = sorted({(v.mount, v.angle % 360.0) for v in visits if v.mount in turning})
    number = {key: k for k, key in enumerate(keys)}
    turn = np.zeros((len(keys) + 1, len(keys) + 1))
    for i, (mount, a) in enumerate(keys):
        for j, (other, b) in enumerate(keys):
            turn[i, j] = index_time(machine, index_seconds, a, b) if mount == other else 0.0
    angle = np.array([number.get((v.mount, v.angle % 360.0), -1) for v in visits], dtype=np.int64)
    tools = np.array([v.tool for v in visits], dtype=np.int64)
    mounts = {name: k for k, name in enumerate(sorted({v.mount for v in visits}))}
    place = np.array([mounts[v.mount] for v in visits], dtype=np.int64)
    index = turn[np.ix_(angle, angle)]
    change = tools[:, None] != tools[None, :]
    turned = (place[:, None] == place[None, :]) & (angle[:, None] != angle[None, :])
    clear = _clear(visits, retract_z, clear_z)
    rapid = _rapids(visits, axes_of(machine), retract_z, clear, change, turned)
    return Moves(np.where(change, machine.chip_to_chip, 0.0), index, rapid, angle, place, tools)


def _clear(visits: Sequence[Visit], retract_z: float, clear_z: Clear) -> Floats:
    """(n, n) mm, the height on the way across from visit to visit."""
    if not isinstance(clear_z, Mapping):
        return np.full((len(visits), len(visits)), clear_z)
    groups = [crossing(v) for v in visits]
    heights = np.array([clear_z.get(group, retract_z) for group in groups])
    names = {group: k for k, group in enumerate(dict.fromkeys(groups))}
    number = np.array([names[group] for group in groups])
    return np.where(number[:, None] == number[None, :], heights[:, None], retract_z)


def _rapids(
    visits: Sequence[Visit],
    axes: Axes,
    retract_z: float,
    clear: Floats,
    change: NDArray[np.bool_],
    turned: NDArray[np.bool_],
) -> Floats:
    end = np.array([v.end for v in visits], dtype=float).reshape(-1, 3)
    start = np.array([v.start for v in visits], dtype=float).reshape(-1, 3)
    spot = {key: k for k, key in enumerate(sorted({(v.station, v.feature) for v in visits}))}
    where = np.array([spot[v.station, v.feature] for v in visits])
    flat = start[None, :, :] - end[:, None, :]
    flat[..., 2] = 0.0
    across = rapid_seconds(flat, axes)
    up = np.maximum(end[:, 2][:, None], start[:, 2][None, :])
    same = where[:, None] == where[None, :]
    top = np.where(turned, np.maximum(up, retract_z), np.where(same, up, np.maximum(up, clear)))
    vertical = _along_z(top - end[:, 2][:, None], axes) + _along_z(top - start[:, 2][None, :], axes)
    return across + np.where(change, 0.0, vertical)


def _along_z(length: Floats, axes: Axes) -> Floats:
    return rest_to_rest(length, axes.speed[2], axes.acceleration[2], axes.jerk)
