"""Which operation stands on which side, so that as many parts as possible leave finished at every start."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SlotGroup:
    """`count` like sides; `capacity[k]` parts that operation k finds room for on one of them."""

    name: str
    count: int
    capacity: tuple[int, ...]


def splits(count: int, kinds: Sequence[int]) -> list[dict[int, int]]:
    """All ways to give `count` like sides to the operations `kinds` (some may stay empty)."""
    if not kinds:
        return [{}]
    first, rest = kinds[0], kinds[1:]
    rows = []
    for n in range(count, -1, -1):
        rows += [{first: n, **more} if n else more for more in splits(count - n, rest)]
    return rows


def best_assignment(groups: Sequence[SlotGroup], operations: int) -> tuple[int, tuple[dict[int, int], ...]]:
    """Most parts finished per start, and for each group how many of its sides each operation gets.

    Exact by enumeration over like sides (few groups, few operations). Among equals the least sides used.
    """
    best = (0, 0, ())
    found: tuple[dict[int, int], ...] = ()

    def room(chosen: Sequence[dict[int, int]]) -> list[int]:
        total = [0] * operations
        for group, split in zip(groups, chosen, strict=False):
            for k, n in split.items():
                total[k] += n * group.capacity[k]
        return total

    def most_left(start: int) -> list[int]:
        return [sum(g.count * g.capacity[k] for g in groups[start:]) for k in range(operations)]

    def walk(chosen: list[dict[int, int]]) -> None:
        nonlocal best, found
        at = len(chosen)
        now = room(chosen)
        if min(a + b for a, b in zip(now, most_left(at), strict=True)) < max(best[0], 1):
            return
        if at == len(groups):
            used = -sum(n for split in chosen for n in split.values())
            score = (min(now), used, ())
            if score > best:
                best, found = score, tuple(chosen)
            return
        kinds = [k for k in range(operations) if groups[at].capacity[k] > 0]
        for split in splits(groups[at].count, kinds):
            walk([*chosen, split])

    walk([])
    return best[0], found
