"""Every tool at every station against everything in the machine: numbers in mm, and to what they were measured."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import blake2b

import numpy as np
from numpy.typing import NDArray

from palletwright.field import (
    HeightField,
    Least,
    OwnedField,
    coarse,
    extent,
    gathered,
    least_clearance,
    name_at,
    without,
)
from palletwright.progress import Report, silent
from palletwright.reach.envelope import beyond_travel, envelope_margins
from palletwright.reach.model import ReachReport
from palletwright.reach.obstacles import Rasters, field_at, moves_of, placed
from palletwright.reach.own import Sweep, own_clearance, top_of
from palletwright.reach.task import Task, nose_stack, wide_rows
from palletwright.scene import TILT, Mount, Scene, index_angle, turning
from palletwright.shop.model import Floors, Machine
from palletwright.solid.model import Mesh
from palletwright.verdict import Margin, Reason

Floats = NDArray[np.float64]

LOOK = 30.0
"""mm up to which clearances are measured: more reads as this much, to nothing."""
MEASURED = 0.5
"""Share of the cutter's floor that is asked where tools are measured in the machine: 1 mm of 2; common practice, no
source."""


@dataclass(frozen=True, eq=False)
class Turned:
    """A task as the machine stands when it is cut: angle in degrees, tips (n, 3) and entry turned with it."""

    task: Task
    angle: float
    tips: Floats
    entry: float
    group: int


@dataclass(frozen=True, eq=False)
class _Setting:
    """What all checks of one call share."""

    scene: Scene
    machine: Machine
    pitch: float
    look: float
    need: float
    nose: float
    drop: float
    own: tuple[tuple[int, ...], ...]
    group_by_task: tuple[int, ...]
    group_of: tuple[int, ...]
    rasters: Rasters


def check(
    scene: Scene,
    tasks: Sequence[Task],
    machine: Machine,
    floors: Floors,
    *,
    pitch: float = 0.5,
    look: float = LOOK,
    progress: Report = silent,
    rasters: Rasters | None = None,
) -> ReachReport:
    """Least clearance of every tool assembly and the spindle nose, travel, swing, indexing and daylight.

    Parameters
    ----------
    scene : all bodies; stock and cut state of a neighbour may both be in it, then the worse counts
    tasks : every cut at every station, those on one part in the order in which they are cut
    floors : least margins; without a tool setter every tool may hang lower by `tool_setting_error`
    pitch : mm of the height fields
    look : mm up to which clearances are measured; 0 gives the verdict alone, sooner: what is clear then has its need
    progress : hears of every set of index angles done
    rasters : hand the same one to many layouts of one search

    The tool comes straight down from above everything, so approach and retract are covered. One margin for every
    check, station and tool, the worst; `conflicts` are the pairs behind the ones that fail.
    """
    setting = _setting(scene, tasks, machine, floors, (pitch, look), Rasters() if rasters is None else rasters)
    mounts = {m.id: m for m in scene.mounts}
    turned, margins = _turned(tasks, mounts, setting)
    conflicts: set[tuple[str, str]] = set()
    states = _states(turned, mounts)
    for done, (angles, here) in enumerate(states):
        progress("reach", done, len(states))
        for margin, pair in _at_angles(setting, angles, here):
            margins.append(margin)
            if not margin.passed:
                conflicts.add(pair)
    placed = [(t.task, t.tips, t.entry) for t in turned]
    margins += envelope_margins(scene, placed, machine, floors)
    conflicts |= beyond_travel(placed, machine)
    worst = _worst(margins)
    clear = [m.have for m in worst if m.check in ("tool clearance", "nose clearance")]
    reasons = tuple(Reason(m.subject, _sentence(m), -m.spare, m.unit) for m in worst if not m.passed)
    return ReachReport(worst, tuple(sorted(conflicts)), min(clear, default=None), reasons)


def _sentence(m: Margin) -> str:
    to = f" to {m.obstacle}" if m.obstacle else ""
    return f"{m.check}{to}: {m.have:.2f} {m.unit}, needs {m.need:.2f}" + (f"; {m.note}" if m.note else "")


def _setting(
    scene: Scene, tasks: Sequence[Task], machine: Machine, floors: Floors, scale: tuple[float, float], rasters: Rasters
) -> _Setting:
    """Groups the bodies: each own part is one group, everything else stands alone."""
    place = {b.id: k for k, b in enumerate(scene.bodies)}
    parts: dict[str, list[str]] = defaultdict(list)
    for b in scene.bodies:
        if b.kind == "part":
            parts[b.owner].append(b.id)
    members = []
    for t in tasks:
        ids = sorted(t.own or parts.get(t.station, ()))
        missing = [i for i in ids if i not in place]
        if missing:
            raise ValueError(f"cut {t.cut} at {t.station}: no body {missing[0]} in the scene")
        members.append(tuple(place[i] for i in ids))
    own = tuple(dict.fromkeys(members))
    group_of = [len(own) + k for k in range(len(scene.bodies))]
    for g, bodies in enumerate(own):
        for k in bodies:
            if group_of[k] < len(own):
                raise ValueError(f"body {scene.bodies[k].id} belongs to two parts: `own` of the tasks must agree")
            group_of[k] = g
    need = MEASURED * floors.cutter if machine.tool_setter else floors.cutter
    drop = 0.0 if machine.tool_setter else floors.tool_setting_error
    by_task = tuple(own.index(m) for m in members)
    return _Setting(scene, machine, *scale, need, floors.nose, drop, own, by_task, tuple(group_of), rasters)


def _turned(tasks: Sequence[Task], mounts: Mapping[str, Mount], setting: _Setting) -> tuple[list[Turned], list[Margin]]:
    """The tasks at their index angles, and a failing margin for each direction that can't be brought up."""
    out, margins = [], []
    seen: dict[tuple[object, ...], tuple[float | None, float, Floats]] = {}
    for t, group in zip(tasks, setting.group_by_task, strict=True):
        if t.mount not in mounts:
            raise ValueError(f"cut {t.cut} at {t.station}: no mount {t.mount} in the scene")
        mount = mounts[t.mount]
        key = (t.mount, *t.direction)
        if key not in seen:
            angle, lean = index_angle(t.direction, mount)
            seen[key] = angle, lean, turning(mount, angle or 0.0)
        angle, lean, move = seen[key]
        if angle is None:
            note = "square to the rotary axis" if mount.rotary else "straight up on a fixed mount"
            subject = f"{t.station} {t.cut} {t.tool.id}"
            margins.append(Margin("direction", subject, t.mount, -TILT, -lean, "°", note=f"must be {note}"))
            continue
        d = np.asarray(t.direction) / np.linalg.norm(t.direction)
        centre = np.asarray(mount.axis_point) if mount.rotary else np.zeros(3)
        entry = float(t.entry - d @ centre + centre[2])
        out.append(Turned(t, angle, t.tips @ move[:3, :3].T + move[:3, 3], entry, group))
    return out, margins


