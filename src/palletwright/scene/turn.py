"""Turning a mount about its rotary axis, right-handed about the axis vector."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from palletwright.scene.model import Body, Mount

Floats = NDArray[np.float64]

TILT = 0.1
"""degrees by which a direction may lean off the spindle; from memory, unconfirmed (directions are clustered to far
less, so a real lean is far more)."""


def rotation(axis: Sequence[float], degrees: float) -> Floats:
    """(3, 3) right-handed rotation about a unit vector; exact at quarter turns."""
    a = np.asarray(axis, dtype=np.float64)
    quarter = degrees / 90.0
    if abs(quarter - round(quarter)) < 1e-12:
        c, s = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[round(quarter) % 4]
    else:
        c, s = float(np.cos(np.radians(degrees))), float(np.sin(np.radians(degrees)))
    cross = np.array([[0.0, -a[2], a[1]], [a[2], 0.0, -a[0]], [-a[1], a[0], 0.0]])
    return np.asarray(c * np.eye(3) + s * cross + (1 - c) * np.outer(a, a))


def turning(mount: Mount, degrees: float) -> Floats:
    """(4, 4) that maps the machine frame at angle 0 to where the mount's bodies are at `degrees`."""
    move = np.eye(4)
    if mount.rotary and degrees != 0.0:
        point = np.asarray(mount.axis_point)
        move[:3, :3] = rotation(mount.axis, degrees)
        move[:3, 3] = point - move[:3, :3] @ point
    return move


def turned(body: Body, mount: Mount, angle: float) -> Floats:
    """The body's pose (4, 4) in the machine with the mount at `angle` degrees; what isn't on it stays."""
    if body.group != mount.id:
        return body.pose
    return np.asarray(turning(mount, angle) @ body.pose)


def index_angle(direction: Sequence[float], mount: Mount) -> tuple[float | None, float]:
    """(angle in degrees in [0, 360) that turns `direction` to the spindle, or None; lean in degrees).

    direction : (3,) machine frame at angle 0, towards the spindle. On a rotary mount it must be square to the axis
    within TILT: |d·a| <= sin(TILT); on a fixed one it must be +z. The lean is what is left over in any case.
    """
    d = np.asarray(direction, dtype=np.float64)
    d = d / np.linalg.norm(d)
    if not mount.rotary:
        lean = float(np.degrees(np.arccos(np.clip(d[2], -1.0, 1.0))))
        return (0.0 if lean <= TILT else None), lean
    axis = np.asarray(mount.axis)
    lean = float(np.degrees(np.arcsin(np.clip(abs(d @ axis), 0.0, 1.0))))
    if lean > TILT:
        return None, lean
    across = d - (d @ axis) * axis
    up = np.array([0.0, 0.0, 1.0])
    angle = float(np.degrees(np.arctan2(axis @ np.cross(across, up), across @ up)))
    return round(angle, 9) % 360.0, lean
