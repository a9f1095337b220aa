"""A family or a kit from saved plans: which mix of their carriers gives whole kits every start, and in turn else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from palletwright.errors import Fault, InputError
from palletwright.flow.balance import CarrierKind, best_mix
from palletwright.flow.kitting import KitPart, kit_round
from palletwright.plan.table import GAP, free_areas
from palletwright.shop.model import Machine, Shop

ROTARY, TABLE = 0, 1
"""The two places of a machine at which a carrier can stand: its rotary axis, its table."""


def family(plans: Mapping[str, Mapping[str, Any]], proportions: Mapping[str, int], machine: str) -> dict[str, Any]:
    """What several parts make together on one machine, from the data of their plans.

    Parameters
    ----------
    plans : data of a plan.json for each part number
    proportions : parts of each number in a kit (all 1 for a family that is needed alike)
    machine : id of the machine

    `together`: the mix of carriers of these plans in one cycle with most whole kits every start (an integer program,
    proven) as far as places go: one pallet on the rotary axis, plates and vises in one row on the table. The tools'
    clearances of the mixed scene are not checked. None where no mix gives a kit. `in_turn`: each part number's best
    way on that machine one after another, rounds from which whole kits come.

    Raises InputError for unknown part numbers, and for a part without a way on that machine.
    """
    if set(plans) != set(proportions) or not plans:
        known = ", ".join(sorted(plans))
        raise InputError([Fault("family", "proportions", ", ".join(sorted(proportions)), "doesn't fit", known)])
    ways = {part: _best(part, data, machine) for part, data in plans.items()}
    shop = Shop.model_validate(next(iter(plans.values()))["shop"])
    rates, chosen = shop.rates, next(m for m in shop.machines if m.id == machine)
    parts = {
        part: KitPart(w["timing"]["parts_per_start"], w["timing"]["start_seconds"], rates.swap_seconds)
        for part, w in ways.items()
    }
    kinds = [kind for part, data in plans.items() for kind in carriers_of(part, data, chosen, shop)]
    mix = best_mix(kinds, (1.0, _row(chosen)), proportions) if _complete(kinds, proportions) else None
    return {
        "together": None
        if mix is None
        else {
            "kits_per_start": mix.kits_per_start,
            "rotary": list(mix.carriers[ROTARY]),
            "table": list(mix.carriers[TABLE]),
            "stations": {f"{part}, operation {10 * (k + 1)}": n for (part, k), n in mix.stations.items()},
            "checked": "places and counts only: the mixed scene's clearances are not checked",
        },
        "in_turn": asdict(kit_round(parts, proportions, rates.shift_hours * 3600.0)),
        "ways": {part: w["name"] for part, w in ways.items()},
    }


def _best(part: str, data: Mapping[str, Any], machine: str) -> Mapping[str, Any]:
    ways: list[Mapping[str, Any]] = [w for w in data["plans"] if w["design"]["machine"] == machine]
    if not ways:
        used = ", ".join(sorted({w["design"]["machine"] for w in data["plans"]}))
        raise InputError([Fault("family", part, machine, "is no machine of this part's plans", used)])
    return ways[0]


def _row(machine: Machine) -> float:
    """mm of one row of carriers on the machine's largest free area, hands' room counted with each."""
    areas = free_areas(machine)
    return max((a.size[0] for a in areas), default=0.0) + GAP


def carriers_of(part: str, data: Mapping[str, Any], machine: Machine, shop: Shop) -> list[CarrierKind]:
    """Every carrier of a part's plans on a machine, with the stations that it has there for each operation."""
    sizes = {c.id: c for c in shop.carriers}
    deep = max((a.size[1] for a in free_areas(machine)), default=0.0)
    found: dict[tuple[Any, ...], CarrierKind] = {}
    for way in data["plans"]:
        design = way["design"]
        order = {o["clamping"]: k for k, o in enumerate(design["operations"])}
        for p in design["placings"] if design["machine"] == machine.id else ():
            stations: dict[tuple[str, int], int] = {}
            for s in design["stations"]:
                if s["mount"] == p["mount"]:
                    key = (part, order[s["operation"]])
                    stations[key] = stations.get(key, 0) + len(s["parts"])
            carrier = sizes[p["carrier"]]
            along, across = carrier.length, carrier.width or 0.0
            if p["turn"] % 2:
                along, across = across, along
            if p["kind"] != "pallet" and across > deep:
                continue
            name = f"{part}: {p['carrier']} of {way['name']}"
            pallet = p["kind"] == "pallet"
            room, where = (1.0, (ROTARY,)) if pallet else (along + GAP, (TABLE,))
            found.setdefault(
                (part, p["carrier"], tuple(sorted(stations.items()))), CarrierKind(name, stations, room, where=where)
            )
    return list(found.values())


def _complete(kinds: list[CarrierKind], proportions: Mapping[str, int]) -> bool:
    return {part for kind in kinds for part, _ in kind.stations} == set(proportions)