def _states(turned: Sequence[Turned], mounts: Mapping[str, Mount]) -> list[tuple[dict[str, float], list[Turned]]]:
    """Each set of rotary angles with the tasks that are cut at it: a fixed mount is cut at all of them."""
    rotary = [m for m in mounts if mounts[m].rotary]
    angles = sorted({t.angle for t in turned if mounts[t.task.mount].rotary}) or [0.0]
    return [
        (dict.fromkeys(rotary, a), [t for t in turned if not mounts[t.task.mount].rotary or t.angle == a])
        for a in angles
    ]


def _window(tips: Floats, radius: float) -> tuple[Floats, Floats]:
    low, high = extent(tips)
    return low[:2] - radius, high[:2] + radius


def _widest(machine: Machine, tools: Sequence[Turned]) -> float:
    rows = [r[0] for t in tools for r in t.task.tool.stack()] + [c.diameter / 2 for c in machine.nose]
    return max(rows)


def _at_angles(
    setting: _Setting, angles: Mapping[str, float], here: Sequence[Turned]
) -> list[tuple[Margin, tuple[str, str]]]:
    """All clearances at one set of rotary angles."""
    if not here:
        return []
    reach = _widest(setting.machine, here) + max(setting.look, setting.need, setting.nose) + 2 * setting.pitch
    window = _window(np.concatenate([t.tips for t in here]), reach)
    moves = moves_of(setting.scene, angles)
    obstacles = field_at(setting.scene, moves, window, setting.pitch, setting.group_of, setting.rasters)
    by_part: dict[tuple[str, int], list[Turned]] = defaultdict(list)
    for t in here:
        by_part[t.task.station, t.group].append(t)
    out = []
    for (_, group), mine in by_part.items():
        local = without(obstacles, group, *_window(np.concatenate([t.tips for t in mine]), reach))
        out += _against_others(setting, obstacles, local, group, mine)
        out += _against_own(setting, moves, group, mine)
    return out


