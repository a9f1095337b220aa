"""Mistake-proofing: every wrong turn, brother and state of a part tried against its station's locators and clamps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import permutations, product

import numpy as np
from numpy.typing import NDArray

from palletwright.grip.model import Contact, Device
from palletwright.solid import Mesh, intersect

Floats = NDArray[np.float64]

SEATED = 0.1
"""mm: a locator's point and the part's face may be so far apart and still count as touching (a loader feels no more;
common practice, no source)."""

SLIDES = 8
"""Times that a part is pushed against each locator in turn until nothing moves."""

INSIDE = 1.0
"""mm³ of part inside a locator above which the locator keeps it out."""

FAR = 1000.0
"""mm, from where rays towards the part start."""

SAME_SHAPE = 1e-3
"""Share of the volume by which two ways of lying may differ and still be one and the same."""


@dataclass(frozen=True, slots=True)
class WrongWay:
    """A wrong way that seats: how the part was turned, whether every clamp reaches it within its stroke, what it is
    ("" the part itself), and how it lies, station frame."""

    turned: str
    clamps: bool
    shape: str = ""
    lying: Mesh | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True, eq=False)
class _Rays:
    """A shape's triangles prepared for rays along one direction: corner a, edges, and what depends on them alone."""

    normal: Floats
    a: Floats
    e1: Floats
    e2: Floats
    p: Floats
    inverse: Floats


def turns() -> list[Floats]:
    """The 24 turns and flips of a block onto itself; the first is none."""
    found = []
    for order in permutations(range(3)):
        for signs in product((1.0, -1.0), repeat=3):
            matrix = np.zeros((3, 3))
            matrix[range(3), order] = signs
            if np.linalg.det(matrix) > 0:
                found.append(matrix)
    return sorted(found, key=lambda m: -np.trace(m))


def mirrored(part: Mesh) -> Mesh:
    """The part's mirrored brother, in the same room."""
    low, high = part.bounds
    points = part.vertices.copy()
    points[:, 0] = low[0] + high[0] - points[:, 0]
    return Mesh(points, part.triangles[:, ::-1].copy())


def wrong_ways(
    part: Mesh,
    contacts: Sequence[Contact],
    devices: Sequence[Device],
    strokes: Mapping[str, float],
    others: Mapping[str, Mesh] | None = None,
) -> list[WrongWay]:
    """Wrong ways in which a part would seat on all its locators without meeting any.

    Parameters
    ----------
    part : the part before the operation as it should lie, station frame, mm
    contacts : of its grip; locators with every kind of normal, clamps
    devices : of its grip, station frame
    strokes : mm, a clamp's travel by device id; a clamp without one counts as reaching
    others : what else may be taken for the part: its mirrored brother, other states, other parts, by name, anywhere

    Tried are the quarter turns and flips about the station's axes (of others also none); those that leave the right
    shape are no mistake. Not tried: ways tipped by other angles.
    """
    rows = _ways(part, part, turns()[1:], contacts, devices, strokes, "")
    for name, shape in (others or {}).items():
        move = np.eye(4)
        move[:3, 3] = part.bounds.mean(axis=0) - shape.bounds.mean(axis=0)
        rows += _ways(part, shape.moved(move), turns(), contacts, devices, strokes, name)
    return rows


def _ways(
    right: Mesh,
    shape: Mesh,
    tried: Sequence[Floats],
    contacts: Sequence[Contact],
    devices: Sequence[Device],
    strokes: Mapping[str, float],
    name: str,
) -> list[WrongWay]:
    rows = []
    for turn in tried:
        lying = _lying(shape, turn)
        starts = _starts(right, lying)
        if any(_alike(right, lying.moved(m)) for m in starts):
            continue
        rays: dict[tuple[float, ...], _Rays] = {}
        shifts = [_seated(lying, m[:3, 3], contacts, rays) for m in starts]
        found = {s.round(4).tobytes(): s for s in shifts if s is not None}
        seated = [(s, lying.moved(_shift(s))) for s in found.values()]
        seated = [(s, m) for s, m in seated if not _met(m, devices)]
        if seated:
            good = [m for s, m in seated if _reached(lying, s, contacts, strokes, rays)]
            rows.append(WrongWay(_name(turn), bool(good), name, (good or [m for _, m in seated])[0]))
    return rows


def _shift(by: Floats) -> Floats:
    move = np.eye(4)
    move[:3, 3] = by
    return move


def _lying(shape: Mesh, turn: Floats) -> Mesh:
    move = np.eye(4)
    move[:3, :3] = turn
    return shape.moved(move)


def _reached(
    part: Mesh,
    shift: Floats,
    contacts: Sequence[Contact],
    strokes: Mapping[str, float],
    rays: dict[tuple[float, ...], _Rays],
) -> bool:
    """Whether every clamp reaches the part within its stroke."""
    clamps = [c for c in contacts if c.kind == "clamp"]
    return all(
        abs(_gaps(_prepared(part, c.normal, rays), [c.at], shift)[0]) <= strokes.get(c.device, FAR) for c in clamps
    )


