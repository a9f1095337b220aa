"""Minutes per part against parts per start, and the point past which one part more gains too little."""

from __future__ import annotations

from dataclasses import dataclass

from palletwright.cycle.model import Cycle


@dataclass(frozen=True, slots=True)
class Curve:
    """`points` (parts per start, minutes per part); `limit` minutes per part that no count goes below.

    `enough` is the least count whose successor gains less than the threshold (a fraction of the minutes per
    part); None where every count shown still gains it.
    """

    points: tuple[tuple[int, float], ...]
    limit: float
    enough: int | None


def minutes_per_part_curve(
    part_seconds: float,
    start_seconds: float,
    *,
    side_seconds: float = 0.0,
    per_side: int | None = None,
    most: int = 60,
    threshold: float = 0.01,
) -> Curve:
    """Minutes of machine per part when `n` identical parts leave with every start.

    The least number of tool runs for n parts is that of one part, so tool changes are paid once a start:
    `t(n) = (start_seconds + side_seconds·⌈n/per_side⌉)/n + part_seconds`, with the limit
    `part_seconds + side_seconds/per_side`.

    Parameters
    ----------
    part_seconds : s that every part adds: its cuts and the rapids to it
    start_seconds : s once a start: all tool changes, first index, start and stop
    side_seconds : s that every further side adds: one index in every tool run
    per_side : parts on one side; None where there are no sides
    most : greatest count shown
    threshold : fraction of the minutes per part; one part more must gain at least that
    """
    if min(part_seconds, start_seconds, side_seconds) < 0 or most < 1 or (per_side is not None and per_side < 1):
        raise ValueError("times must not be below 0, counts at least 1")

    def minutes(n: int) -> float:
        sides = 0 if per_side is None else -(-n // per_side)
        return ((start_seconds + side_seconds * sides) / n + part_seconds) / 60.0

    points = tuple((n, minutes(n)) for n in range(1, most + 1))
    limit = (part_seconds + (side_seconds / per_side if per_side else 0.0)) / 60.0
    enough = next((n for n, t in points if _best_after(minutes, n, per_side) > t * (1.0 - threshold)), None)
    return Curve(points, limit, enough)


def curve_of(cycle: Cycle, parts: int, *, threshold: float = 0.01, most: int | None = None) -> Curve:
    """The curve that a cycle of `parts` parts lies on: its point at `parts` is the cycle's own minutes per part.

    Tool changes, spindle starts and probing are paid once a start, cuts and rapids by every part, the indexes by
    every angle that is used; `most` None: 60, or twice the parts.
    """
    if parts < 1:
        raise ValueError("a cycle gives at least one part")
    shares = cycle.by_kind
    each = shares.get("cut", 0.0) + shares.get("rapid", 0.0)
    sides = max(1, len({e.angle for e in cycle.events if e.what == "cut"}))
    per_side = -(-parts // sides)
    index = shares.get("index", 0.0)
    start = max(0.0, cycle.seconds - each - index)  # a sum of many numbers may fall short of nothing by rounding
    return minutes_per_part_curve(
        each / parts,
        start,
        side_seconds=index / -(-parts // per_side),
        per_side=per_side,
        most=max(60, 2 * parts) if most is None else most,
        threshold=threshold,
    )


def _best_after(minutes: object, n: int, per_side: int | None) -> float:
    assert callable(minutes)
    ahead = range(n + 1, n + 2 + (per_side or 0))
    return min(float(minutes(m)) for m in ahead)
