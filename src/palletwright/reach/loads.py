"""What hangs on the table and on the rotary axis: payloads, out of balance, the brake against the cut, lift weight."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from palletwright.reach.task import Task
from palletwright.scene import Body, Mount, Scene, index_angle, turning
from palletwright.shop.model import Floors, Machine
from palletwright.verdict import Margin, Reason

Floats = NDArray[np.float64]

GRAVITY = 9.81
"""m/s², rounded up from the standard 9.80665."""
STEEL, ALUMINIUM = 7850.0, 2700.0
"""kg/m³; common practice, no source."""


@dataclass(frozen=True, eq=False)
class Force:
    """The greatest forces of one task's cut: `side` N square to the tool, `push` N along it, spread included."""

    task: Task
    side: float
    push: float


@dataclass(frozen=True)
class MountLoad:
    """One mount with all its parts on: mass kg; on a rotary, inertia about its axis kg·m² and the torques N·m that
    gravity puts on the axis at the worst angle when full, empty, and loaded in the worst way in between."""

    mount: str
    mass: float
    inertia: float = 0.0
    full: float = 0.0
    empty: float = 0.0
    half: float = 0.0


@dataclass(frozen=True)
class Loads:
    """What the mounts weigh and put on the axis, with margins and what should be said."""

    mounts: tuple[MountLoad, ...]
    margins: tuple[Margin, ...]
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, eq=False)
class _Mass:
    body: Body
    kg: float
    centre: Floats
    inertia: Floats


def loads(
    scene: Scene,
    machine: Machine,
    floors: Floors,
    densities: Mapping[str, float],
    forces: Sequence[Force] = (),
    *,
    factor: float | None = None,
) -> Loads:
    """Masses, out of balance and brake of one scene.

    Parameters
    ----------
    densities : kg/m³ by body id, or by body kind where the id isn't in it
    forces : the cuts on rotary mounts; their torque about the axis is side·|dz| + push·|dy| at the tip, with dz, dy
        the tip's height over the axis and its distance beside it at its index angle
    factor : safety of the brake against gravity and cut together; by default the floor for holding

    A part that is in the scene as blank and as cut weighs as the heavier. The rotary unit's own mass isn't known and
    not counted. Raises ValueError for a body without a density or with a mesh that isn't closed.
    """
    by_mount: dict[str, list[_Mass]] = {m.id: [] for m in scene.mounts}
    for mass in _masses(scene, densities):
        by_mount[_mount_of(mass.body, scene)].append(mass)
    out, margins, reasons = [], [], []
    safety = floors.holding if factor is None else factor
    for mount in scene.mounts:
        load = _load(mount, by_mount[mount.id])
        out.append(load)
        if mount.rotary and machine.rotary is not None:
            payload = machine.rotary.payload
            margins.append(Margin("rotary payload", mount.id, "rotary", load.mass, payload, "kg"))
            margins.append(_brake(load, mount, machine.rotary.brake_torque, forces, safety))
            text = f"inertia about the axis {load.inertia:.3f} kg·m²; the machine's file gives no limit for it"
            reasons.append(Reason(mount.id, text, round(load.inertia, 6), "kg·m²"))
        if load.mass > floors.lift_kg:
            text = f"weighs {load.mass:.1f} kg loaded: more than one person should lift; local rules decide"
            reasons.append(Reason(mount.id, text, load.mass - floors.lift_kg, "kg"))
    total = sum(load.mass for load in out)
    note = "without the rotary unit's own mass" if machine.rotary else ""
    margins.append(Margin("table payload", "set", "table", total, machine.table_payload, "kg", note=note))
    return Loads(tuple(out), tuple(margins), tuple(reasons))


def _mount_of(body: Body, scene: Scene) -> str:
    """The mount that a body is on: its group, or for a fixed one the mount whose carrier it stands on."""
    if body.group != "table":
        return body.group
    fixed = [m for m in scene.mounts if not m.rotary]
    for m in fixed:
        if body.id.startswith(f"{m.id}/"):
            return m.id
    return min(fixed, key=lambda m: float(np.linalg.norm(body.pose[:2, 3] - m.pose[:2, 3]))).id