def _against_others(
    setting: _Setting, obstacles: OwnedField, local: HeightField, group: int, mine: Sequence[Turned]
) -> list[tuple[Margin, tuple[str, str]]]:
    """Each tool of one part, and the spindle nose above it, against everything but the part."""
    blocks = coarse(local.z)
    by_tool: dict[str, list[Turned]] = defaultdict(list)
    for t in mine:
        by_tool[t.task.tool.id].append(t)
    out = []
    for same in by_tool.values():
        tool = same[0].task.tool
        tips = gathered(np.concatenate([t.tips for t in same]) - (0.0, 0.0, setting.drop))
        nose = nose_stack(setting.machine, tool.gauge_length)
        checks = (("tool clearance", tool.stack(), setting.need), ("nose clearance", nose, setting.nose))
        for name, stack, need in checks:
            cap = max(setting.look, need)
            found = least_clearance(tips, stack, local.z, local.origin, local.pitch, cap=cap, blocks=blocks)
            out.append(_measured(setting, obstacles, local, group, same, found, Margin(
                name, f"{same[0].task.station} {tool.id}", f"nothing within {cap:g} mm", need, cap, "mm"
            )))  # fmt: skip
    return out


def _measured(
    setting: _Setting,
    obstacles: OwnedField,
    local: HeightField,
    group: int,
    same: Sequence[Turned],
    found: Least | None,
    free: Margin,
) -> tuple[Margin, tuple[str, str]]:
    """The margin with what was found, and the pair that stands in conflict if it fails."""
    station = same[0].task.station
    if found is None:
        return replace(free, note=f"at {same[0].angle:g}°"), (station, "")
    ends = np.cumsum([len(t.tips) for t in same])
    first = same[int(np.searchsorted(ends, found.tip, side="right"))]
    at = local.origin + (np.array(found.cell[::-1]) + 0.5) * local.pitch
    body = setting.scene.bodies[name_at(obstacles, group, at)]
    where = (float(at[0]), float(at[1]), float(local.z[found.cell]))
    note = f"{first.task.cut} at {first.angle:g}°"
    margin = replace(free, obstacle=body.id, have=found.have, where=where, note=note)
    return margin, (station, _other(body.owner, body.id, station))


def _other(owner: str, body: str, station: str) -> str:
    """The other side of a conflict: the neighbour station, or the body where it is fixed or the station's own."""
    return owner if owner and owner != station else body


