"""What a failed check teaches: an operation that can't run where a carrier stands, whatever stands beside it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable

from palletwright.plan.arrange import Candidate
from palletwright.plan.evaluate import Examined
from palletwright.plan.model import Design, Placing


def taught_by(examined: Examined) -> frozenset[Hashable]:
    """Operations and places of a failed design of which no station is free of the machine, the carrier or itself.

    A tool that meets the very part that it cuts does so wherever that stands. Conflicts between stations teach
    nothing: elsewhere the neighbour may be another.
    """
    names = {name for s in examined.design.stations for name in s.parts}
    alone = {a for r in examined.reaches for a, b in r.conflicts if a in names and b not in names}
    alone |= {b for r in examined.reaches for a, b in r.conflicts if b in names and a not in names}
    itself = {a for r in examined.reaches for a, b in r.conflicts if a in names and b.startswith(f"{a}/")}
    held: dict[Hashable, list[bool]] = defaultdict(list)
    for (what, where), parts in _stood(examined.design):
        held[what, where].append(bool(alone & set(parts)))
        held[what, None].append(bool(itself & set(parts)))
    return frozenset(key for key, stuck in held.items() if all(stuck))


def known_to_fail(candidate: Candidate, lessons: Iterable[Hashable]) -> bool:
    """Whether a candidate does again what was seen to fail."""
    known = set(lessons)
    return any({(what, where), (what, None)} & known for (what, where), _ in _stood(candidate.design))


def _stood(design: Design) -> Iterable[tuple[tuple[Hashable, Hashable], tuple[str, ...]]]:
    """For every station the operation with its grip and where its carrier stands, and the names of its parts."""
    places = {p.mount: _place(p) for p in design.placings}
    chosen = {o.clamping: (o.up, o.grip) for o in design.operations}
    for s in design.stations:
        what = design.machine, design.family, design.sequence, s.operation, chosen[s.operation]
        yield (what, places[s.mount]), s.parts


def _place(p: Placing) -> Hashable:
    return p.kind, p.carrier, p.sides, p.apothem, p.at, p.turn
