"""Contacts as arrays: where things touch the part, how stiff, how slippery, and what they locate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from palletwright.grip.model import Contact

Array = NDArray[np.float64]

# Tangential over normal stiffness of an elastic contact: 2(1 − ν)/(2 − ν) at ν 0.3 (Mindlin 1949, from memory).
TANGENTIAL = 0.82
STANDARD_GRAVITY = 9.80665
# Normal stiffness, N/mm, where a grip gives none. A locator: flat steel pad of 8 mm on aluminium, 2·E*·a = 4.7e5 (flat
# punch, Johnson 1985, Contact Mechanics, from memory) in series with its body of about 5e5 (estimated). A clamp: its
# screw and body (estimated).
LOCATOR_STIFFNESS = 2.0e5
CLAMP_STIFFNESS = 5.0e4
_PULL = "-down"
_CONSTANT = 1.0  # N/mm: so soft that the force stays what it is
_UNKNOWN = Contact.__dataclass_fields__["stiffness"].default


@dataclass(frozen=True, eq=False)
class Contacts:
    """Locators first, then clamps.

    Attributes
    ----------
    at, normal : (m, 3) mm and unit vectors into the part
    mu : (m,) friction; 0 gives a contact no tangential force at all
    stiffness : (m,) N/mm along the normal
    preload : (m,) N, 0 at locators
    locators : how many of them are locators
    drag : (m, 3) N along x, y, z: what a clamp that slides down its ramp already pulls along the wall at rest
    face : (m,) contacts of one flat face share a number: it has lifted when all of them have
    """

    ids: tuple[str, ...]
    locators: int
    at: Array
    normal: Array
    mu: Array
    stiffness: Array
    preload: Array
    drag: Array | None = None
    face: NDArray[np.intp] | None = None

    def scaled(self, share: float | Array) -> Contacts:
        """The same contacts with all preloads, and what they drag along, times `share` (one, or one each (m,))."""
        drag = None if self.drag is None else np.multiply(share, self.drag.T).T
        return replace(self, preload=np.multiply(share, self.preload), drag=drag)

    @cached_property
    def basis(self) -> Array:
        """(m, 3, 3): rows are the normal and two tangents."""
        least = np.eye(3)[np.argmin(np.abs(self.normal), axis=1)]
        first = np.cross(self.normal, least)
        first /= np.linalg.norm(first, axis=1, keepdims=True)
        return np.stack([self.normal, first, np.cross(self.normal, first)], axis=1)

    @cached_property
    def grasp(self) -> Array:
        """(m, 3, 6): maps the part's twist (mm, rad about the origin) to the displacement along the basis rows.

        Its transpose maps a contact force along the rows to its wrench (N, N·mm about the origin).
        """
        return np.concatenate([self.basis, np.cross(self.at[:, None, :], self.basis)], axis=2)

    @cached_property
    def length(self) -> float:
        """mm, the contacts' own size: brings moments to the size of forces."""
        spread = self.at - self.at.mean(axis=0)
        return max(1.0, float(np.sqrt((spread**2).sum(axis=1).mean())))

    @property
    def is_clamp(self) -> NDArray[np.bool_]:
        return np.arange(len(self.ids)) >= self.locators

    def with_preload(self, preload: Sequence[float] | Array) -> Contacts:
        """The same contacts with these clamp preloads (N)."""
        values = np.zeros(len(self.ids))
        values[self.locators :] = preload
        return replace(self, preload=values)


def contacts_of(contacts: Sequence[Contact], *, clamp_friction: bool = True, usual: bool = False) -> Contacts:
    """Arrays of a grip's contacts, friction at its low value (or the usual one), none at clamps if so asked.

    A stiffness left at the contract's default counts as not known and gets the usual one of its kind. The pull of a
    clamp onto the seat (`C1-down`) is friction of its nose (`C1`). With friction at clamps it is that contact's
    tangential force at rest, within the one cone; without, a constant force, since a nose can't pull more than it
    slides.
    """
    usual_stiffness = {"locator": LOCATOR_STIFFNESS, "clamp": CLAMP_STIFFNESS}
    pulls = {c.id.removesuffix(_PULL): c.preload * np.array(c.normal) for c in contacts if c.id.endswith(_PULL)}
    kept = [c for c in contacts if not (clamp_friction and c.id.endswith(_PULL))]
    rows = [c for c in kept if c.kind == "locator"] + [c for c in kept if c.kind == "clamp"]
    mu = [c.friction[usual] if clamp_friction or c.kind == "locator" else 0.0 for c in rows]
    stiffness = [usual_stiffness[c.kind] if c.stiffness == _UNKNOWN else c.stiffness for c in rows]
    stiffness = [_CONSTANT if c.id.endswith(_PULL) else k for c, k in zip(rows, stiffness, strict=True)]
    normal = np.array([c.normal for c in rows], dtype=float).reshape(-1, 3)
    drag = np.array([pulls.get(c.id, np.zeros(3)) if clamp_friction else np.zeros(3) for c in rows]).reshape(-1, 3)
    return Contacts(
        tuple(c.id for c in rows),
        sum(c.kind == "locator" for c in rows),
        np.array([c.at for c in rows], dtype=float).reshape(-1, 3),
        normal / np.linalg.norm(normal, axis=1, keepdims=True),
        np.array(mu, dtype=float),
        np.array(stiffness, dtype=float),
        np.array([c.preload if c.kind == "clamp" else 0.0 for c in rows], dtype=float),
        drag,
        _faces(rows),
    )


def _faces(rows: Sequence[Contact]) -> NDArray[np.intp]:
    """(m,) the same number for the seat's points (ids R1, R2, …), and for locators of one device with one normal."""
    seen: dict[object, int] = {}
    return np.array([seen.setdefault(_face(c), i) for i, c in enumerate(rows)], dtype=np.intp)


def _face(contact: Contact) -> object:
    if contact.kind != "locator" or not contact.device:
        return contact.id
    owner = "seat" if contact.id[:1] == "R" and contact.id[1:].isdigit() else contact.device
    return (owner, *(round(n, 6) + 0.0 for n in contact.normal))


def wrench(at: Array, force: Array, moment: Array) -> Array:
    """(…, 6) wrench about the origin of forces (N) at points (mm) with free moments (N·mm)."""
    return np.concatenate([force, np.cross(at, force) + moment], axis=-1)


def location(contacts: Contacts) -> tuple[int, float]:
    """Rank and condition number of the locator matrix, rows [n, (r − c) × n / L].

    Rank 6 locates the part (Asada & By, IEEE J. Robotics & Automation 1(2), 1985, from memory). c is the locators'
    centre and L their own size, so that the condition has no unit. Infinite where the rank is short.
    """
    n = contacts.locators
    if n == 0:
        return 0, float("inf")
    rows = contacts.grasp[:n, 0, :].copy()
    centre = contacts.at[:n].mean(axis=0)
    scale = max(1.0, float(np.sqrt(((contacts.at[:n] - centre) ** 2).sum(axis=1).mean())))
    rows[:, 3:] = np.cross(contacts.at[:n] - centre, contacts.normal[:n]) / scale
    values = np.linalg.svd(rows, compute_uv=False)
    rank = int((values > 1e-9 * values[0]).sum())
    return rank, float(values[0] / values[5]) if rank == 6 else float("inf")