def _starts(right: Mesh, lying: Mesh) -> list[Floats]:
    """Where a loader may start: in the corners and middles of the room of the right way.

    A direction that nothing locates leaves the start as it is, so that several are tried.
    """
    room, size = right.bounds, lying.bounds
    starts = {}
    for x, y in product((0.0, 0.5, 1.0), repeat=2):
        share = np.array([x, y, 0.0])
        move = _shift((1 - share) * (room[0] - size[0]) + share * (room[1] - size[1]))
        starts[move.round(6).tobytes()] = move
    return list(starts.values())


def _seated(
    part: Mesh, start: Floats, contacts: Sequence[Contact], rays: dict[tuple[float, ...], _Rays]
) -> Floats | None:
    """(3,) how far the part lies when pushed against its locators one direction after the other; None where one is
    left untouched."""
    locators = [c for c in contacts if c.kind == "locator"]
    groups: dict[tuple[float, ...], list[Contact]] = {}
    for c in locators:
        groups.setdefault(tuple(np.round(c.normal, 3) + 0.0), []).append(c)
    at = start.copy()
    for _ in range(SLIDES):
        moved = 0.0
        for normal, group in sorted(groups.items(), key=lambda row: -row[0][2]):
            ready = _prepared(part, group[0].normal, rays)
            gap = float(_gaps(ready, [c.at for c in group], at).min())
            if not np.isfinite(gap):
                return None
            at = at - gap * np.asarray(normal)
            moved = max(moved, abs(gap))
        if moved < 1e-6:
            break
    touched = all(
        (np.abs(_gaps(_prepared(part, group[0].normal, rays), [c.at for c in group], at)) <= SEATED).all()
        for group in groups.values()
    )
    return at if touched else None


def _prepared(part: Mesh, normal: Sequence[float], rays: dict[tuple[float, ...], _Rays]) -> _Rays:
    key = tuple(np.round(normal, 6) + 0.0)
    if key not in rays:
        way = np.asarray(normal, np.float64)
        corners = part.corners
        a, e1, e2 = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        p = _cross(np.broadcast_to(way, e2.shape), e2)
        det = np.einsum("ij,ij->i", e1, p)
        # only what a ray along the normal can pass through
        keep = np.abs(det) > 1e-12
        a, e1, e2, p, det = a[keep], e1[keep], e2[keep], p[keep], det[keep]
        rays[key] = _Rays(way, a, e1, e2, p, 1.0 / det)
    return rays[key]


def _gaps(rays: _Rays, points: Sequence[Sequence[float]], shift: Floats) -> Floats:
    """(k,) mm from contacts' points to the part (moved by `shift`) along its normal: negative where the part is past
    one, inf where it never meets the line."""
    s = (np.asarray(points) - FAR * rays.normal - shift)[:, None, :] - rays.a
    u = np.einsum("kij,ij->ki", s, rays.p) * rays.inverse
    found = np.full(len(points), np.inf)
    row, near = np.nonzero((u >= -1e-9) & (u <= 1 + 1e-9))
    if not len(row):
        return found
    q = _cross(s[row, near], rays.e1[near])
    v = (q @ rays.normal) * rays.inverse[near]
    t = np.einsum("ij,ij->i", rays.e2[near], q) * rays.inverse[near]
    hit = (v >= -1e-9) & (u[row, near] + v <= 1 + 1e-9) & (t > 0)
    np.minimum.at(found, row[hit], t[hit] - FAR)
    return found


def touching(part: Mesh, normal: Sequence[float], points: Sequence[Sequence[float] | Floats], within: float) -> bool:
    """Whether a part lies at all these points along `normal`, within so many mm."""
    gaps = _gaps(_prepared(part, normal, {}), [tuple(p) for p in points], np.zeros(3))
    return bool((np.abs(gaps) <= within).all())


def _cross(a: Floats, b: Floats) -> Floats:
    """(n, 3) cross products, row by row."""
    return np.stack(
        [
            a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1],
            a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2],
            a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0],
        ],
        axis=1,
    )


def _met(part: Mesh, devices: Sequence[Device]) -> bool:
    """Whether a locator's body is where the part would have to be."""
    for d in devices:
        if d.kind != "locator":
            continue
        (low, high), (l2, h2) = part.bounds, d.mesh.bounds
        if (low < h2).all() and (l2 < high).all() and intersect([part, d.mesh]).volume > INSIDE:
            return True
    return False


def _alike(a: Mesh, b: Mesh) -> bool:
    """Whether two parts fill the same room."""
    if float(np.abs(a.bounds - b.bounds).max()) > SEATED:
        return False
    return bool(intersect([a, b]).volume > (1 - SAME_SHAPE) * max(a.volume, b.volume))


def _name(turn: Floats) -> str:
    """A turn in words: degrees about an axis of the station."""
    if np.allclose(turn, np.eye(3)):
        return "0°"
    degrees = round(float(np.degrees(np.arccos(np.clip((np.trace(turn) - 1) / 2, -1, 1)))))
    if degrees == 180:
        values, vectors = np.linalg.eigh((turn + turn.T) / 2)
        axis = vectors[:, int(np.argmax(values))]
    else:
        axis = np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]])
    axis = axis / np.abs(axis).max()
    axis = axis if axis[np.flatnonzero(np.abs(axis) > 1e-6)[0]] > 0 or degrees != 180 else -axis
    parts = [("+" if v > 0 else "-") + n for v, n in zip(axis, "xyz", strict=True) if abs(v) > 1e-6]
    return f"{degrees}° {' '.join(parts)}"
