"""From chosen places to a finished grip: lift, bodies, margins, and the station frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product
from typing import Literal

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from palletwright.grip.bodies import NOTHING, prism
from palletwright.grip.model import Contact, Device, Grip, GripKind, Relief
from palletwright.grip.patches import Patch
from palletwright.grip.pressing import dressed
from palletwright.grip.reliefs import half_turned, reliefs
from palletwright.grip.seats import DEEPEST_RELIEF, Seat
from palletwright.grip.spots import NOSE, SLACK, Spot, half_nose
from palletwright.grip.work import Work
from palletwright.shop.model import Clamp, Locator
from palletwright.solid.bodies import union
from palletwright.solid.model import Floats
from palletwright.verdict import Margin, Vec

# Bench and machining hours of preparing one station: common practice, no source.
HOURS_DEVICE = 0.10  # a clamp or stop set into the carrier: tapped and dowel holes
HOURS_RISER = 0.25
HOURS_RELIEF = 0.20
HOURS_REST = 0.05
MORE_PADS = 2  # pads beside the three that locate a raised part; our own choice


@dataclass(frozen=True, eq=False)
class Piece:
    """A device's body in the operation frame, from `low` (None: from the carrier) to `high` over the base.

    `more` are further blocks (outline, from, to): a strap's arm, the step of a jaw. `foot` is the level of its own seat
    over the base, None where it follows the lift.
    """

    id: str
    kind: Literal["clamp", "locator"]
    catalogue: str
    outline: BaseGeometry
    high: float
    low: float | None = None
    foot: float | None = None
    tighten_from: Vec = (0.0, 0.0, 1.0)
    price: float = 0.0
    shared: bool = False
    more: tuple[tuple[BaseGeometry, float, float], ...] = ()

    def blocks(self) -> list[tuple[BaseGeometry, float, float]]:
        """(outline, from, to) over the base; from -inf where it stands on the carrier."""
        low = -np.inf if self.low is None else self.low
        return [(self.outline, low, self.high), *self.more]


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
    firm: float = 0.0
    unlocated: tuple[str, ...] = ()
    part_seconds: float = 0.0


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


APART = 3.0  # mm of height from which a face counts as touching at two levels; common practice, no source


def low_level(wall: Patch, s: float, half: float, bottom: float, high: float) -> float | None:
    """The lowest height (mm) at which a flat face from `bottom` up touches untouched metal as well as at `high`."""
    key = (round(s, 6), half, round(bottom, 6), round(high, 6))
    if key not in wall.levels:
        wall.levels[key] = _low_level(wall, s, half, bottom, high)
    return wall.levels[key]


def _low_level(wall: Patch, s: float, half: float, bottom: float, high: float) -> float | None:
    least = max(bottom, wall.bounds[1]) + NOSE
    levels = least + (high - least) / 4.0 * np.arange(4)
    levels = levels[high - levels >= APART]
    good = wall.holds(shapely.box(s - half, levels - NOSE, s + half, levels + NOSE))
    return float(levels[np.argmax(good)]) if len(levels) and good.any() else None


def face_contacts(work: Work, at: Spot, name: str, device: str) -> list[Contact]:
    """A stop's flat face on a wall: where it reaches highest and, if it touches there too, lowest.

    Between the two its reaction finds its own height, as on a real face.
    """
    top = wall_contact(work, at, name, device)
    low = low_level(at.wall, at.s, half_nose(at.item), at.foot, at.height)
    if low is None:
        return [top]
    half = replace(top, stiffness=top.stiffness / 2.0)
    p = at.wall.point(at.s, low)
    return [half, replace(half, id=f"{name}-low", at=vec(p), raw=at.wall.raw_at(at.s, low))]


def vec(p: Floats) -> Vec:
    """Three floats."""
    return (float(p[0]), float(p[1]), float(p[2]))


@dataclass(frozen=True, eq=False)
class Settled:
    """A draft with its lift, rests, hours and notes, and the module's bounding box (x0, y0, x1, y1), mm."""

    draft: Draft
    lift: float
    box: Floats

    @property
    def parts(self) -> int:
        return 1 if self.draft.about is None else 2

    @property
    def size(self) -> Floats:
        """(2,) mm: the module's room on the side."""
        return np.asarray(self.box[2:] - self.box[:2])


def lift_of(draft: Draft) -> float:
    """mm of the base over the carrier's face: what the seat asks, and no device's foot below that face."""
    return round(max([draft.seat.lift, 0.0] + [-p.foot for p in draft.pieces if p.foot is not None]), 6)


def ahead(work: Work, draft: Draft) -> Settled:
    """The draft as it would settle, without its rests and unchecked: the settled one is never smaller or cheaper."""
    lift = lift_of(draft)
    depth = draft.seat.relief - lift
    margins = list(draft.margins)
    if depth > DEEPEST_RELIEF:
        margins.append(Margin("relief", "carrier", "tool below the part", depth, DEEPEST_RELIEF, "mm", frame="station"))
    hours = draft.hours + HOURS_DEVICE * len(draft.pieces) + HOURS_RISER * len(_risers(draft, lift))
    hours += HOURS_RELIEF if depth > 1e-6 else 0.0
    return Settled(replace(draft, hours=hours, margins=tuple(margins)), lift, _box(work, draft, lift))


