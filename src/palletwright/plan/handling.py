"""What the hands do at a design's stations: loads from each grip by motion-time elements, or as measured."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from palletwright.flow.loading import WEIGHT_ALLOWANCE, Handling
from palletwright.flow.model import StationLoad
from palletwright.plan.context import Context
from palletwright.plan.model import Design
from palletwright.plan.options import Option

TURNS = {"edge": 1.0, "wedge": 1.5, "strap": 2.0, "screw": 5.0, "jaw": 1.0, "soft_jaw": 1.0,
         "v_jaw": 1.0, "expander": 2.0, "vacuum": 0.5, "stud": 1.5, "dovetail": 1.0}  # fmt: skip
"""Turns of a clamp's screw from tight until the part comes out, by kind of grip: common practice, no source."""

LOOSE = ("strap", "screw")
"""Kinds of grip whose pieces come off: a strap swings aside, a screw comes out of the part's own hole."""

LARGEST_KG = WEIGHT_ALLOWANCE[-1][0]
"""Past this one person doesn't lift station by station: no elements."""


def handling_of(context: Context, design: Design, option: Option, clamping: int) -> Handling | None:
    """What one station of this grip needs: its parts, screws with their turns, locating faces to wipe, and mass.

    The job's measured station time counts where there is one. None for parts that one person doesn't lift: then the
    shop's own seconds a station have to do.
    """
    before, _ = context.in_process(context.machine(design.machine), design.family, design.sequence, clamping)
    mass = before.volume * 1e-9 * context.material.density
    if mass > LARGEST_KG and context.job.station_seconds is None:
        return None
    return Handling(
        parts=option.parts,
        screws=max(1, option.grip.screws),
        turns=TURNS[option.grip.kind],
        mass_kg=min(mass, LARGEST_KG),
        locators=faces_wiped(option),
        measured_seconds=context.job.station_seconds,
        loose=max(1, option.grip.screws) if option.grip.kind in LOOSE else 0,
    )


def faces_wiped(option: Option) -> int:
    """Locating faces of one part: its locators' directions, each once."""
    ways = {
        tuple(round(float(v), 1) + 0.0 for v in contact.normal)
        for contact in option.grip.contacts
        if contact.kind == "locator"
    }
    return max(1, len(ways))


def station_loads(
    context: Context, design: Design, options: Mapping[int, Option], mounts: Collection[str]
) -> list[StationLoad]:
    """The hands' work at the stations on these mounts in one start, an entry an operation that stands there."""
    clamps = {c.id: c for c in context.shop.clamps}
    loads = []
    for operation, option in options.items():
        parts = sum(len(s.parts) for s in design.stations if s.operation == operation and s.mount in mounts)
        if not parts:
            continue
        seconds = [
            clamps[d.catalogue].seconds for d in option.grip.devices if d.kind == "clamp" and d.catalogue in clamps
        ]
        each = sum(seconds) / len(seconds) if seconds else 5.0
        screws = max(1, round(option.grip.screws / option.parts))
        loads.append(StationLoad(operation, parts, screws, each, handling_of(context, design, option, operation)))
    return loads
