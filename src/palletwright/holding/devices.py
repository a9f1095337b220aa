"""Clamps under their load: screws against the proof load, marks on the part, and what to set at each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from palletwright.grip.model import Grip
from palletwright.holding.bolts import NUT_FACTOR, SCATTER, bolt, proof_load, screw_force
from palletwright.holding.contacts import Array, Contacts
from palletwright.holding.model import Window
from palletwright.shop.model import Clamp
from palletwright.verdict import Margin

# Height of a clamp's contact patch, mm, where its drawing gives none (estimated).
PATCH_HEIGHT = 3.0
# Mean pressure over yield strength at which a flat pad marks a part: 1 is the onset in plain compression (statics).
MARK = 1.0
# On a raw face, which is cut away later, a mark does no harm until the pad sinks in: full plastic pressure over yield
# strength (Tabor; from memory, unconfirmed).
SINKS = 2.8
GRADE = "8.8"
# A screw's head over its clearance hole, ISO 273 medium: 1.1 times the thread (from memory, unconfirmed).
HOLE = 1.1
# Kinds whose pressure marks nothing: air presses evenly, and studs and tenons hold stock that goes later.
MARKLESS = frozenset({"vacuum", "stud", "dovetail"})
# Shear strength over yield strength (von Mises, 1/√3), and the share of a thread's cylinder that shears (estimated).
SHEAR, THREAD_SHARE = 0.577, 0.5
# Contacts of one wide pad stand this share of its half width apart (the grip room places them so).
INSET = 0.9
CANCELS = 0.1  # share of a device's forces under which their sum says nothing of its screw


def clamp_of(grip: Grip, device: str, clamps: Sequence[Clamp]) -> Clamp | None:
    """The shop's clamp behind a contact's device id, if both are known."""
    catalogue = {d.id: d.catalogue for d in grip.devices}.get(device, device)
    return next((c for c in clamps if c.id == catalogue), None)


def short_by(grip: Grip, base: Contacts, clamps: Sequence[Clamp], drop: float) -> Array:
    """(m,) share of its preload that each contact keeps: `drop` off for screws, their own drop off for pressure."""
    device = {c.id: c.device for c in grip.contacts}
    known = [clamp_of(grip, device[i], clamps) for i in base.ids]
    return 1.0 - np.array([drop if c is None or c.pressure is None else c.pressure_drop for c in known])


@dataclass(frozen=True, slots=True)
class Pressed:
    """One clamp in place: the share of its rated force that its contacts give, how far the cut raises it (≥ 1), and
    the mm of width with which it touches the part.

    A seat's share is of the force over its whole footprint; it has no screw that the cut could raise. `raw`: all its
    contacts are on uncut faces of the blank.
    """

    device: str
    clamp: Clamp
    share: float
    raised: float
    width: float
    raw: bool = False

    @property
    def bears(self) -> float:
        """Pressure over the part's yield strength up to which it does no harm."""
        return SINKS if self.raw else MARK

    @property
    def torque(self) -> float:
        """N·m to set."""
        return self.clamp.torque * self.share

    @property
    def screw(self) -> float:
        """Greatest screw force, N, scatter included."""
        return screw_force(self.torque, bolt(self.clamp.screw).diameter)[2] * self.raised

    @property
    def scatter(self) -> float:
        """Fraction by which its force may be exceeded: a screw's by torque; pressure is limited by its valve."""
        return SCATTER if self.clamp.pressure is None else 0.0

    @property
    def area(self) -> float:
        """mm² that press on the part: a screw's head around its hole, else the pad's width by its height."""
        if self.clamp.kind == "screw":
            hole = HOLE * bolt(self.clamp.screw).diameter
            return math.pi / 4.0 * max(self.clamp.footprint[0] ** 2 - hole**2, 1.0)
        if self.clamp.kind == "expander":  # one of three segments: half its third of the bore, half its length
            return self.clamp.footprint[0] * math.pi / 6.0 * self.clamp.height / 2.0
        return self.width * PATCH_HEIGHT

    @property
    def pressure(self) -> float:
        """N/mm² on the part, scatter and the cut's share included."""
        return self.clamp.force * self.share * (1.0 + self.scatter) * self.raised / self.area


def pressed(grip: Grip, base: Contacts, clamps: Sequence[Clamp], reactions: Array | None = None) -> list[Pressed]:
    """The clamps that the shop's list names, each with all its contacts.

    Their preloads add as vectors; where they cancel, as in a bore that is spread, the greatest of them counts.
    """
    found = []
    for name, at in _owned(grip, base).items():
        clamp = clamp_of(grip, name, clamps)
        force = _together(base, at, base.preload[at])
        if clamp is None or force <= 0:
            continue
        now = force if reactions is None else _together(base, at, reactions[at, 0])
        raw = all(c.raw for c in grip.contacts if c.id in {base.ids[i] for i in at})
        found.append(Pressed(name, clamp, force / clamp.force, max(1.0, now / force), _wide(base, at, clamp), raw))
    return found