def _risers(draft: Draft, lift: float) -> list[Piece]:
    return [p for p in draft.pieces if p.foot is not None and p.foot + lift > 0.05]


def settle(work: Work, plain: Settled) -> Settled | None:
    """The draft of `ahead` with its rests; None (with the fault kept) where two of its bodies meet."""
    draft, lift = plain.draft, plain.lift
    rests = _rests(work, draft, lift)
    pieces = (*draft.pieces, *(rests or ()))
    if rests is None or not _apart(work, pieces, draft.kind) or not _copy_clear(work, draft, lift):
        return None
    notes = list(draft.notes)
    notes += list(draft.seat.notes) if draft.seat.lift or not lift else [_standing(draft.seat, lift)]
    notes += [
        f"{p.id} ({p.catalogue}) stands on a riser {(p.foot or 0.0) + lift:.1f} mm high" for p in _risers(draft, lift)
    ]
    made = replace(
        draft,
        pieces=pieces,
        contacts=(*_seat_contacts(work, draft.seat, lift, rests), *draft.contacts),
        hours=draft.hours + HOURS_REST * len(rests),
        notes=tuple(notes),
    )
    return Settled(made, lift, _box(work, made, lift))


def _standing(seat: Seat, lift: float) -> str:
    under = "rests" if seat.under == "machined pad" else seat.under
    return f"part stands {lift:.1f} mm over the carrier's face on {under}"


def _box(work: Work, draft: Draft, lift: float) -> Floats:
    """The bounding box of part and devices, and of their half-turned copy."""
    shapes = [work.over(work.bottom, work.height + 1.0)] + [
        o for p in draft.pieces for o, _, high in p.blocks() if high + lift > 1e-6
    ]
    bounds = np.array([s.bounds for s in shapes])
    box = np.concatenate([bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)])
    if draft.about is not None:
        turned = 2.0 * np.tile(draft.about, 2) - box[[2, 3, 0, 1]]
        box = np.concatenate([np.minimum(box[:2], turned[:2]), np.maximum(box[2:], turned[2:])])
    return box


def _rests(work: Work, draft: Draft, lift: float) -> list[Piece] | None:
    """Rests under the three points where the part is raised; None where a tool would run into one."""
    seat = draft.seat
    if not seat.apart:
        return []
    taken = [o for p in draft.pieces for o, low, _ in p.blocks() if low < 0.0]
    full = max(seat.rest.footprint) if seat.rest else 6.0
    result: list[Piece] = []
    for k, (x, y, z) in enumerate([*seat.points, *(np.array(p) for p in seat.more[:MORE_PADS])]):
        if lift + z < 1e-6:
            continue  # the carrier's own face carries this point
        under = work.over(work.bottom, z - SLACK, exact=True) if z - work.bottom > 1.0 + SLACK else NOTHING
        sizes = [full, *(s for s in (6.0, 4.0, 2.0) if s < full)]
        shapes = [shapely.box(x - s / 2, y - s / 2, x + s / 2, y + s / 2) for s in sizes]
        fit = next((s for s in shapes if _stands(work, s, z, [under, *taken, *(p.outline for p in result)])), None)
        if fit is None and k >= len(seat.points):
            continue
        if fit is None:
            work.fault("rest", "a tool that runs out of the base, or a clamp, leaves no room for a rest", 2.0)
            return None
        own = seat.rest is not None and fit is shapes[0] and abs(z) < 1e-6
        name = seat.rest.id if own and seat.rest else seat.under
        price = seat.rest.price if own and seat.rest else 0.0
        result.append(Piece(f"rest{k + 1}", "locator", name, fit, float(z), price=price))
    return result


def _stands(work: Work, outline: BaseGeometry, top: float, taken: Sequence[BaseGeometry]) -> bool:
    """Whether a rest of this outline is clear of tools that run out of the base, the part and other bodies."""
    ring = np.asarray(shapely.geometry.polygon.orient(outline).exterior.coords)[:-1]
    if top > work.ceiling(ring) + 1e-9:
        return False
    return not any(_overlap(outline, t) > 1e-6 for t in taken)


def _overlap(one: BaseGeometry, two: BaseGeometry) -> float:
    """mm² that two outlines share."""
    return float(shapely.area(shapely.intersection(one, two))) if shapely.intersects(one, two) else 0.0