def _masses(scene: Scene, densities: Mapping[str, float]) -> list[_Mass]:
    import trimesh

    out: dict[tuple[str, ...], _Mass] = {}
    for b in scene.bodies:
        if b.kind in ("table", "rotary", "tailstock"):
            continue
        density = densities.get(b.id, densities.get(b.kind))
        if density is None:
            raise ValueError(f"no density for body {b.id} nor for kind {b.kind}")
        if b.mesh.volume <= 0:
            raise ValueError(f"body {b.id} has a mesh that doesn't enclose a volume: no mass can be computed")
        found = trimesh.triangles.mass_properties(b.mesh.corners, density=density * 1e-9)
        turn = b.pose[:3, :3]
        centre = turn @ np.asarray(found["center_mass"]) + b.pose[:3, 3]
        mass = _Mass(b, float(found["mass"]), centre, turn @ np.asarray(found["inertia"]) @ turn.T)
        key = (b.owner, *_name_without_state(b)) if b.kind == "part" else (b.id,)
        if key not in out or mass.kg > out[key].kg:
            out[key] = mass
    return list(out.values())


def _name_without_state(body: Body) -> tuple[str, ...]:
    words = body.id.replace("/", " ").replace("-", " ").replace("_", " ").split()
    return tuple(w for w in words if w not in ("blank", "cut"))


def _load(mount: Mount, masses: Sequence[_Mass]) -> MountLoad:
    total = sum(m.kg for m in masses)
    if not mount.rotary:
        return MountLoad(mount.id, total)
    axis = np.asarray(mount.axis)
    inertia, parts, rest = 0.0, [], np.zeros(3)
    for m in masses:
        arm = m.centre - np.asarray(mount.axis_point)
        arm = arm - (arm @ axis) * axis
        inertia += float(axis @ m.inertia @ axis + m.kg * (arm @ arm)) * 1e-6
        moment = m.kg * GRAVITY * arm * 1e-3
        if m.body.kind == "part":
            parts.append(moment)
        else:
            rest = rest + moment
    full = float(np.linalg.norm(rest + sum(parts, np.zeros(3))))
    half = _worst_subset(rest, parts, axis)
    return MountLoad(mount.id, total, inertia, full, float(np.linalg.norm(rest)), half)


def _worst_subset(rest: Floats, parts: Sequence[Floats], axis: Floats) -> float:
    """The greatest length of rest + any subset's sum: for the direction it points in, every part that adds is in.

    The subset changes only where the direction is square to a part's moment, so one direction between each two of
    these places finds it exactly.
    """
    if not parts:
        return float(np.linalg.norm(rest))
    across = np.cross(axis, [0.0, 0.0, 1.0]) if abs(axis[2]) < 0.9 else np.array([1.0, 0.0, 0.0])
    plane = np.stack([across, np.cross(axis, across)])
    flat = np.array(parts) @ plane.T
    turns = np.sort(np.concatenate([np.arctan2(flat[:, 1], flat[:, 0]) + s * np.pi / 2 for s in (-1, 1)]) % (2 * np.pi))
    between = (turns + np.append(turns[1:], turns[0] + 2 * np.pi)) / 2
    chosen = (flat @ np.stack([np.cos(between), np.sin(between)])) > 0
    sums = chosen.T.astype(float) @ flat + plane @ rest
    return float(max(np.linalg.norm(sums, axis=1).max(), np.linalg.norm(rest)))


def _brake(load: MountLoad, mount: Mount, torque: float, forces: Sequence[Force], factor: float) -> Margin:
    """Gravity at its worst with the worst cut against the brake."""
    worst, by = 0.0, ""
    for f in forces:
        angle, _ = index_angle(f.task.direction, mount)
        if f.task.mount != mount.id or angle is None:
            continue
        move = turning(mount, angle)
        arm = f.task.tips @ move[:3, :3].T + move[:3, 3] - np.asarray(mount.axis_point)
        beside = np.abs(arm @ np.cross(np.asarray(mount.axis), [0.0, 0.0, 1.0]))
        cut = float((f.side * np.abs(arm[:, 2]) + f.push * beside).max()) * 1e-3
        if cut > worst:
            worst, by = cut, f"{f.task.cut} at {f.task.station}"
    gravity = max(load.full, load.half, load.empty)
    note = f"factor {factor:g} on {gravity:.1f} N·m out of balance and {worst:.1f} N·m from the cut"
    margin = Margin("rotary brake", mount.id, "brake", factor * (gravity + worst), torque, "N·m", note=note)
    return replace(margin, note=f"{note} {by}") if by else margin
