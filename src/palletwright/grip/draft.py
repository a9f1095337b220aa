"""From chosen places to a finished grip: lift, bodies, margins, and the station frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from palletwright.grip.bodies import NOTHING, prism
from palletwright.grip.model import Contact, Device, Grip, GripKind
from palletwright.grip.seats import DEEPEST_RELIEF, Seat
from palletwright.grip.spots import SLACK, Spot
from palletwright.grip.work import Work
from palletwright.shop.model import Clamp
from palletwright.solid.model import Floats
from palletwright.verdict import Margin, Vec

# Bench and machining hours of preparing one station: common practice, no source.
HOURS_DEVICE = 0.10  # a clamp or stop set into the carrier: tapped and dowel holes
HOURS_RISER = 0.25
HOURS_RELIEF = 0.20
HOURS_REST = 0.05
RUN_OUT = 0.5  # mm kept beside a tool that runs out of the base; common practice, no source


@dataclass(frozen=True, eq=False)
class Piece:
    """A device's body in the operation frame, from `low` (None: from the carrier) to `high` over the base."""

    id: str
    kind: Literal["clamp", "locator"]
    catalogue: str
    outline: BaseGeometry
    high: float
    low: float | None = None
    foot: float = 0.0
    tighten_from: Vec = (0.0, 0.0, 1.0)
    price: float = 0.0
    shared: bool = False


@dataclass(frozen=True, eq=False)
class Draft:
    """A grip before its frame is fixed: all in the operation frame, heights over the base plane (mm).

    `about` is the centre of a half turn that makes the module's second part, None for one part. `firm` is how far
    apart the pair of stops stands: of two grips alike in all else the firmer one ranks first.
    """

    kind: GripKind
    seat: Seat
    pieces: tuple[Piece, ...]
    contacts: tuple[Contact, ...]
    regime: Literal["stop", "friction"]
    screws: int
    hours: float = 0.0
    margins: tuple[Margin, ...] = ()
    notes: tuple[str, ...] = ()
    about: tuple[float, float] | None = None
    carrier_kinds: tuple[str, ...] = ("plate", "pallet")
    seated: bool = True
    firm: float = 0.0


def piece(at: Spot, name: str) -> Piece:
    """The body of a device at a wall."""
    clamp = isinstance(at.item, Clamp)
    side = clamp and getattr(at.item, "access", "above") == "side"
    n = at.wall.normal
    return Piece(
        name,
        "clamp" if clamp else "locator",
        at.item.id,
        at.footprint(),
        at.top,
        None,
        at.foot,
        (float(n[0]), float(n[1]), 0.0) if side else (0.0, 0.0, 1.0),
        at.item.price,
    )


def wall_contact(work: Work, at: Spot, name: str, device: str, preload: float = 0.0) -> Contact:
    """The contact of a device with its wall, normal into the part."""
    p, n = at.contact(), -at.wall.normal
    kind: Literal["clamp", "locator"] = "clamp" if isinstance(at.item, Clamp) else "locator"
    raw = at.wall.raw_at(at.s, at.height)
    return Contact(name, kind, vec(p), vec(n), work.material.friction, preload=preload, device=device, raw=raw)


def vec(p: Floats) -> Vec:
    """Three floats."""
    return (float(p[0]), float(p[1]), float(p[2]))


def finish(work: Work, draft: Draft, name: str) -> Grip | None:
    """The grip in the station frame; None (with the fault kept) where two of its bodies meet."""
    lift = max([draft.seat.lift] + [-p.foot for p in draft.pieces if p.low is None and not np.isinf(p.foot)])
    lift = round(max(lift, 0.0), 6)
    pieces = list(draft.pieces)
    contacts = list(draft.contacts)
    hours = draft.hours + HOURS_DEVICE * len(pieces)
    notes = list(draft.notes)
    if draft.seated:
        rests = _rests(work, draft.seat, lift)
        if rests is None:
            return None
        pieces += rests
        contacts = _seat_contacts(work, draft.seat, rests) + contacts
        hours += HOURS_REST * len(rests)
        notes += draft.seat.notes if draft.seat.lift or not lift else [f"part stands on rests {lift:.1f} mm high"]
    risers = [p for p in draft.pieces if p.low is None and p.foot + lift > 0.05]
    hours += HOURS_RISER * len(risers)
    notes += [f"{p.id} ({p.catalogue}) stands on a riser {p.foot + lift:.1f} mm high" for p in risers]
    depth = draft.seat.relief - lift
    margins = list(draft.margins)
    if depth > 1e-6:
        hours += HOURS_RELIEF
        if depth > DEEPEST_RELIEF:
            margins.append(Margin("relief", "carrier", "tool below the part", depth, DEEPEST_RELIEF, "mm"))
    if not _apart(work, pieces, draft.kind):
        return None
    return _in_station(
        work,
        replace(draft, pieces=tuple(pieces), contacts=tuple(contacts)),
        name,
        lift,
        hours,
        tuple(margins),
        tuple(notes),
    )


