"""Contacts as they really press: serrated faces on raw stock, and how stiff a pad on a part is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from palletwright.grip.model import Contact
from palletwright.shop.model import Clamp, Locator, Material

BITE = 0.45 / 0.10 / 1.2
"""Friction of a serrated face on unmachined stock over that of a smooth face on a machined one, both wet.

0.45 and 0.10: Roehm RN-1391 p. 45 Table 4, steel; the material's own correction is in its smooth value already. The
divisor 1.2 for wet cutting: a chuck maker's manual, as in the handbook's friction table.
"""

MODULUS = {"P": 210e3, "M": 200e3, "K": 110e3, "N": 70e3, "S": 110e3, "H": 210e3}
"""N/mm², Young's modulus by ISO 513 group; textbook values, from memory."""

STEEL = 210e3
BODY = 5.0e5
"""N/mm, stiffness of a device's body and its seat in series with the contact: estimated, no source."""

AIR = 1.0
"""N/mm, stiffness of what sucks: its force doesn't change with the part's small movements."""

PAD = 4.0
"""mm, half the width of a pad where the catalogue doesn't tell: common practice, no source."""


def stiffness(material: Material, half_width: float) -> float:
    """N/mm of a flat pad on the part, in series with the device's body.

    Half the rigid punch's 2·E*·a (Johnson, Contact Mechanics, flat punch on a half space; halved for real, rough
    contact: estimated), with 1/E* = (1 − 0.3²)·(1/E₁ + 1/E₂).
    """
    reduced = 1.0 / (0.91 * (1.0 / MODULUS[material.group] + 1.0 / STEEL))
    contact = reduced * half_width
    return 1.0 / (1.0 / contact + 1.0 / BODY)


def dressed(
    contacts: Sequence[Contact], catalogue: Mapping[str, Clamp | Locator], material: Material
) -> tuple[Contact, ...]:
    """The contacts with friction and stiffness by what presses and on what.

    `catalogue` gives the device behind a contact's `device`, where the shop's list has it. A face that touches at two
    levels shares its stiffness between them.
    """
    low = {c.id for c in contacts if c.id.endswith("-low")}
    shared = low | {name.removesuffix("-low") for name in low}

    def one(contact: Contact) -> Contact:
        device = catalogue.get(contact.device)
        if isinstance(device, Clamp) and device.kind == "vacuum" and contact.kind == "clamp":
            return replace(contact, stiffness=AIR)
        half = min(device.footprint) / 2 if device is not None else PAD
        stiff = stiffness(material, min(half, 10.0)) / (2.0 if contact.id in shared else 1.0)
        if not contact.raw or device is None or not device.serrated or not any(contact.friction):
            return replace(contact, stiffness=stiff)
        least, usual = contact.friction
        return replace(contact, stiffness=stiff, friction=(least * BITE, max(usual, least) * BITE))

    return tuple(one(c) for c in contacts)
