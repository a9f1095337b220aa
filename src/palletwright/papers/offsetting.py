"""Locators moved along the face that they touch, so that a wrong way no longer seats; verified by trying every way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from palletwright.grip.model import Contact, Device
from palletwright.papers.mistakes import INSIDE, SEATED, WrongWay, touching, wrong_ways
from palletwright.solid import Mesh, intersect

Floats = NDArray[np.float64]

STEPS = tuple(sign * 3.0 * k for k in range(1, 11) for sign in (1.0, -1.0))
"""mm that a locator is moved along its face, least first."""

PAD = 2.0
"""mm on both sides of a contact where the face must go on: common practice, no source."""

APART = 8.0
"""mm between two contacts of one face, so that they still tell its direction: common practice, no source."""

TRIES = 2
"""Moves tried against every way, best of the quick look first."""


@dataclass(frozen=True, slots=True)
class Offset:
    """A locator's move in the station frame, mm, and the wrong ways that no longer seat with it."""

    device: str
    x: float
    y: float
    blocks: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Moved:
    """A station with one locator moved."""

    offset: Offset
    contacts: tuple[Contact, ...]
    devices: tuple[Device, ...]
    left: tuple[WrongWay, ...]


def offset_locator(
    part: Mesh,
    contacts: Sequence[Contact],
    devices: Sequence[Device],
    strokes: Mapping[str, float],
    others: Mapping[str, Mesh],
    left: Sequence[WrongWay],
) -> Moved | None:
    """The locator whose move keeps most of the wrong ways `left` out; None where no move does.

    The right part still lies against it on a whole pad, its body stands in nothing, and every way is tried again. What
    the move does to the holding isn't known: it is to be proved again.
    """
    quick = []
    for device in devices:
        mine = [c for c in contacts if c.device == device.id and c.kind == "locator"]
        if device.kind != "locator" or not mine or any(abs(c.normal[2]) > 1e-6 for c in mine):
            continue
        for step in STEPS:
            shift = step * np.array([-mine[0].normal[1], mine[0].normal[0], 0.0])
            put = [replace(c, at=_vec(np.asarray(c.at) + shift)) for c in mine]
            if _fits(part, put, contacts, device, devices, shift):
                free = sum(not _all_touch(w.lying, put) for w in left if w.lying is not None)
                if free:
                    quick.append((-free, abs(step), device, shift, put))
    quick.sort(key=lambda row: row[:2])
    found = [_tried(part, contacts, devices, strokes, others, left, row) for row in quick[:TRIES]]
    good = [m for m in found if len(m.left) < len(left)]
    return min(good, key=lambda m: len(m.left), default=None)


def _fits(
    part: Mesh,
    put: Sequence[Contact],
    contacts: Sequence[Contact],
    device: Device,
    devices: Sequence[Device],
    shift: Floats,
) -> bool:
    """Whether the right part lies on the moved locator, and its body and contacts keep clear of all others."""
    along = shift / np.linalg.norm(shift)
    pads = [np.asarray(c.at) + d * along for c in put for d in (-PAD, 0.0, PAD)]
    if not touching(part, put[0].normal, pads, SEATED / 10):
        return False
    rest = [c for c in contacts if c.device != device.id and np.allclose(c.normal, put[0].normal, atol=1e-3)]
    if any(np.linalg.norm(np.subtract(a.at, b.at)) < APART for a in put for b in rest):
        return False
    body = _moved(device.mesh, shift)
    low, high = body.bounds
    for other in devices:
        if other.id != device.id:
            l2, h2 = other.mesh.bounds
            if (low < h2 - 1e-6).all() and (l2 < high - 1e-6).all():
                return False
    return intersect([part, body]).volume <= INSIDE


def _all_touch(lying: Mesh, put: Sequence[Contact]) -> bool:
    return touching(lying, put[0].normal, [c.at for c in put], SEATED)


def _tried(
    part: Mesh,
    contacts: Sequence[Contact],
    devices: Sequence[Device],
    strokes: Mapping[str, float],
    others: Mapping[str, Mesh],
    left: Sequence[WrongWay],
    row: tuple[int, float, Device, Floats, list[Contact]],
) -> Moved:
    """Every way again with the locator moved."""
    _, _, device, shift, put = row
    new = {c.id: c for c in put}
    changed = tuple(new.get(c.id, c) for c in contacts)
    bodies = tuple(replace(d, mesh=_moved(d.mesh, shift)) if d.id == device.id else d for d in devices)
    still = tuple(w for w in wrong_ways(part, changed, bodies, strokes, others) if w.clamps)
    kept = {(w.shape, w.turned) for w in still}
    blocks = tuple(f"{w.shape}, {w.turned}" if w.shape else w.turned for w in left if (w.shape, w.turned) not in kept)
    return Moved(Offset(device.id, float(shift[0]) + 0.0, float(shift[1]) + 0.0, blocks), changed, bodies, still)


def _moved(mesh: Mesh, shift: Floats) -> Mesh:
    move = np.eye(4)
    move[:3, 3] = shift
    return mesh.moved(move)


def _vec(v: Floats) -> tuple[float, float, float]:
    return float(v[0]), float(v[1]), float(v[2])