def _rests(work: Work, seat: Seat, lift: float) -> list[Piece] | None:
    """Rests under the three points where the part is raised; None where a tool would run into one."""
    if lift <= 0:
        return []
    size = max(seat.rest.footprint) if seat.rest else 6.0
    under = work.over(work.bottom, -SLACK) if work.below_base > SLACK else NOTHING
    result = []
    for k, (x, y) in enumerate(seat.points):
        for side in (size, 6.0, 4.0, 2.0):
            outline = shapely.box(x - side / 2, y - side / 2, x + side / 2, y + side / 2)
            flat = np.asarray(outline.exterior.coords)[:-1]
            corners = np.concatenate([np.column_stack([flat, np.full(4, z)]) for z in (-lift, 0.0)])
            free = not work.runs_into(corners, RUN_OUT)
            if free and shapely.area(under.intersection(outline)) < 1e-6:
                break
        else:
            work.fault("rest", "a tool that runs out of the base would cut into a rest", 2.0)
            return None
        name = seat.rest.id if seat.rest else seat.under
        price = seat.rest.price if seat.rest else 0.0
        result.append(Piece(f"rest{k + 1}", "locator", name, outline, 0.0, None, np.inf, price=price))
    return result


def _seat_contacts(work: Work, seat: Seat, rests: list[Piece]) -> list[Contact]:
    base = work.base
    result = []
    for k, (x, y) in enumerate(seat.points):
        raw = base is not None and base.raw_at(float(x), float(y))
        device = rests[k].id if rests else "carrier"
        result.append(
            Contact(
                f"R{k + 1}",
                "locator",
                (float(x), float(y), 0.0),
                (0.0, 0.0, 1.0),
                work.material.friction,
                device=device,
                raw=raw,
            )
        )
    return result


def _apart(work: Work, pieces: Sequence[Piece], about: str) -> bool:
    for a, b in combinations(pieces, 2):
        if a.low is not None and b.low is not None and (a.low >= b.high or b.low >= a.high):
            continue
        if shapely.area(shapely.intersection(a.outline, b.outline)) > 1e-6:
            work.fault(
                about,
                f"{a.catalogue} and {b.catalogue} would stand in one place",
                float(np.sqrt(a.outline.intersection(b.outline).area)),
            )
            return False
    return True


def _in_station(
    work: Work, draft: Draft, name: str, lift: float, hours: float, margins: tuple[Margin, ...], notes: tuple[str, ...]
) -> Grip:
    part = work.over(work.bottom, work.height + 1.0)
    outline = shapely.union_all([part] + [p.outline for p in draft.pieces])
    if draft.about is not None:
        turned = shapely.affinity.rotate(outline, 180.0, origin=draft.about)
        outline = outline.union(turned)
    x0, y0, x1, y1 = outline.bounds
    shift = np.array([-(x0 + x1) / 2.0, -(y0 + y1) / 2.0, lift])
    pose = np.eye(4)
    pose[:3, :3], pose[:3, 3] = work.rotation, work.shift + shift
    poses, half = [pose], None
    if draft.about is not None:
        half = _half_turn(np.array([*draft.about, 0.0]) + shift)
        poses.append(half @ pose)
    return Grip(
        id=name,
        kind=draft.kind,
        poses=np.stack(poses),
        contacts=tuple(replace(c, at=vec(np.asarray(c.at) + shift)) for c in draft.contacts),
        devices=_devices(draft.pieces, shift, lift, half),
        regime=draft.regime,
        screws=draft.screws,
        price=round(sum(p.price * (2 if half is not None and not p.shared else 1) for p in draft.pieces), 2),
        prepare_hours=round(hours * (2 if half is not None else 1), 3),
        margins=margins,
        carrier_kinds=draft.carrier_kinds,
        notes=notes,
    )


def _half_turn(centre: Floats) -> Floats:
    turn = np.diag([-1.0, -1.0, 1.0, 1.0])
    turn[:2, 3] = 2.0 * centre[:2]
    return turn


def _devices(pieces: Sequence[Piece], shift: Floats, lift: float, half: Floats | None) -> tuple[Device, ...]:
    result = []
    for p in pieces:
        outline = shapely.affinity.translate(p.outline, shift[0], shift[1])
        mesh = prism(outline, 0.0 if p.low is None else p.low + lift, p.high + lift)
        result.append(Device(p.id, p.kind, p.catalogue, mesh, p.tighten_from))
        if half is not None and not p.shared:
            t = half[:3, :3] @ np.asarray(p.tighten_from)
            result.append(Device(f"{p.id}'", p.kind, p.catalogue, mesh.moved(half), vec(t + 0.0)))
    return tuple(result)


def module_size(grip: Grip, work: Work) -> Floats:
    """(2,) mm: the module's bounding rectangle on the side."""
    inverse = np.eye(4)
    inverse[:3, :3], inverse[:3, 3] = work.rotation.T, -work.rotation.T @ work.shift
    boxes = [d.mesh.bounds[:, :2] for d in grip.devices]
    boxes += [work.before.moved(pose @ inverse).bounds[:, :2] for pose in grip.poses]
    return np.asarray(np.max([b[1] for b in boxes], axis=0) - np.min([b[0] for b in boxes], axis=0))
