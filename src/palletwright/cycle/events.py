"""An order of visits laid out in time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from palletwright.cycle.model import Cycle, Event, Visit
from palletwright.cycle.moves import Moves
from palletwright.shop.model import Machine

What = Literal["cut", "rapid", "tool change", "index", "probe", "other"]


def timed(ordered: Sequence[Visit], machine: Machine, moves: Moves, order: NDArray[np.int64]) -> Cycle:
    """The events of `ordered` one after the other; `order` are the visits' numbers in `moves`."""
    events: list[Event] = []
    clock, runs = 0.0, 0
    standing: dict[int, tuple[int, int]] = {}  # turning mount: its angle key, the visit's number

    def add(what: What, seconds: float, visit: Visit, note: str = "") -> None:
        nonlocal clock
        if seconds > 0.0 or what == "cut":
            events.append(Event(clock, seconds, what, visit.tool, visit.angle, visit.station, note))
            clock += seconds

    several = len({visit.tool for visit in ordered}) > 1
    for step, (k, visit) in enumerate(zip(order, ordered, strict=True)):
        last = order[step - 1] if step else None
        changed = last is None or moves.tool_key[last] != moves.tool_key[k]
        runs += changed
        if changed and several:
            add("tool change", machine.chip_to_chip, visit)
        key, mount = int(moves.angle_key[k]), int(moves.mount_key[k])
        if key >= 0:
            there = standing.get(mount, (key, int(k)))
            add("index", float(moves.index[there[1], k]), visit, f"to {visit.angle:g}°")
            standing[mount] = (key, int(k))
        if last is not None:
            add("rapid", float(moves.rapid[last, k]), visit)
        add("cut", visit.cut_seconds, visit, visit.id)
    return Cycle(tuple(v.id for v in ordered), tuple(events), clock, 0.0, runs, runs, shares_of(events))


def shares_of(events: Iterable[Event]) -> dict[str, float]:
    """Seconds by kind of event."""
    shares: dict[str, float] = {}
    for event in events:
        shares[event.what] = shares.get(event.what, 0.0) + event.seconds
    return shares