def _against_own(
    setting: _Setting, moves: Mapping[str, Floats], group: int, mine: Sequence[Turned]
) -> list[tuple[Margin, tuple[str, str]]]:
    """Holder and shank against the part that is being cut: the same wherever it stands, so looked at once."""
    own = [setting.scene.bodies[k] for k in setting.own[group]]
    if not own:
        return []
    anchor = placed(own[0], moves)[:3, 3]
    here: Own = [(b.state, b.mesh, _moved(placed(b, moves), -anchor)) for b in own]
    here += [("cut", mesh, _moved(pose, -anchor)) for mesh, pose in _shape(moves, mine)]
    key = _own_key(setting, anchor, here, mine)
    if key not in setting.rasters.own:
        setting.rasters.own[key] = _own_clearances(setting, anchor, here, mine)
    out: list[tuple[Margin, tuple[str, str]]] = []
    wide = [t for t in mine if wide_rows(t.task.tool)]
    for t, (have, at) in zip(wide, setting.rasters.own[key], strict=True):
        name = next((b.id for b in own if b.state == t.task.own_state), own[0].id)
        at = at + anchor
        where = (float(at[0]), float(at[1]), float(at[2]))
        note = f"{t.task.cut} at {t.angle:g}°"
        subject = f"{t.task.station} {t.task.tool.id}"
        margin = Margin("holder to own part", subject, name, setting.need, have, "mm", where, note=note)
        out.append((margin, (t.task.station, name)))
    return out


Own = list[tuple[str, Mesh, Floats]]
"""State, mesh and pose (4, 4) of the bodies that are one part."""


def _moved(pose: Floats, by: Floats) -> Floats:
    out = pose.copy()
    out[:3, 3] += by
    return out


def _shape(moves: Mapping[str, Floats], mine: Sequence[Turned]) -> list[tuple[Mesh, Floats]]:
    """The part as it is cut, with its pose as the machine stands, where the tasks bring it themselves."""
    given = [(t.task.mount, *t.task.own_shape) for t in mine if t.task.own_shape is not None][:1]
    return [(mesh, np.asarray(moves[mount] @ pose) if mount in moves else pose) for mount, mesh, pose in given]


def _own_key(setting: _Setting, anchor: Floats, here: Own, mine: Sequence[Turned]) -> object:
    """Equal for parts of one shape that stand and are cut alike."""
    bodies = tuple((state, mesh.key, (np.round(pose, 6) + 0.0).tobytes()) for state, mesh, pose in here)
    cuts = tuple(
        (
            t.task.tool.stack(),
            t.task.own_state,
            round(t.entry - anchor[2], 4),
            blake2b((np.round(t.tips - anchor, 4) + 0.0).tobytes(), digest_size=16).digest(),
        )
        for t in mine
    )
    return bodies, cuts, setting.pitch, setting.need, setting.drop


def _own_clearances(setting: _Setting, anchor: Floats, here: Own, mine: Sequence[Turned]) -> list[tuple[float, Floats]]:
    """Clearance and its place, from `anchor`, of every cut whose tool is wider than its cutter somewhere."""
    gone: list[Sweep] = []
    found = []
    known: dict[str, tuple[list[tuple[Mesh, Floats]], float]] = {}
    for t in mine:
        tool, wide, state = t.task.tool, wide_rows(t.task.tool), t.task.own_state
        tips = t.tips - anchor
        gone.append((tips, t.entry - float(anchor[2]), tool.cutter.DC / 2))
        if not wide:
            continue
        if state not in known:
            bodies = [(mesh, pose) for own, mesh, pose in here if own == state] or [(m, p) for _, m, p in here]
            known[state] = bodies, top_of(bodies)
        low = tips - (0.0, 0.0, setting.drop)
        found.append(own_clearance(low, wide, *known[state], gone, setting.pitch, setting.need, setting.rasters))
    return found


def _worst(margins: Sequence[Margin]) -> tuple[Margin, ...]:
    """The worst margin of every check and subject, in the order in which they first came."""
    kept: dict[tuple[str, str], Margin] = {}
    for m in margins:
        key = (m.check, m.subject)
        if key not in kept or m.spare < kept[key].spare:
            kept[key] = m
    return tuple(kept.values())
