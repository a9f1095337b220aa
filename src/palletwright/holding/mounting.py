"""The chain past the part for one mount of a plan: what it stands on, with every cut at every station on it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from palletwright.grip.model import Grip
from palletwright.holding.bolts import bolt, proof_load
from palletwright.holding.chain import MOUNT_FRICTION, Screws, screw_margins, slip_margin, tipping_margin
from palletwright.holding.devices import GRADE
from palletwright.holding.turning_mount import (
    UNIT_SCREWS,
    Faceplate,
    Hanging,
    PlacedCut,
    bending,
    brake_margins,
    faceplate_margins,
    unit_margins,
)
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


@dataclass(frozen=True)
class ChainReport:
    """Margins in the order in which the force passes, each the worst over all cuts, and what was assumed."""

    margins: tuple[Margin, ...]
    reasons: tuple[Reason, ...]


def chain_of(
    machine: Machine,
    scene: Scene,
    mount: str,
    carrier: Carrier,
    cuts: Sequence[PlacedCut],
    densities: Mapping[str, float],
    *,
    grips: Sequence[Grip],
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
    rotary = machine.rotary if place.rotary else None
    held, assumed = _mount(machine, carrier, place)
    stations = {c.station for c in cuts}
    on = [b for b in scene.bodies if _on(b, place, stations)]
    hanging = _hanging(on, densities)
    margins = [*_threads(carrier, grips, clamps)]
    margins += _worst(_links(machine, place, held, cut, hanging.mass, floors.holding) for cut in cuts)
    margins.append(_own_screws(mount, held.screws))
    reasons = [Reason(mount, text) for text in assumed]
    if rotary is not None:
        margins += brake_margins(rotary, place, cuts, hanging, floors.holding)
        reasons += [r for b in on if b.kind == "carrier" for r in bending(rotary, place, b, carrier.steel, cuts)]
    if any(d.kind == "clamp" for g in grips for d in g.devices):
        text = "at a station without a part, every clamp is tightened on a blank or taken off: a loose one turns out"
        reasons.append(Reason(mount, text))
    return ChainReport(tuple(margins), tuple(reasons))


def _own_screws(mount: str, screws: Screws) -> Margin:
    """The carrier's own screws against their proof load."""
    have, told = proof_load(screws.thread, screws.grade), f"{screws.thread} {screws.grade}"
    return Margin("screw proof load", f"{mount}: carrier screw", told, screws.greatest, have, "N", note="K 0.2, +30 %")


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


def _mount(machine: Machine, carrier: Carrier, place: Mount) -> tuple[Faceplate, list[str]]:
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
    assumed = [told]
    if rotary is not None:
        unit = f"{UNIT_SCREWS.count} × {UNIT_SCREWS.thread} {GRADE} at {UNIT_SCREWS.torque:g} N·m"
        assumed.append(f"the rotary unit stands on the table by {unit}: assumed, common practice, no source")
    return Faceplate(Screws(thread, count, torque, GRADE), circle, half, pin, pin_at), assumed


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


def _hanging(bodies: Sequence[Body], densities: Mapping[str, float]) -> Hanging:
    """The bodies' masses; what no density is named for counts as steel."""
    kilos = np.array([b.mesh.volume * 1e-9 * densities.get(b.kind, 7850.0) for b in bodies], dtype=float)
    centres = [b.pose[:3, :3] @ b.mesh.centroid + b.pose[:3, 3] for b in bodies]
    return Hanging(kilos, np.array(centres).reshape(-1, 3), np.array([b.kind == "part" for b in bodies], dtype=bool))


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


def _links(machine: Machine, place: Mount, held: Faceplate, cut: PlacedCut, mass: float, safety: float) -> list[Margin]:
    """Slip and tipping of one mount under one cut, always in the same order."""
    grown = 1.0 + cut.load.spread
    side, pull, torque = (grown * v for v in (cut.load.side, cut.load.pull, cut.load.torque))
    name = f"{place.id}: carrier on its mount"
    if place.rotary and machine.rotary is not None:
        links = faceplate_margins(machine.rotary, place, held, cut, name, safety)
        links += unit_margins(machine, machine.rotary, cut, safety)
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
    links[0] = replace(links[0], obstacle=f"{links[0].obstacle}{pins}")
    return [replace(m, obstacle=cut.told, note=m.obstacle) for m in links]


def _worst(rows: Iterable[list[Margin]]) -> list[Margin]:
    """Of each link the margin with the least spare over its need."""
    columns = list(zip(*rows, strict=True))
    return [min(column, key=lambda m: m.have / max(m.need, 1e-9)) for column in columns]
