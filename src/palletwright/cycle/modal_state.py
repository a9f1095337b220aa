"""The modal state of a word-address program, and what its words mean under it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from palletwright.cycle.canned import Hole
from palletwright.cycle.totals import Totals
from palletwright.cycle.words import NotUnderstood
from palletwright.verdict import Vec

HOME_Z = 250.0
"""mm, machine zero above the work zero where a program gives no offset: an assumption, named in the answer."""

OFFSETS = {54.0: 1, 55.0: 2, 56.0: 3, 57.0: 4, 58.0: 5, 59.0: 6, 59.1: 7, 59.2: 8, 59.3: 9}

EXTENDED = frozenset({54.1, 154.0})
"""Codes that select a further work offset by P."""


@dataclass
class Habits:
    """What the machine adds: s for an index of so many degrees, s from rest to `spindle_speed`, chip to chip s, s to
    change a pallet (None: it has no changer)."""

    index: Callable[[float], float]
    ramp: float
    spindle_speed: float
    chip_to_chip: float
    pallet_change: float | None = None


@dataclass
class State:
    """Everything modal. Positions in mm without offsets; `offsets` by number, `local` on top.

    `lengths` are known tool lengths by number, mm; `variables` the program's, in which a control says the length
    that is on (#5403, RS-274/NGC).
    """

    totals: Totals
    habits: Habits
    pos: list[float] = field(default_factory=lambda: [0.0, 0.0, HOME_Z])
    offsets: dict[int, list[float]] = field(default_factory=dict)
    offset: int = 1
    local: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])
    known_offsets: bool = False
    motion: float = 80.0
    plane: int = 2
    scale: float = 1.0
    absolute: bool = True
    centre_absolute: bool = False
    feed_mode: float = 94.0
    feed: float = 0.0
    speed: float = 0.0
    turning: bool = False
    exact: bool = False
    to_initial: bool = True
    selected: int = 0
    angles: dict[str, float] = field(default_factory=dict)
    hole: Hole | None = None
    notes: set[str] = field(default_factory=set)
    changes: int = 0
    moved: bool = False
    probing: bool = False
    lengths: dict[int, float] = field(default_factory=dict)
    variables: dict[str, float] = field(default_factory=dict)

    shift: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])


def start_state(totals: Totals, habits: Habits, offsets: Mapping[str, Vec] | None) -> State:
    """The state before the first line; `offsets` are known work offsets by name (G54 …), machine coordinates."""
    state = State(totals, habits)
    for name, value in (offsets or {}).items():
        code = float(name[1:]) if name[:1] == "G" and name[1:].replace(".", "").isdigit() else 0.0
        if code not in OFFSETS:
            raise ValueError(f"{name!r} is no basic work offset; allowed: G54 to G59.3")
        state.offsets[OFFSETS[code]] = list(value)
        state.known_offsets = True
    if state.known_offsets:
        state.pos = [0.0, 0.0, 0.0]
    totals.begin[:] = state.pos
    reshift(state)
    return state


def reshift(state: State) -> None:
    """Offsets changed: what was gathered is settled under the old ones."""
    state.totals.settle()
    base = state.offsets.get(state.offset, [0.0, 0.0, 0.0])
    x, y, z = (base[k] + state.local[k] for k in range(3))
    state.shift, state.totals.shift = [x, y, z], (x, y, z)


def offset_name(number: int) -> str:
    """G54 … G59.3, or G54.1 P n."""
    if number > 100:
        return f"G54.1 P{number - 100}"
    return next(f"G{code:g}" for code, n in OFFSETS.items() if n == number)


def machine_zero(state: State) -> Vec:
    """Machine zero without offsets; assumed, and noted, where no offset is known."""
    if state.known_offsets:
        return (0.0, 0.0, 0.0)
    state.notes.add(f"machine zero is taken {HOME_Z:g} mm above the work zero: no offset is known")
    return (0.0, 0.0, HOME_Z)


def target_of(state: State, value: dict[str, float]) -> list[float]:
    """Where the words X, Y, Z lead, mm without offsets."""
    target, scale = state.pos.copy(), state.scale
    shift = state.shift
    for k, letter in enumerate("XYZ"):
        if letter in value:
            target[k] = value[letter] * scale + (shift[k] if state.absolute else state.pos[k])
    return target


def block_feed(state: State) -> float:
    """mm/s, or −1/s with inverse time."""
    if state.feed <= 0.0:
        raise NotUnderstood("a feed move without a feed (F)")
    if state.feed_mode == 93.0:
        return -state.feed / 60.0
    if state.feed_mode == 95.0:
        if state.speed <= 0.0:
            raise NotUnderstood("a feed per revolution without a spindle speed (S)")
        return state.feed * state.speed / 60.0
    return state.feed / 60.0


def dwell_seconds(state: State, p: float) -> float:
    """P in seconds (RS-274); whole numbers from 100 are milliseconds, as many controls count them."""
    if p >= 100.0 and p == int(p):
        state.notes.add("dwells of a whole P of 100 or more are taken as milliseconds")
        return p / 1000.0
    if p >= 5.0 and p == int(p):
        state.notes.add("dwells of a whole P below 100 are taken as seconds: some controls mean milliseconds")
    return p


def ramp_spindle(state: State, change: float) -> None:
    """Wait for the spindle to change its speed by `change` rev/min."""
    state.totals.wait(state.habits.ramp * change / state.habits.spindle_speed)