def _owned(grip: Grip, base: Contacts) -> dict[str, list[int]]:
    """The rows of each device's clamping contacts."""
    device = {c.id: c.device for c in grip.contacts}
    rows: dict[str, list[int]] = {}
    for i in range(base.locators, len(base.ids)):
        rows.setdefault(device[base.ids[i]] or base.ids[i], []).append(i)
    return rows


def _together(base: Contacts, at: list[int], normal: Array) -> float:
    """N of one device: the vector sum of its contacts' normal forces, or the greatest where they cancel."""
    drag = np.zeros(3) if base.drag is None else base.drag[at].sum(axis=0)
    force = float(np.linalg.norm((normal[:, None] * base.normal[at]).sum(axis=0) + drag))
    return force if force > CANCELS * float(normal.sum()) else float(normal.max())


def _wide(base: Contacts, at: list[int], clamp: Clamp) -> float:
    """mm of width with which a clamp touches the part: its pad's, or less where its contacts stand closer."""
    spread = float(np.linalg.norm(base.at[at][:, None] - base.at[at][None], axis=2).max())
    return min(clamp.footprint[0], spread / INSET) if spread > 1.0 else clamp.footprint[0]


def device_margins(
    grip: Grip, base: Contacts, reactions: Array, clamps: Sequence[Clamp], yield_strength: float | None
) -> tuple[Margin, ...]:
    """Screw and mark margins of every clamp that the shop's list names.

    `base` holds the nominal preloads (N), `reactions` (m, 3) the contact forces under the worst load at its factor:
    where the cut raises a clamp's force, its screw carries it. The preload counts with its scatter upwards.
    """
    margins = []
    for p in pressed(grip, base, clamps, reactions):
        subject = f"clamp {p.device}"
        if p.clamp.pressure is None:
            note = f"torque {p.torque:.1f} N·m, K {NUT_FACTOR:g}, +{SCATTER:.0%} scatter, class {GRADE} assumed"
            have = proof_load(p.clamp.screw, GRADE)
            margins.append(Margin("screw proof load", subject, p.clamp.screw, p.screw, have, "N", note=note))
        if yield_strength is not None and p.clamp.kind == "stud":
            margins.append(_thread(p, yield_strength))
        if yield_strength is not None and p.clamp.kind not in MARKLESS:
            note = f"pressed on {p.area:.0f} mm² (estimated)" + ("; a raw face, cut away later" if p.raw else "")
            have = p.bears * yield_strength
            margins.append(Margin("marks", subject, "part", p.pressure, have, "N/mm²", note=note))
    return tuple(margins)


def _thread(p: Pressed, yield_strength: float) -> Margin:
    """A stud's thread in the part's stock against stripping, scatter and the cut's share included."""
    size, deep = bolt(p.clamp.screw).diameter, p.clamp.reach_height
    have = THREAD_SHARE * math.pi * size * deep * SHEAR * yield_strength
    need = p.clamp.force * p.share * (1.0 + p.scatter) * p.raised
    told = f"{p.clamp.screw} × {deep:g} mm"
    return Margin("thread in stock", f"clamp {p.device}", told, need, have, "N", note="estimated")


def windows(
    grip: Grip, base: Contacts, slides_at: float, clamps: Sequence[Clamp], yield_strength: float | None
) -> tuple[Window, ...]:
    """What to set at each clamp: from where the part slides to where the screw or the part gives.

    A clamp that isn't in the list, such as a vise's jaw, is told by its force, and what gives isn't known.

    `slides_at` is the share of the nominal preloads at which the holding factor meets its floor.
    """
    found = []
    for p in pressed(grip, base, clamps):
        most, by = min(limits(p, yield_strength), default=(math.inf, "nothing known"))
        now, unit = (p.torque, "N·m") if p.clamp.pressure is None else (p.clamp.pressure * p.share, "bar")
        found.append(Window(p.device, p.clamp.screw, now * slides_at, now, now * most, by, unit))
    for name, at in _owned(grip, base).items():
        kilonewtons = _together(base, at, base.preload[at]) / 1000.0
        if clamp_of(grip, name, clamps) is None and kilonewtons > 0:
            found.append(Window(name, "", kilonewtons * slides_at, kilonewtons, math.inf, "nothing known", "kN"))
    return tuple(found)


def limits(p: Pressed, yield_strength: float | None) -> list[tuple[float, str]]:
    """How many times its setting a clamp bears until something gives, and what."""
    ends = []
    if p.clamp.pressure is None:
        ends.append((proof_load(p.clamp.screw, GRADE) / p.screw, f"screw {p.clamp.screw} passes its proof load"))
    if yield_strength is not None and p.clamp.kind == "stud":
        thread = _thread(p, yield_strength)
        ends.append((thread.have / thread.need, "strips its thread in the stock"))
    if yield_strength is not None and p.clamp.kind not in MARKLESS:
        ends.append((p.bears * yield_strength / p.pressure, "sinks into the raw face" if p.raw else "marks the part"))
    return ends
