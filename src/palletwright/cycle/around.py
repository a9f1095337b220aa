"""What a start takes besides cuts, rapids, changes and indexes: spindle starts, tool checks, probing."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field, replace
from typing import Literal

from palletwright.cycle.events import shares_of
from palletwright.cycle.model import Cycle, Event
from palletwright.shop.model import Machine

CHECK_SECONDS = 6.0
"""s for a fragile tool on the setter, way there and back included: common practice, no source."""


@dataclass(frozen=True)
class Around:
    """What a program does around the cuts.

    speeds : rev/min by tool; with the machine's `spindle_seconds` every tool run starts and stops the spindle, each in
        proportion to its speed. Where the machine doesn't say, chip-to-chip is taken to have it
    fragile : tools checked on the machine's tool setter after every run; none where it has none
    probe_seconds : s of probing at the start, such as the carrier's master point
    """

    speeds: dict[int, float] = field(default_factory=dict)
    fragile: frozenset[int] = frozenset()
    probe_seconds: float = 0.0

    def turn(self, tool: int, machine: Machine) -> float:
        """s to start or stop the spindle."""
        if machine.spindle_seconds is None:
            return 0.0
        return machine.spindle_seconds * self.speeds.get(tool, 0.0) / machine.spindle_speed

    def check(self, tool: int, machine: Machine) -> float:
        """s to look at a tool after its run."""
        return CHECK_SECONDS if machine.tool_setter and tool in self.fragile else 0.0

    def run(self, tool: int, machine: Machine) -> float:
        """s that every run of the tool takes besides its change and its visits."""
        return 2.0 * self.turn(tool, machine) + self.check(tool, machine)

    def even(self, tools: Iterable[int], machine: Machine) -> float:
        """What every run takes at the least, whichever the tool; the search counts that with each change."""
        return min((self.run(tool, machine) for tool in tools), default=0.0)


def with_fresh_edges(cycle: Cycle, switch_before: Collection[str], machine: Machine, around: Around) -> Cycle:
    """The cycle with a tool change before each visit at which a fresh edge of the same tool takes over.

    Other orders of the same work get the same seconds, as they wear as much; the bound and the counts of tool runs
    stay: a fresh edge is no other tool.
    """
    if not switch_before:
        return cycle
    events: list[Event] = []
    clock = 0.0
    for event in cycle.events:
        if event.what == "cut" and event.note in switch_before:
            turn = around.turn(event.tool, machine)
            stretches: tuple[tuple[Literal["other", "tool change"], float, str], ...] = (
                ("other", turn, "spindle stop"),
                ("tool change", machine.chip_to_chip, f"fresh edge of T{event.tool}"),
                ("other", turn, "spindle start"),
            )
            for what, seconds, note in stretches:
                if seconds > 0.0:
                    events.append(replace(event, start=clock, seconds=seconds, what=what, note=note))
                    clock += seconds
        events.append(replace(event, start=clock))
        clock += event.seconds
    added = clock - cycle.seconds
    others = tuple((name, seconds + added) for name, seconds in cycle.alternatives)
    return replace(cycle, events=tuple(events), seconds=clock, by_kind=shares_of(events), alternatives=others)


def completed(cycle: Cycle, machine: Machine, around: Around) -> Cycle:
    """The cycle's events with what the program does around them; its bound and other orders are left as they are."""
    events: list[Event] = []
    clock = 0.0

    def put(event: Event, seconds: float, what: Literal["other", "probe"] | None = None, note: str = "") -> None:
        nonlocal clock
        made = replace(event, start=clock, seconds=seconds)
        if what is None or seconds > 0.0:
            events.append(made if what is None else replace(made, what=what, note=note))
            clock += seconds

    for k, event in enumerate(cycle.events):
        after = cycle.events[k + 1] if k + 1 < len(cycle.events) else None
        turn, changes = around.turn(event.tool, machine), event.what == "tool change"
        if k == 0:
            put(event, around.probe_seconds, "probe", "carrier")
        if changes:
            put(event, event.seconds)
        if changes or k == 0:
            put(event, turn, "other", "spindle start")
        if not changes:
            put(event, event.seconds)
        if after is None or after.what == "tool change":
            put(event, turn, "other", "spindle stop")
            put(event, around.check(event.tool, machine), "probe", f"T{event.tool} whole")
    return replace(cycle, events=tuple(events), seconds=clock, by_kind=shares_of(events))
