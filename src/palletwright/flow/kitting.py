"""Many part numbers on one machine, one after another: rounds of starts from which whole kits come."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

MOST_KITS = 500
"""Kits of one round beyond which no exact round is looked for."""


@dataclass(frozen=True, slots=True)
class KitPart:
    """How one part number of a kit is made: parts a start, s from start to start, s more when its fixtures go in."""

    parts_per_start: float
    start_seconds: float
    change_seconds: float = 0.0

    def __post_init__(self) -> None:
        if self.parts_per_start <= 0 or self.start_seconds <= 0 or self.change_seconds < 0:
            raise ValueError(f"needs parts and a time above 0 and no change below 0: {self}")


@dataclass(frozen=True)
class KitRound:
    """One round: `starts` of each part number, whole `kits` from it, s that it takes.

    `surplus`: parts of a number beyond whole kits that a round leaves; empty in an exact round. `shares`: fraction of
    the round that each part number has the machine. `kits_per_shift` at that pace. `half_done`: the most parts of
    part numbers that wait for their kit.
    """

    kits: int
    starts: Mapping[str, int]
    seconds: float
    kits_per_shift: float
    shares: Mapping[str, float]
    surplus: Mapping[str, float]
    half_done: float


def kit_round(
    parts: Mapping[str, KitPart], proportions: Mapping[str, int], shift_seconds: float, kits: int | None = None
) -> KitRound:
    """The round of starts for a kit with given proportions.

    Parameters
    ----------
    parts : how each part number is made
    proportions : parts of each number in a kit
    kits : kits of one round; None takes the fewest from which nothing is left over (up to 500, else one start of the
        slowest to gather)

    Every part number has its fixtures in the machine once a round, so that a round of more kits changes less often,
    and more parts wait. Raises ValueError where the part numbers don't go with the proportions.
    """
    if set(parts) != set(proportions) or not parts or min(proportions.values()) < 1 or shift_seconds <= 0:
        raise ValueError(f"a kit of {sorted(proportions)} (each at least 1) doesn't go with {sorted(parts)}")
    if kits is not None and kits < 1:
        raise ValueError(f"a round has at least one kit, not {kits}")
    count = kits or _exact(parts, proportions) or _fair(parts, proportions)
    starts = {n: math.ceil(count * proportions[n] / p.parts_per_start - 1e-9) for n, p in parts.items()}
    spent = {n: starts[n] * p.start_seconds + p.change_seconds * (len(parts) > 1) for n, p in parts.items()}
    seconds = sum(spent.values())
    left = {n: starts[n] * p.parts_per_start - count * proportions[n] for n, p in parts.items()}
    made = {n: starts[n] * p.parts_per_start for n, p in parts.items()}
    return KitRound(
        kits=count,
        starts=starts,
        seconds=seconds,
        kits_per_shift=count * shift_seconds / seconds,
        shares={n: s / seconds for n, s in spent.items()},
        surplus={n: v for n, v in left.items() if v > 1e-9},
        half_done=sum(made.values()) - made[list(parts)[-1]] if len(parts) > 1 else 0.0,
    )


def _exact(parts: Mapping[str, KitPart], proportions: Mapping[str, int]) -> int | None:
    """Fewest kits whose parts are whole starts of every part number."""
    for kits in range(1, MOST_KITS + 1):
        needs = (kits * proportions[n] / p.parts_per_start for n, p in parts.items())
        if all(abs(v - round(v)) < 1e-9 for v in needs):
            return kits
    return None


def _fair(parts: Mapping[str, KitPart], proportions: Mapping[str, int]) -> int:
    """Kits that one start of the number with most parts a kit and start gives."""
    return max(1, math.floor(max(p.parts_per_start / proportions[n] for n, p in parts.items()) + 1e-9))
