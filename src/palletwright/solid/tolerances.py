"""Tolerances that an AP242 file carries for machines to read: datums, geometric tolerances, toleranced sizes."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from palletwright.cache import cached
from palletwright.solid.kernel import KernelFailure, Refused, ask
from palletwright.solid.reading import checked, wrong

NOTHING = "no machine-readable tolerances in the file: nothing was read"
WORDS = (b"TOLERANCE", b"DATUM", b"DIMENSIONAL_")
"""One of these stands in every file that carries any: entity names are written out (ISO 10303-21)."""


@dataclass(frozen=True, slots=True)
class Tolerance:
    """One annotation of the file that a machine can read.

    kind : "datum", a geometric tolerance ("position", "flatness", …) or a size ("diameter", "distance", …).
    value : mm (degrees for angles): the tolerance zone of a geometric tolerance, the nominal of a size.
    lower, upper : mm, deviations of a size from its nominal; None where it has none, or where the lower one's sign
        can't be told.
    datums : letters it refers to, primary first; the datum's own letter where kind is "datum".
    faces : ids of `Solid.faces` that it holds for.
    """

    kind: str
    value: float | None
    datums: tuple[str, ...] = ()
    faces: tuple[int, ...] = ()
    lower: float | None = None
    upper: float | None = None
    diametral: bool = False
    name: str = ""


@dataclass(frozen=True, slots=True)
class Tolerances:
    """All that was read, and a sentence that says so, or that nothing was."""

    items: tuple[Tolerance, ...]
    note: str


def read_tolerances(path: Path | str, solid: int | None = None, *, timeout: float = 60) -> Tolerances:
    """The semantic tolerances of a STEP file; face ids are those of `read_step` of the same file and solid.

    Drawn annotation (lines and text without meaning) isn't read. Raises SolidError where the file can't be read.
    """
    path = Path(path)
    checked(path)
    if (solid or 1) == 1 and not any(word in path.read_bytes() for word in WORDS):
        return Tolerances((), NOTHING)
    try:
        rows = cached(
            "solid",
            ("tolerances", path, solid or 1),
            lambda: ask("tolerances", timeout, path=str(path), solid=solid or 1),
        )
    except (Refused, KernelFailure) as reason:
        raise wrong(path, "", "", str(reason), "a STEP file that the CAD kernel can read") from None
    items = tuple(Tolerance(**row) for row in rows)
    if not items:
        return Tolerances((), NOTHING)
    return Tolerances(items, summary(items))


def summary(items: tuple[Tolerance, ...]) -> str:
    """How much was read, and what is referred to without being there."""
    known = {item.datums[0] for item in items if item.kind == "datum"}
    absent = sorted({letter for item in items for letter in item.datums} - known)
    lost = sum(not item.faces for item in items)
    note = f"{len(items)} machine-readable tolerances read from the file, {len(known)} of them datums"
    if absent:
        note += f"; no face was found for datum {', '.join(absent)}"
    return note + (f"; {lost} hold for no face of this solid" if lost else "")
