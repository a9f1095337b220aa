"""The chain past the part for one mount of a plan: what it stands on, with every cut at every station on it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from palletwright.cutting.model import Load
from palletwright.grip.model import Grip
from palletwright.holding.bolts import bolt, proof_load
from palletwright.holding.chain import MOUNT_FRICTION, Screws, brake_margin, screw_margins, slip_margin, tipping_margin
from palletwright.holding.contacts import Array
from palletwright.holding.devices import GRADE
from palletwright.scene.model import Body, Mount, Scene
from palletwright.shop.model import Carrier, Clamp, Floors, Machine, MountHole
from palletwright.solid.bodies import manifold
from palletwright.solid.model import Mesh
from palletwright.verdict import Margin, Reason

# Screws of a mount whose holes the shop doesn't list: common practice, no source.
TABLE_SCREWS = ("M12", 4, 65.0)
FACEPLATE_SCREWS = ("M10", 4, 40.0)
CIRCLE = 0.7  # of the carrier's half-size or the faceplate's radius, where those screws sit; common practice, no source
ENGAGED = 1.5  # thread in the carrier over its diameter: common practice, no source
TENSILE = {True: 400.0, False: 310.0}  # N/mm², steel or not: S275 to S355, EN AW-6082-T6; from memory, unconfirmed
DOWEL_SHEAR = 300.0  # N/mm², hardened dowel pin: below what ISO 8734's shear loads give; from memory, unconfirmed
BEARING = {True: 300.0, False: 200.0}  # N/mm² on the hole's wall, below yield; from memory, unconfirmed
NAMED = 3  # loose pieces that are named


@dataclass(frozen=True, eq=False)
class PlacedCut:
    """One cut at one station as the machine stands for it: tips (n, 3) mm in the machine frame, at `angle` degrees."""

    name: str
    station: str
    tips: Array
    load: Load
    angle: float = 0.0


@dataclass(frozen=True)
class ChainReport:
    """Margins in the order in which the force passes, each the worst over all cuts, and what was assumed."""

    margins: tuple[Margin, ...]
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, eq=False)
class _Mount:
    """Screws and shape of a mount: `half` mm to the edge it tips about, `circle` mm from its middle to the screws.

    `pin` N is what one dowel bears, `pin_at` mm how far from the middle it sits; 0 without dowels. Of several, fits
    leave the first one to bear alone.
    """

    screws: Screws
    circle: float
    half: float
    pin: float
    pin_at: float


def chain_of(
    machine: Machine,
    scene: Scene,
    mount: str,
    carrier: Carrier,
    cuts: Sequence[PlacedCut],
    densities: Mapping[str, float],
    *,
    grips: Iterable[Grip],
    clamps: Sequence[Clamp],
    floors: Floors,
) -> ChainReport:
    """Everything past the part on one mount of a scene.

    Parameters
    ----------
    mount : id of the mount in `scene`; cuts : all cuts made on it
    densities : kg/m³ by body kind ("part", "carrier", "clamp", "locator", "vise", ...)
    grips, clamps : of the stations on the mount, and the shop's list: their screws' threads in the carrier

    Notes
    -----
    A side force beside the middle also twists the mount; both share its friction, counted as if they pulled the same
    way at every screw. On a rotary axis the faceplate's screws carry the torque about it, the tailstock the rest.
    Raises KeyError for a mount that isn't in the scene.
    """
    place = {m.id: m for m in scene.mounts}[mount]
    held, assumed = _mount(machine, carrier, place)
    stations = {c.station for c in cuts}
    mass, centre = _mass([b for b in scene.bodies if _on(b, place, stations)], densities)
    margins = [*_threads(carrier, grips, clamps)]
    for rows in _worst(_links(machine, place, carrier, held, cut, mass, floors.holding) for cut in cuts):
        margins.append(rows)
    need = Margin(
        "screw proof load",
        f"{mount}: carrier screw",
        f"{held.screws.thread} {GRADE}",
        held.screws.greatest,
        proof_load(held.screws.thread, GRADE),
        "N",
        note="K 0.2, +30 %",
    )
    margins.append(need)
    margins += _brakes(machine, place, cuts, mass, centre, floors.holding)
    clamped = sum(d.kind == "clamp" for g in grips for d in g.devices)
    reasons = [Reason(mount, text) for text in assumed]
    if clamped:
        text = "at a station without a part, every clamp is tightened on a blank or taken off: a loose one turns out"
        reasons.append(Reason(mount, text))
    return ChainReport(tuple(margins), tuple(reasons))


def loose_pieces(before: Mesh, after: Mesh, part: Mesh) -> tuple[Reason, ...]:
    """What falls free when an operation ends: lumps of `after` beside the largest, as one each of `before` at most.

    All three closed meshes of the part's frame, mm. A lump is named by its volume and place; nothing where the part
    itself is made of several lumps.
    """
    lumps = sorted(manifold(after).decompose(), key=lambda b: -float(b.volume()))
    if len(lumps) <= max(len(manifold(before).decompose()), len(manifold(part).decompose())):
        return ()
    result = []
    for lump in lumps[1 : 1 + NAMED]:
        x0, y0, z0, x1, y1, z1 = lump.bounding_box()
        text = f"a loose piece of {x1 - x0:.1f} × {y1 - y0:.1f} × {z1 - z0:.1f} mm is left: hold it, or cut it to chips"
        result.append(Reason("last cut", text, float(lump.volume()), "mm³"))
    return tuple(result)


def _mount(machine: Machine, carrier: Carrier, place: Mount) -> tuple[_Mount, list[str]]:
    """The mount's screws, from the shop's holes or assumed, with what was assumed."""
    rotary = machine.rotary if place.rotary else None
    holes = [h for h in carrier.mount_holes if h.kind != "dowel" and h.end == "faceplate"]
    pin, pin_at = _pin(carrier)
    if rotary is not None:
        half = min(carrier.blank_diameter or rotary.faceplate_diameter, rotary.faceplate_diameter) / 2.0
    else:
        half = min(carrier.length, carrier.width or carrier.length) / 2.0
    thread, count, torque = FACEPLATE_SCREWS if rotary is not None else TABLE_SCREWS
    if holes:
        thread, count = holes[0].size, len(holes)
        # The torque that gives three quarters of the proof load at its scatter upwards.
        torque = 0.75 * proof_load(thread, GRADE) / 1.3 * 0.2 * bolt(thread).diameter / 1000.0
        circle = float(np.mean([math.hypot(h.x, h.y) for h in holes]))
        told = f"{count} × {thread} of its mount holes, class {GRADE}, tightened to {torque:.0f} N·m"
    else:
        circle = CIRCLE * half
        told = f"{count} × {thread} {GRADE} at {torque:g} N·m assumed: the shop lists no mount holes (no source)"
    return _Mount(Screws(thread, count, torque, GRADE), circle, half, pin, pin_at), [told]


def _pin(carrier: Carrier) -> tuple[float, float]:
    """(N, mm) that the outermost dowel of a mount bears in shear and on its hole's wall, and its distance out."""
    rows = [(math.hypot(h.x, h.y), float(h.size)) for h in carrier.mount_holes if _is_pin(h)]
    out, size = max(rows, default=(0.0, 0.0))
    shear, wall = DOWEL_SHEAR * math.pi / 4.0 * size**2, BEARING[carrier.steel] * size * ENGAGED * size
    return min(shear, wall), out