def _seat_contacts(work: Work, seat: Seat, lift: float, rests: list[Piece]) -> list[Contact]:
    standing = {p.id: p.id for p in rests}
    flat = not seat.apart or lift < 1e-6
    more = [np.array(p) for k, p in enumerate(seat.more, start=len(seat.points)) if flat or f"rest{k + 1}" in standing]
    points = [*seat.points, *more]
    result = []
    for k, (x, y, z) in enumerate(points):
        raw = any(b.raw_at(float(x), float(y)) for b in work.bases if abs(float(b.origin[2]) - z) < 1e-6)
        device = standing.get(f"rest{k + 1}", seat.ground)
        result.append(
            Contact(
                f"R{k + 1}",
                "locator",
                (float(x), float(y), float(z)),
                (0.0, 0.0, 1.0),
                work.material.friction,
                device=device,
                raw=raw,
            )
        )
    return result


def _apart(work: Work, pieces: Sequence[Piece], about: str) -> bool:
    for a, b in combinations(pieces, 2):
        for (one, low1, high1), (two, low2, high2) in product(a.blocks(), b.blocks()):
            if low1 >= high2 or low2 >= high1:
                continue
            shared = _overlap(one, two)
            if shared > 1e-6:
                work.fault(about, f"{a.catalogue} and {b.catalogue} would stand in one place", shared**0.5)
                return False
    return True


def _copy_clear(work: Work, draft: Draft, lift: float) -> bool:
    """Whether the half-turned part and its devices stay clear of the first part's tools (and so the other way)."""
    if draft.about is None:
        return True
    blocks = [(o, max(low, -lift), high) for p in draft.pieces if not p.shared for o, low, high in p.blocks()]
    blocks.append((work.over(work.bottom, work.height + 1.0), work.bottom + 1.0, work.height))
    for outline, low, high in blocks:
        turned = shapely.affinity.rotate(outline, 180.0, origin=draft.about)
        short = work.blocked_outline(turned, low, high)
        if short > 1e-9:
            work.fault(draft.kind, "the second part or its stops would stand in the first one's tools", short)
            return False
    return True


def in_station(work: Work, settled: Settled, name: str) -> Grip:
    """The grip in the station frame, bodies as meshes."""
    draft, box = settled.draft, settled.box
    shift = np.array([-(box[0] + box[2]) / 2.0, -(box[1] + box[3]) / 2.0, settled.lift])
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
        contacts=tuple(replace(c, at=vec(np.asarray(c.at) + shift)) for c in _pressed(work, draft)),
        devices=_devices(draft.pieces, shift, half),
        regime=draft.regime,
        screws=draft.screws,
        price=round(sum(p.price * (1 if p.shared else settled.parts) for p in draft.pieces), 2),
        prepare_hours=round(draft.hours * settled.parts, 3),
        margins=draft.margins,
        carrier_kinds=draft.carrier_kinds,
        notes=draft.notes,
        unlocated=draft.unlocated,
        reliefs=_reliefs(work, draft, settled.lift, shift, half),
        part_seconds=draft.part_seconds,
    )


def _reliefs(work: Work, draft: Draft, lift: float, shift: Floats, half: Floats | None) -> tuple[Relief, ...]:
    """Pockets in the carrier; none where the part stands on a step of its jaws, which are milled free instead."""
    milled_free = not draft.seat.apart and draft.seat.ground in ("fixed-jaw", "fixed-v")
    first = () if milled_free else reliefs(work, lift, shift)
    return first if half is None else (*first, *(half_turned(r, half) for r in first))


def _pressed(work: Work, draft: Draft) -> tuple[Contact, ...]:
    """The contacts dressed by the devices that make them; what is milled to the part has no serrated face."""
    if draft.kind == "soft_jaw":
        return dressed(draft.contacts, {}, work.material)
    owned: dict[str, Clamp | Locator] = {c.id: c for c in work.shop.clamps}
    owned |= {k.id: k for k in work.shop.locators}
    named = {p.id: owned[p.catalogue] for p in draft.pieces if p.catalogue in owned}
    if draft.kind == "jaw" and work.vise is not None:
        hard = min((c for c in work.shop.clamps if c.kind == "jaw"), key=lambda c: (c.price, c.id), default=None)
        named |= {name: hard for name in ("fixed-jaw", "moving-jaw") if hard is not None}
    return dressed(draft.contacts, named, work.material)


def _half_turn(centre: Floats) -> Floats:
    turn = np.diag([-1.0, -1.0, 1.0, 1.0])
    turn[:2, 3] = 2.0 * centre[:2]
    return turn


def _devices(pieces: Sequence[Piece], shift: Floats, half: Floats | None) -> tuple[Device, ...]:
    result = []
    for p in pieces:
        blocks = [
            prism(shapely.affinity.translate(o, shift[0], shift[1]), max(low + shift[2], 0.0), high + shift[2])
            for o, low, high in p.blocks()
            if high + shift[2] > 1e-6
        ]
        mesh = blocks[0] if len(blocks) == 1 else union(blocks)
        result.append(Device(p.id, p.kind, p.catalogue, mesh, p.tighten_from))
        if half is not None and not p.shared:
            t = half[:3, :3] @ np.asarray(p.tighten_from)
            result.append(Device(f"{p.id}'", p.kind, p.catalogue, mesh.moved(half), vec(t + 0.0)))
    return tuple(result)
