"""Variants of one part, a family of lengths or a left and a right hand: one carrier design for all against one each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import shapely

from palletwright.layout.model import Module, Packing, Side, ToolSweep
from palletwright.layout.packing import pack
from palletwright.layout.swept import Rows


@dataclass(frozen=True, eq=False)
class Variant:
    """One variant: its module, in a station frame whose origin is the same locating point for all, and its demand."""

    name: str
    module: Module
    per_year: float
    batches: float = 12.0


@dataclass(frozen=True, slots=True)
class Terms:
    """What the comparison counts with, in the shop's currency.

    carrier : money for one carrier without stations; station : money for one station's devices and work
    life : years over which carriers are spread
    change : s of machine and person to change carriers between two batches; 0 where nothing is changed
    start : s of each start beside cutting that don't grow with the parts on it (swap, probing, tool changes)
    rate : money per hour of machine and person
    """

    carrier: float
    station: float
    life: float
    change: float
    start: float
    rate: float


@dataclass(frozen=True, eq=False)
class Choice:
    """One way for all variants: parts a start of each, carriers and change-overs, and money a year by kind."""

    name: str
    counts: dict[str, int]
    bounds: dict[str, int]
    carriers: int
    changes: float
    money: dict[str, float]
    packings: dict[str, Packing]

    @property
    def per_year(self) -> float:
        """Money a year that depends on the choice; cutting is the same in both."""
        return sum(self.money.values())


def one_for_all(variants: Sequence[Variant]) -> Module:
    """A module that holds any of the variants: the bodies of all, each once, and the tools of all.

    Two such modules are clear of one another whichever variants stand at them. Raises ValueError where modules hold
    different numbers of parts.
    """
    first = variants[0].module
    if len({v.module.parts for v in variants}) != 1:
        raise ValueError("variants whose modules hold different numbers of parts can't share a station")
    bodies = {
        mesh.key: (f"{v.name}/{name}", mesh) for v in reversed(variants) for name, mesh in reversed(v.module.bodies)
    }
    ways: dict[tuple[float, float, float], tuple[object, ...]] = {}
    for v in variants:
        for s in v.module.sweeps:
            ways[s.direction] = (*ways.get(s.direction, ()), *s.moves)
    return replace(
        first,
        grip=" or ".join(dict.fromkeys(v.module.grip for v in variants)),
        bodies=tuple(sorted(bodies.values(), key=lambda row: row[0])),
        sweeps=tuple(ToolSweep(way, moves) for way, moves in sorted(ways.items())),  # type: ignore[arg-type]
        outline=shapely.union_all([v.module.outline for v in variants]),
        turns=tuple(t for t in first.turns if all(t in v.module.turns for v in variants)),
        stops=(),
    )


def compare_variants(
    variants: Sequence[Variant],
    side: Side,
    terms: Terms,
    *,
    clearance: float,
    solid_gap: float,
    sides: int = 1,
    nose: Rows | None = None,
    seed: int = 1,
    effort: int = 1,
) -> tuple[Choice, Choice]:
    """(one carrier design for all, one each), each with its counts, change-overs and money a year.

    Parameters
    ----------
    side : one side of the carrier, alike for all; `sides` of them on a carrier
    clearance, solid_gap : mm, as in `pack`

    On one design for all any mix of variants runs, with no change-over between them; its stations stand as far apart as
    the most demanding pair needs. On carriers of their own variants stand closer, and each batch begins with a change.
    Money counts carriers and stations over their life, change-overs, and starts: with n parts a start a year's demand d
    takes d/n of them.
    """
    how = {"clearance": clearance, "solid_gap": solid_gap, "nose": nose, "seed": seed, "effort": effort}
    together = pack(one_for_all(variants), side, explain=False, **how)  # type: ignore[arg-type]
    alone = {v.name: pack(v.module, side, explain=False, **how) for v in variants}  # type: ignore[arg-type]
    all_in_one = _choice("one design for all", variants, dict.fromkeys(alone, together), terms, sides, 1, 0.0)
    changes = sum(v.batches for v in variants) if len(variants) > 1 else 0.0
    return all_in_one, _choice("one design each", variants, alone, terms, sides, len(variants), changes)


def _choice(
    name: str,
    variants: Sequence[Variant],
    packings: dict[str, Packing],
    terms: Terms,
    sides: int,
    carriers: int,
    changes: float,
) -> Choice:
    counts = {v.name: sides * v.module.parts * packings[v.name].count for v in variants}
    bounds = {v.name: sides * v.module.parts * packings[v.name].bound for v in variants}
    each = {id(p): p.count * sides for p in packings.values()}
    starts = sum(v.per_year / counts[v.name] if counts[v.name] else math.inf for v in variants)
    money = {
        "carriers": carriers * terms.carrier / terms.life,
        "stations": sum(each.values()) * terms.station / terms.life,
        "change-overs": changes * terms.change * terms.rate / 3600.0,
        "starts": starts * terms.start * terms.rate / 3600.0,
    }
    return Choice(name, counts, bounds, carriers, changes, money, packings)