def _is_pin(hole: MountHole) -> bool:
    return hole.kind == "dowel" and hole.end == "faceplate"


def _on(body: Body, place: Mount, stations: set[str]) -> bool:
    """Whether a body hangs on the mount: on a table its carrier and what stands at its stations."""
    if place.rotary:
        return body.group == place.id
    return body.id == f"{place.id}/{place.carrier}" or body.owner in stations


def _mass(bodies: Sequence[Body], densities: Mapping[str, float]) -> tuple[float, Array]:
    """(kg, centre (3,) mm) of the bodies in the machine frame at angle zero."""
    kilos = np.array([b.mesh.volume * 1e-9 * densities.get(b.kind, 7850.0) for b in bodies])
    if not len(bodies) or kilos.sum() <= 0:
        return 0.0, np.zeros(3)
    centres = np.array([b.pose[:3, :3] @ b.mesh.centroid + b.pose[:3, 3] for b in bodies])
    return float(kilos.sum()), np.asarray(kilos @ centres / kilos.sum())


def _threads(carrier: Carrier, grips: Iterable[Grip], clamps: Sequence[Clamp]) -> list[Margin]:
    """The thread of every kind of clamp in the carrier; a vise's own screw isn't one."""
    known = {c.id: c for c in clamps}
    used = sorted({d.catalogue for g in grips for d in g.devices if d.kind == "clamp" and d.catalogue in known})
    margins = []
    for clamp in (known[name] for name in used if carrier.kind != "vise"):
        depth = ENGAGED * bolt(clamp.screw).diameter
        screws = Screws(clamp.screw, 1, clamp.torque, GRADE)
        margins.append(screw_margins(screws, f"clamp {clamp.id}", depth=depth, tensile=TENSILE[carrier.steel])[1])
    return margins


