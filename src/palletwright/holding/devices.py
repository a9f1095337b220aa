"""Clamps under their load: screws against the proof load, marks on the part."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from palletwright.grip.model import Grip
from palletwright.holding.bolts import SCATTER, bolt, proof_load, screw_force
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


def device_margins(
    grip: Grip, base: Contacts, reactions: Array, clamps: Sequence[Clamp], yield_strength: float | None
) -> tuple[Margin, ...]:
    """Margins of every clamp that the shop's list names.

    `base` holds the nominal preloads (N), `reactions` (m, 3) the contact forces under the worst load at its factor:
    where the cut raises a clamp's force, its screw carries it. The preload counts with its scatter upwards.
    """
    margins = []
    by_id = {c.id: c for c in grip.contacts}
    for i in range(base.locators, len(base.ids)):
        clamp = clamp_of(grip, by_id[base.ids[i]].device, clamps)
        if clamp is None or base.preload[i] <= 0:
            continue
        share = base.preload[i] / clamp.force
        raised = max(1.0, float(reactions[i, 0] / base.preload[i]))
        screw = screw_force(clamp.torque * share, bolt(clamp.screw).diameter)[2] * raised
        note = f"torque {clamp.torque * share:.1f} N·m, K 0.2, +{SCATTER:.0%} scatter, class {GRADE} assumed"
        margins.append(
            Margin(
                "screw proof load",
                f"clamp {base.ids[i]}",
                clamp.screw,
                screw,
                proof_load(clamp.screw, GRADE),
                "N",
                note=note,
            )
        )
        if yield_strength is not None:
            pressure = base.preload[i] * (1.0 + SCATTER) * raised / (clamp.footprint[0] * PATCH_HEIGHT)
            note = f"contact patch {clamp.footprint[0]:g} × {PATCH_HEIGHT:g} mm (estimated)"
            margins.append(
                Margin(
                    "marks", f"clamp {base.ids[i]}", "part", float(pressure), MARK * yield_strength, "N/mm²", note=note
                )
            )
    return tuple(margins)


def torque_window(
    grip: Grip, base: Contacts, slides_at: float, clamps: Sequence[Clamp], yield_strength: float
) -> dict[str, tuple[float, float]]:
    """Torque (N·m) window of each named clamp: from where the part slides to where the screw or the part gives.

    `slides_at` is the share of the nominal preloads at which the holding factor meets its floor.
    """
    window = {}
    by_id = {c.id: c for c in grip.contacts}
    for i in range(base.locators, len(base.ids)):
        clamp = clamp_of(grip, by_id[base.ids[i]].device, clamps)
        if clamp is None:
            continue
        nominal = clamp.torque * base.preload[i] / clamp.force
        by_screw = (
            clamp.torque * proof_load(clamp.screw, GRADE) / screw_force(clamp.torque, bolt(clamp.screw).diameter)[2]
        )
        by_mark = (
            nominal * MARK * yield_strength * clamp.footprint[0] * PATCH_HEIGHT / (base.preload[i] * (1 + SCATTER))
        )
        window[base.ids[i]] = (float(nominal * slides_at), float(np.minimum(by_screw, by_mark)))
    return window
