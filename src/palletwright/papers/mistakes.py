"""Mistake-proofing: every wrong turn and flip of a part tried against the locators and clamps of its station."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
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
    """A wrong way that seats: how the part was turned, and whether every clamp reaches it within its stroke."""

    turned: str
    clamps: bool


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


def wrong_ways(
    part: Mesh, contacts: Sequence[Contact], devices: Sequence[Device], strokes: Mapping[str, float]
) -> list[WrongWay]:
    """Wrong ways in which a part would seat on all its locators without meeting any.

    Parameters
    ----------
    part : the part before the operation as it should lie, station frame, mm
    contacts : of its grip; locators with every kind of normal, clamps
    devices : of its grip, station frame
    strokes : mm, a clamp's travel by device id; a clamp without one counts as reaching

    Tried are the quarter turns and flips about the station's axes (23 wrong ones); those that leave the shape the
    same are no mistake. Not tried: tilted ways, mirrored brothers, parts of another state.
    """
    rows = []
    for turn in turns()[1:]:
        tried = _turned(part, turn)
        if any(_alike(part, lying) for lying in tried):
            continue
        seated = [s for s in (_seated(lying, contacts) for lying in tried) if s is not None and not _met(s, devices)]
        if seated:
            rows.append(WrongWay(_name(turn), any(_reached(s, contacts, strokes) for s in seated)))
    return rows


def _reached(part: Mesh, contacts: Sequence[Contact], strokes: Mapping[str, float]) -> bool:
    """Whether every clamp reaches the part within its stroke."""
    return all(abs(_gap(part, c)) <= strokes.get(c.device, FAR) for c in contacts if c.kind == "clamp")


def _turned(part: Mesh, turn: Floats) -> list[Mesh]:
    """The part turned, from where a loader may start: in the corners and middles of the room of the right way.

    A direction that nothing locates leaves the start as it is, so that several are tried.
    """
    move = np.eye(4)
    move[:3, :3] = turn
    lying = part.moved(move)
    room, size = part.bounds, lying.bounds
    starts = {}
    for x, y in product((0.0, 0.5, 1.0), repeat=2):
        share = np.array([x, y, 0.0])
        move = np.eye(4)
        move[:3, 3] = (1 - share) * (room[0] - size[0]) + share * (room[1] - size[1])
        starts[move.round(6).tobytes()] = move
    return [lying.moved(m) for m in starts.values()]


def _seated(part: Mesh, contacts: Sequence[Contact]) -> Mesh | None:
    """The part pushed against its locators one direction after the other; None where one is left untouched."""
    locators = [c for c in contacts if c.kind == "locator"]
    groups: dict[tuple[float, ...], list[Contact]] = {}
    for c in locators:
        groups.setdefault(tuple(np.round(c.normal, 3) + 0.0), []).append(c)
    for _ in range(SLIDES):
        moved = 0.0
        for normal, group in sorted(groups.items(), key=lambda row: -row[0][2]):
            gap = min(_gap(part, c) for c in group)
            if not np.isfinite(gap):
                return None
            shift = np.eye(4)
            shift[:3, 3] = -gap * np.asarray(normal)
            part, moved = part.moved(shift), max(moved, abs(gap))
        if moved < 1e-6:
            break
    return part if all(abs(_gap(part, c)) <= SEATED for c in locators) else None


def _gap(part: Mesh, contact: Contact) -> float:
    """mm from a contact's point to the part along its normal: negative where the part is past it, inf where it never
    meets the line."""
    normal = np.asarray(contact.normal)
    origin = np.asarray(contact.at) - FAR * normal
    a, b, c = part.corners[:, 0], part.corners[:, 1], part.corners[:, 2]
    e1, e2 = b - a, c - a
    p = np.cross(normal, e2)
    det = np.einsum("ij,ij->i", e1, p)
    ok = np.abs(det) > 1e-12
    inverse = np.where(ok, 1.0 / np.where(ok, det, 1.0), 0.0)
    s = origin - a
    u = np.einsum("ij,ij->i", s, p) * inverse
    q = np.cross(s, e1)
    v = (q @ normal) * inverse
    t = np.einsum("ij,ij->i", e2, q) * inverse
    hit = ok & (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9) & (t > 0)
    return float(t[hit].min()) - FAR if hit.any() else float("inf")


def _met(part: Mesh, devices: Sequence[Device]) -> bool:
    """Whether a locator's body is where the part would have to be."""
    return any(intersect([part, d.mesh]).volume > INSIDE for d in devices if d.kind == "locator")


def _alike(a: Mesh, b: Mesh) -> bool:
    """Whether two parts fill the same room."""
    if float(np.abs(a.bounds - b.bounds).max()) > SEATED:
        return False
    return bool(intersect([a, b]).volume > (1 - SAME_SHAPE) * max(a.volume, b.volume))


def _name(turn: Floats) -> str:
    """A turn in words: degrees about an axis of the station."""
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