def _links(
    machine: Machine, place: Mount, carrier: Carrier, held: _Mount, cut: PlacedCut, mass: float, safety: float
) -> list[Margin]:
    """Slip and tipping of one mount under one cut, always in the same order."""
    grown = 1.0 + cut.load.spread
    side, pull, torque = (grown * v for v in (cut.load.side, cut.load.pull, cut.load.torque))
    name = f"{place.id}: carrier on its mount"
    if place.rotary and machine.rotary is not None:
        links = _on_faceplate(machine, place, held, cut, name, safety)
    else:
        tips = cut.tips - place.pose[:3, 3]
        arm, height = float(np.hypot(tips[:, 0], tips[:, 1]).max()), float(tips[:, 2].max())
        twist = (side * arm + 1000.0 * torque) / held.circle
        slip = slip_margin(held.screws, name, side + twist, pull, safety=safety, friction=MOUNT_FRICTION)
        slip = replace(slip, have=slip.have + held.pin)
        over = max(0.0, arm - held.half)
        tip = tipping_margin(
            held.screws, name, side, pull + grown * cut.load.push * over / held.half, height, held.half, mass,
            safety=safety,
        )  # fmt: skip
        links = [slip, tip]
    pins = "; friction and one dowel together, the dowel estimated" if held.pin else ""
    return [replace(m, obstacle=f"{cut.name} at {cut.station}", note=f"{m.obstacle}{pins}") for m in links]


def _on_faceplate(
    machine: Machine, place: Mount, held: _Mount, cut: PlacedCut, name: str, safety: float
) -> list[Margin]:
    """The torque about the axis by friction at the faceplate, and the bending of a pallet without a tailstock."""
    about = _about(place, cut)
    have = (MOUNT_FRICTION * held.screws.least * held.circle + held.pin * held.pin_at) / 1000.0
    links = [Margin("mount slip", name, f"{held.screws.count} × {held.screws.thread}", safety * about, have, "N·m")]
    if machine.rotary is not None and not machine.rotary.tailstock:
        out = float(np.abs((cut.tips - np.asarray(place.axis_point)) @ np.asarray(place.axis)).max())
        force = (1.0 + cut.load.spread) * max(cut.load.side, cut.load.push, cut.load.pull)
        links.append(tipping_margin(held.screws, name, force, 0.0, out, held.half, 0.0, safety=safety))
    return links


def _about(place: Mount, cut: PlacedCut) -> float:
    """N·m that a cut puts on the rotary axis: its side force over the tip's height, its thrust over the offset."""
    arm = cut.tips - np.asarray(place.axis_point)
    beside = np.abs(arm @ np.cross(np.asarray(place.axis), [0.0, 0.0, 1.0]))
    along = max(cut.load.push, cut.load.pull)
    return float((1.0 + cut.load.spread) * (cut.load.side * np.abs(arm[:, 2]) + along * beside).max() / 1000.0)


def _brakes(
    machine: Machine, place: Mount, cuts: Sequence[PlacedCut], mass: float, centre: Array, safety: float
) -> list[Margin]:
    """The rotary's brake at every angle used, under the worst cut there."""
    if not place.rotary or machine.rotary is None:
        return []
    axis, out = np.asarray(place.axis), centre - np.asarray(place.axis_point)
    flat = out - (out @ axis) * axis
    across = np.cross(axis, [0.0, 0.0, 1.0])
    margins = []
    for angle in sorted({round(c.angle, 3) + 0.0 for c in cuts}):
        worst = max((c for c in cuts if abs(c.angle - angle) < 2e-3), key=lambda c: _about(place, c))
        turn = math.radians(angle)
        turned = flat * math.cos(turn) + np.cross(axis, flat) * math.sin(turn)
        off = abs(float(turned @ across))
        made = brake_margin(
            machine.rotary.brake_torque, f"{place.id}: rotary axis", 1000.0 * _about(place, worst), 1.0, 0.0, mass, off,
            90.0, safety=safety,
        )  # fmt: skip
        margins.append(replace(made, obstacle=f"brake at {angle:g}°: {worst.name} at {worst.station}"))
    return margins


def _worst(rows: Iterable[list[Margin]]) -> list[Margin]:
    """Of each link the margin with the least spare over its need."""
    columns = list(zip(*rows, strict=True))
    return [min(column, key=lambda m: m.have / max(m.need, 1e-9)) for column in columns]
