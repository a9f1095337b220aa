"""Clamps under their load: screws against the proof load, marks on the part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from palletwright.grip.model import Grip
from palletwright.holding.bolts import NUT_FACTOR, SCATTER, bolt, proof_load, screw_force
from palletwright.holding.contacts import Array, Contacts
from palletwright.shop.model import Clamp
from palletwright.verdict import Margin

# Height of a clamp's contact patch, mm, where its drawing gives none (estimated).
PATCH_HEIGHT = 3.0
# Mean pressure over yield strength at which a flat pad marks a part: 1 is the onset in plain compression (statics).
MARK = 1.0
GRADE = "8.8"


def clamp_of(grip: Grip, device: str, clamps: Sequence[Clamp]) -> Clamp | None:
    """The shop's clamp behind a contact's device id, if both are known."""
    catalogue = {d.id: d.catalogue for d in grip.devices}.get(device, device)
    return next((c for c in clamps if c.id == catalogue), None)


@dataclass(frozen=True, slots=True)
class Pressed:
    """One clamp in place: the share of its rated force that its contacts give, and how far the cut raises it (≥ 1)."""

    device: str
    clamp: Clamp
    share: float
    raised: float

    @property
    def torque(self) -> float:
        return self.clamp.torque * self.share

    @property
    def screw(self) -> float:
        """Greatest screw force, N, scatter included."""
        return screw_force(self.torque, bolt(self.clamp.screw).diameter)[2] * self.raised


def pressed(grip: Grip, base: Contacts, clamps: Sequence[Clamp], reactions: Array | None = None) -> list[Pressed]:
    """The clamps that the shop's list names, each with all its contacts: their preloads add as vectors."""
    device = {c.id: c.device for c in grip.contacts}
    rows: dict[str, list[int]] = {}
    for i in range(base.locators, len(base.ids)):
        rows.setdefault(device[base.ids[i]] or base.ids[i], []).append(i)
    found = []
    for name, at in rows.items():
        clamp = clamp_of(grip, name, clamps)
        drag = np.zeros(3) if base.drag is None else base.drag[at].sum(axis=0)
        force = float(np.linalg.norm((base.preload[at, None] * base.normal[at]).sum(axis=0) + drag))
        if clamp is None or force <= 0:
            continue
        now = (
            force
            if reactions is None
            else float(np.linalg.norm((reactions[at, 0, None] * base.normal[at]).sum(axis=0) + drag))
        )
        found.append(Pressed(name, clamp, force / clamp.force, max(1.0, now / force)))
    return found


def device_margins(
    grip: Grip, base: Contacts, reactions: Array, clamps: Sequence[Clamp], yield_strength: float | None
) -> tuple[Margin, ...]:
    """Screw and mark margins of every clamp that the shop's list names.

    `base` holds the nominal preloads (N), `reactions` (m, 3) the contact forces under the worst load at its factor:
    where the cut raises a clamp's force, its screw carries it. The preload counts with its scatter upwards.
    """
    margins = []
    for p in pressed(grip, base, clamps, reactions):
        note = f"torque {p.torque:.1f} N·m, K {NUT_FACTOR:g}, +{SCATTER:.0%} scatter, class {GRADE} assumed"
        have = proof_load(p.clamp.screw, GRADE)
        margins.append(Margin("screw proof load", f"clamp {p.device}", p.clamp.screw, p.screw, have, "N", note=note))
        if yield_strength is not None:
            pressure = p.clamp.force * p.share * (1.0 + SCATTER) * p.raised / (p.clamp.footprint[0] * PATCH_HEIGHT)
            note = f"contact patch {p.clamp.footprint[0]:g} × {PATCH_HEIGHT:g} mm (estimated)"
            margins.append(
                Margin("marks", f"clamp {p.device}", "part", pressure, MARK * yield_strength, "N/mm²", note=note)
            )
    return tuple(margins)


def torque_window(
    grip: Grip, base: Contacts, slides_at: float, clamps: Sequence[Clamp], yield_strength: float
) -> dict[str, tuple[float, float]]:
    """Torque (N·m) window of each named clamp: from where the part slides to where the screw or the part gives.

    `slides_at` is the share of the nominal preloads at which the holding factor meets its floor.
    """
    window = {}
    for p in pressed(grip, base, clamps):
        by_screw = p.torque * proof_load(p.clamp.screw, GRADE) / p.screw
        area = p.clamp.footprint[0] * PATCH_HEIGHT
        by_mark = p.torque * MARK * yield_strength * area / (p.clamp.force * p.share * (1.0 + SCATTER))
        window[p.device] = (p.torque * slides_at, min(by_screw, by_mark))
    return window
