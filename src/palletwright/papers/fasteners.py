"""Screws and dowels of a fixture: one for every hole that is drawn, in the standards' lengths."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from palletwright.papers.carriers import CarrierModel
from palletwright.papers.facts import Facts
from palletwright.papers.holes import DEEP, Hole
from palletwright.papers.live import Live
from palletwright.shop.model import Fastener

SCREWS = (6, 8, 10, 12, 16, 20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 80, 90, 100, 110, 120, 130, 140, 150, 160, 180)
"""mm: lengths of ISO 4762 screws; from memory, unconfirmed."""

DOWELS = (6, 8, 10, 12, 14, 16, 18, 20, 24, 28, 32, 36, 40, 45, 50, 55, 60, 70, 80, 90, 100)
"""mm: lengths of ISO 8734 dowels; from memory, unconfirmed."""


@dataclass(frozen=True, order=True, slots=True)
class Fixing:
    """A screw or dowel: thread or diameter, length in mm (None where what it goes into decides), what it holds
    ("device" or "mount")."""

    kind: str
    size: str
    length: int | None
    holds: str

    @property
    def name(self) -> str:
        """As the standards write it; a length that isn't known stays open."""
        if self.kind == "screw":
            return f"ISO 4762 {self.size}" + (f" × {self.length}" if self.length else "")
        return f"ISO 8734 {self.size} m6" + (f" × {self.length}" if self.length else "")


def fixings(facts: Facts, live: Live, models: Sequence[CarrierModel]) -> list[tuple[Fixing, int]]:
    """Every screw and dowel with its count for all sets, from the holes of the carriers' models."""
    heights = _heights(facts, live)
    counts: Counter[Fixing] = Counter()
    for model in models:
        for hole in model.holes:
            made = _fixing(hole, model, heights)
            if made is not None:
                counts[made] += facts.design.sets
    return sorted(counts.items(), key=lambda row: (row[0].kind, row[0].size, row[0].length or 0, row[0].holds))


def kept_as(fixing: Fixing, known: Sequence[Fastener]) -> Fastener | None:
    """The shop's own that fits: of the same length, else one that stands for every length."""
    same = [f for f in known if (f.kind, f.size) == (fixing.kind, fixing.size)]
    exact = [f for f in same if f.length is not None and f.length == fixing.length]
    return next(iter(exact or [f for f in same if f.length is None]), None)


def _heights(facts: Facts, live: Live) -> dict[str, tuple[float, bool]]:
    """By station and device: mm from the carrier's face to the device's top, and whether it is a pin."""
    pins = {x.id for x in facts.shop.locators if x.kind == "pin"}
    return {
        f"{station.parts[0]}/{d.id}": (float(d.mesh.bounds[1][2]), d.catalogue in pins)
        for station in facts.design.stations
        for d in live.options[station.operation].grip.devices
    }


def _fixing(hole: Hole, model: CarrierModel, heights: dict[str, tuple[float, bool]]) -> Fixing | None:
    """What goes into a hole; None for a locating pin, which is a locator itself."""
    if hole.device == "mount":
        return _mounted(hole, model)
    height, pin = heights[hole.device]
    if hole.thread:
        return Fixing("screw", hole.thread, screw_length(hole.thread, height, hole.thread_depth), "device")
    if pin:
        return None
    reach = hole.depth + min(height, DEEP * hole.diameter)
    return Fixing("dowel", f"{hole.diameter:g}", max((n for n in DOWELS if n <= reach), default=DOWELS[0]), "device")


def _mounted(hole: Hole, model: CarrierModel) -> Fixing:
    """A sunk screw reaches through the carrier into the table; what holds a pallet's ends is the faceplate's."""
    if hole.sunk:
        size = _size_through(hole)
        through = model.carrier.height - hole.sunk[1]
        return Fixing("screw", size, screw_length(size, through, 1.5 * float(size[1:])), "mount")
    if hole.thread:
        return Fixing("screw", hole.thread, None, "mount")
    return Fixing("dowel", f"{hole.diameter:g}", None, "mount")


def _size_through(hole: Hole) -> str:
    from palletwright.papers.holes import CLEARANCE

    return next(size for size, wide in CLEARANCE.items() if wide == hole.diameter)


def screw_length(size: str, through: float, thread: float) -> int | None:
    """mm: the longest screw that ends within `thread` mm of thread below what it goes through; where none reaches a
    diameter deep, the shortest that does; None beyond the standard's lengths."""
    fits = [n for n in SCREWS if through + float(size[1:]) <= n <= through + thread]
    return fits[-1] if fits else next((n for n in SCREWS if n >= through + float(size[1:])), None)
