"""Orders that a job may force, as groups of visits: everything in one group comes before everything in the next."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal

from palletwright.cycle.model import Visit

Forced = Literal["free", "heavy first", "one part first"]

HEAVY = frozenset({"face", "rough"})
"""Stages whose cuts are heavy."""


def forced_groups(visits: Sequence[Visit], order: Forced) -> list[list[str]] | None:
    """Groups for `order_visits`; None where the order is free.

    "heavy first": every facing and roughing cut at every station, with what must come before it, before any fine
    cut. "one part first": one station of each operation complete before the next part is begun, so that the first
    article can be measured.
    """
    if order == "free":
        return None
    if order == "heavy first":
        first = _with_what_is_before(visits, {v.id for v in visits if v.stage in HEAVY})
    else:
        chosen: dict[int, str] = {}
        for visit in visits:
            chosen.setdefault(visit.operation, visit.station)
        stations = set(chosen.values())
        first = _with_what_is_before(visits, {v.id for v in visits if v.station in stations})
    groups = [[v.id for v in visits if v.id in first], [v.id for v in visits if v.id not in first]]
    return groups if all(groups) else None


def _with_what_is_before(visits: Sequence[Visit], ids: Iterable[str]) -> set[str]:
    after = {v.id: v.after for v in visits}
    found: set[str] = set()
    left = list(ids)
    while left:
        name = left.pop()
        if name not in found and name in after:
            found.add(name)
            left.extend(after[name])
    return found
