"""The tool of a margin where it stands nearest to its obstacle, for a picture with a dimension line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from palletwright.plan.context import Context
from palletwright.plan.evaluate import cycles_of
from palletwright.plan.model import Design
from palletwright.plan.options import Option
from palletwright.plan.scenes import scene_of, tasks_of
from palletwright.reach import Task
from palletwright.scene import Mount, index_angle, turning

Floats = NDArray[np.float64]
Stack = Sequence[tuple[float, float, float]]


def tool_at(context: Context, design: Design, chosen: dict[int, Option], margin: dict[str, Any]) -> dict[str, Any]:
    """Tip, stack (radius, from, to over the tip, mm), index angle and the line from the tool to the obstacle.

    Raises LookupError where the margin names no cut of the design.
    """
    where = np.asarray(margin["where"], dtype=np.float64)
    best: tuple[float, dict[str, Any]] | None = None
    for task, mount in _tasks(context, design, chosen, margin):
        angle, _ = index_angle(task.direction, mount)
        if angle is None:
            continue
        move = turning(mount, angle)
        tips = task.tips @ move[:3, :3].T + move[:3, 3]
        gaps = distances(tips, task.tool.stack(), where)
        k = int(np.argmin(gaps))
        if best is None or gaps[k] < best[0]:
            line = {"from": nearest_point(tips[k], task.tool.stack(), where), "to": where}
            best = float(gaps[k]), {"tip": tips[k], "stack": task.tool.stack(), "angle": angle, "cut": task.cut} | line
    if best is None:
        raise LookupError(f"no cut of {margin['subject']} was found")
    return best[1]


def _tasks(
    context: Context, design: Design, chosen: dict[int, Option], margin: dict[str, Any]
) -> Iterator[tuple[Task, Mount]]:
    """The cuts that a margin can speak of, each with its mount."""
    station, _, tool = str(margin["subject"]).partition(" ")
    cut = str(margin.get("note", "")).partition(" at ")[0]
    for cycle in cycles_of(design):
        mounts = {m.id: m for m in scene_of(context, design, chosen, cycle).mounts}
        for task in tasks_of(context, design, chosen, cycle):
            if task.station == station and task.tool.id == tool and cut in ("", task.cut):
                yield task, mounts[task.mount]


def distances(tips: Floats, stack: Stack, where: Floats) -> Floats:
    """(n,) mm from a point to a tool standing upright at each of (n, 3) tips; 0 inside it."""
    out = np.linalg.norm(tips[:, :2] - where[:2], axis=1)
    gap = np.full(len(tips), np.inf)
    for radius, low, high in stack:
        up = np.maximum(0.0, np.maximum(tips[:, 2] + low - where[2], where[2] - tips[:, 2] - high))
        gap = np.minimum(gap, np.hypot(np.maximum(0.0, out - radius), up))
    return gap


def nearest_point(tip: Floats, stack: Stack, where: Floats) -> Floats:
    """(3,) the point of an upright tool that is nearest to `where`."""
    across = where[:2] - tip[:2]
    out = float(np.linalg.norm(across)) or 1e-9
    points = []
    for radius, low, high in stack:
        z = min(max(float(where[2]), tip[2] + low), tip[2] + high)
        r = min(radius, out)
        points.append(np.array([tip[0] + across[0] / out * r, tip[1] + across[1] / out * r, z]))
    return min(points, key=lambda p: float(np.linalg.norm(p - where)))
