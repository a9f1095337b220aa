"""Tight tolerances between features, as the file carries them, turned into wishes for one clamping."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from palletwright.access.model import Feature
from palletwright.access.shapes import face_areas
from palletwright.solid.tolerances import Tolerance, Tolerances
from palletwright.verdict import Reason

TIGHT = 0.1
"""mm at or under which a tolerance between features asks for one clamping: clamping anew costs about 0.05 mm
(common practice, no source)."""
MUTUAL = frozenset(
    {
        "position",
        "perpendicularity",
        "parallelism",
        "angularity",
        "concentricity",
        "coaxiality",
        "symmetry",
        "circular runout",
        "total runout",
        "profile of surface",
        "profile of line",
    }
)
"""tolerances that tie a feature to its datums; form tolerances tie it to nothing."""

FORM = frozenset({"flatness", "straightness", "roundness", "cylindricity"})
TIGHT_FORM = 0.03
"""mm at or under which a form tolerance may ask for finishing after letting go (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Wish:
    """Features that one tolerance ties together, and its words."""

    features: tuple[str, ...]
    text: str


def tight_wishes(features: Sequence[Feature], read: Tolerances | None) -> list[Wish]:
    """One wish for each tight tolerance whose faces, with those of its datums, are made by several features."""
    if read is None:
        return []
    datum = {t.datums[0]: t.faces for t in read.items if t.kind == "datum" and t.datums}
    maker = makers(features)
    out = []
    for t in read.items:
        if t.kind not in MUTUAL or t.value is None or t.value > TIGHT:
            continue
        faces = [*t.faces, *(k for letter in t.datums for k in datum.get(letter, ()))]
        tied = tuple(dict.fromkeys(maker[k] for k in faces if k in maker))
        if len(tied) > 1:
            out.append(Wish(tied, words(t)))
    return out


def of_form(features: Sequence[Feature], read: Tolerances) -> list[Reason]:
    """A remark for each tight form tolerance on what is milled: let go and clamped anew, it may take one more."""
    maker = makers([f for f in features if f.kind != "hole"])
    rows = []
    for t in read.items:
        made = tuple(dict.fromkeys(maker[k] for k in t.faces if k in maker))
        if t.kind in FORM and t.value is not None and t.value <= TIGHT_FORM and made:
            text = (
                f"{t.kind} {t.value:g} mm: where clamping or stress bends the part, finish {', '.join(made)} in a "
                "clamping of its own after letting go, one more than the least"
            )
            rows.append(Reason("tolerance", text, t.value, "mm"))
    return rows


def words(t: Tolerance) -> str:
    to = f" to {', '.join(t.datums)}" if t.datums else ""
    return f"{t.kind} {t.value:g} mm{to}"


def makers(features: Sequence[Feature]) -> dict[int, str]:
    """The part's face to the feature with a route that makes most of it."""
    best: dict[int, tuple[float, str]] = {}
    for f in features:
        if not f.routes:
            continue
        areas = face_areas(f.removal) if f.removal.face_of is not None else {}
        # A hole's room stands a little off the wall, so its own walls have no area there.
        if f.kind == "hole":
            areas |= dict.fromkeys(f.faces, float("inf"))
        for k, area in areas.items():
            if k not in best or area > best[k][0]:
                best[k] = (area, f.id)
    return {k: name for k, (_, name) in best.items()}
