"""The modal state of a word-address program: one line of words after the other becomes blocks of motion."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from palletwright.cycle.canned import CYCLES, Hole, hole_steps
from palletwright.cycle.path_time import CCW, CW, LINE, RAPID
from palletwright.cycle.totals import Totals
from palletwright.cycle.words import NotUnderstood
from palletwright.verdict import Vec

Word = tuple[str, float]

HOME_Z = 250.0
"""mm, machine zero above the work zero where a program gives no offset: an assumption, named in the answer."""

PLANES = {17.0: 2, 18.0: 1, 19.0: 0}
OFFSETS = {54.0: 1, 55.0: 2, 56.0: 3, 57.0: 4, 58.0: 5, 59.0: 6, 59.1: 7, 59.2: 8, 59.3: 9}
LETTERS = frozenset("ABCDEFGHIJKLMNOPQRSTXYZ")
NO_EFFECT = frozenset({40.0, 41.0, 42.0, 43.0, 43.1, 43.2, 44.0, 49.0, 15.0, 50.0, 69.0, 61.1, 91.1, 90.1, 96.0, 97.0})
IDLE_CODES = frozenset({7, 8, 9, 10, 11, 13, 19, 48, 49, 88, 89})
NEEDS_WARNING = {
    41.0: "cutter compensation: the path is timed as programmed",
    42.0: "cutter compensation: the path is timed as programmed",
}


@dataclass
class Habits:
    """What the machine adds: s for an index of so many degrees, s from rest to `spindle_speed`, chip to chip s."""

    index: Callable[[float], float]
    ramp: float
    spindle_speed: float
    chip_to_chip: float


@dataclass
class State:
    """Everything modal. Positions in mm without offsets; `offsets` by number, `local` and `zero_shift` on top."""

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
    _reshift(state)
    return state


def execute(state: State, words: list[Word]) -> tuple[list[int], dict[str, float]]:
    """Carry out one line; the M codes that steer the program are handed back with the line's values."""
    value: dict[str, float] = {}
    codes: list[float] = []
    steering: list[int] = []
    actions: list[int] = []
    for letter, number in words:
        if letter == "G":
            codes.append(number)
        elif letter == "M":
            (steering if number in (0, 1, 2, 30, 60, 98, 99) else actions).append(int(number))
        elif letter in value:
            raise NotUnderstood(f"{letter} stands twice")
        else:
            value[letter] = number
    faults = [f"{letter} is no known word" for letter in value if letter not in LETTERS]
    if "F" in value:
        _set_feed(state, value["F"], codes)
    if "S" in value:
        _set_speed(state, value["S"])
    if "T" in value:
        state.selected = int(value["T"])
    faults += [fault for code in actions if (fault := _action(state, code))]
    once = None
    for code in codes:
        taken = _modal(state, code, value)
        if isinstance(taken, str):
            faults.append(taken)
        elif taken is not None:
            once = taken
    if 98 not in steering and not (once is None and 65.0 in codes):
        _move(state, once, value)
    if faults:
        raise NotUnderstood("; ".join(faults))
    return steering, value


def straight_line(state: State, code: str | None, xyz: tuple[str | None, ...], feed: str | None) -> bool:
    """The commonest line, `G1 X Y Z F` in this order, without the way through `execute`; False where the state
    asks for that way."""
    motion = state.motion if code is None else float(code)
    if motion > 1.0 or state.feed_mode != 94.0 or not (xyz[0] or xyz[1] or xyz[2]):
        return False
    if feed is not None:
        state.feed = float(feed) * state.scale
        state.totals.use().feeds.add(state.feed)
    if motion == 1.0 and state.feed <= 0.0:
        raise NotUnderstood("a feed move without a feed (F)")
    state.motion, state.hole = motion, None
    pos, scale = state.pos, state.scale
    base = state.shift if state.absolute else pos
    for k in range(3):
        word = xyz[k]
        if word is not None:
            pos[k] = float(word) * scale + base[k]
    stop = 1.0 if state.exact else 0.0
    speed = state.feed / 60.0 if motion == 1.0 else 0.0
    state.totals.add((motion, pos[0], pos[1], pos[2], 0.0, 0.0, 0.0, 2.0, 0.0, speed, stop))
    state.moved = True
    return True


def _set_feed(state: State, feed: float, codes: list[float]) -> None:
    for code in codes:
        if code in (93.0, 94.0, 95.0):
            state.feed_mode = code
    state.feed = (
        feed
        if state.feed_mode == 93.0
        else feed * state.scale * (25.4 if 20.0 in codes and state.scale == 1.0 else 1.0)
    )
    if state.feed_mode != 93.0 and feed > 0.0:
        state.totals.use().feeds.add(state.feed)


def _set_speed(state: State, speed: float) -> None:
    if state.turning:
        _ramp(state, abs(speed - state.speed))
    state.speed = speed
    if speed > 0.0:
        state.totals.use().speeds.add(speed)


def _ramp(state: State, change: float) -> None:
    state.totals.wait(state.habits.ramp * change / state.habits.spindle_speed)


def _action(state: State, code: int) -> str:
    if code in (3, 4):
        if not state.turning:
            _ramp(state, state.speed)
        state.turning = True
    elif code == 5:
        if state.turning:
            _ramp(state, state.speed)
        state.turning = False
    elif code == 6:
        if state.selected != state.totals.tool:
            state.totals.settle()
            state.totals.tool = state.selected
            state.totals.use().changes += 1
            state.changes += 1
        state.turning = False
    elif code not in IDLE_CODES:
        return f"M{code} isn't understood"
    return ""


def _modal(state: State, code: float, value: dict[str, float]) -> float | str | None:
    """Apply one G code. A number is a motion or a code for this line only, a text a fault."""
    if code in (0.0, 1.0, 2.0, 3.0) or code in CYCLES:
        state.motion = code
        if code not in CYCLES:
            state.hole = None
    elif code in (33.0, 31.0, 38.2, 38.3, 38.4, 38.5):
        state.notes.add(f"G{code:g} is timed as a straight feed")
        state.motion = 1.0
    elif code in (4.0, 9.0, 10.0, 28.0, 30.0, 52.0, 53.0, 92.0):
        return code
    elif code == 80.0:
        state.motion, state.hole = 80.0, None
    elif code in PLANES:
        state.plane = PLANES[code]
    elif code in (20.0, 21.0):
        state.scale = 25.4 if code == 20.0 else 1.0
    elif code in (90.0, 91.0):
        state.absolute = code == 90.0
    elif code in (93.0, 94.0, 95.0):
        state.feed_mode = code
    elif code in (98.0, 99.0):
        state.to_initial = code == 98.0
    elif code in (61.0, 64.0):
        state.exact = code == 61.0
    elif code in OFFSETS or code == 54.1:
        _use_offset(state, 100 + int(value.pop("P", 0)) if code == 54.1 else OFFSETS[code])
    elif code in NO_EFFECT:
        state.centre_absolute = code == 90.1 or (state.centre_absolute and code != 91.1)
        if code in NEEDS_WARNING:
            state.notes.add(NEEDS_WARNING[code])
    else:
        return f"G{code:g} isn't understood"
    return None


def _use_offset(state: State, number: int) -> None:
    state.totals.settle()
    state.offset = number
    _reshift(state)
    state.totals.use().offsets.add(offset_name(number))


def _reshift(state: State) -> None:
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


def _move(state: State, once: float | None, value: dict[str, float]) -> None:
    if once == 4.0:
        _dwell(state, value)
        return
    if once == 10.0:
        _set_offset(state, value)
        return
    _turn(state, value)
    axes = [k for k, letter in enumerate("XYZ") if letter in value]
    if once in (28.0, 30.0):
        _home(state, axes, value)
    elif once in (52.0, 92.0):
        for k in axes:
            given = value["XYZ"[k]] * state.scale
            base = state.offsets.get(state.offset, [0.0, 0.0, 0.0])[k]
            state.local[k] = given if once == 52.0 else state.pos[k] - base - given
        _reshift(state)
    elif once == 53.0:
        zero, target = _machine_zero(state), state.pos.copy()
        for k in axes:
            target[k] = zero[k] + value["XYZ"[k]] * state.scale
        _straight(state, target, RAPID if state.motion != 1.0 else LINE, once)
    elif state.motion in CYCLES:
        _drill(state, axes, value)
    elif axes or (state.motion in (2.0, 3.0) and ("I" in value or "J" in value or "K" in value)):
        target = _target(state, value)
        if state.motion == 80.0:
            raise NotUnderstood("coordinates without a motion code")
        if state.motion in (2.0, 3.0):
            _circle(state, target, value)
        else:
            _straight(state, target, RAPID if state.motion == 0.0 else LINE, once)


def _machine_zero(state: State) -> Vec:
    if state.known_offsets:
        return (0.0, 0.0, 0.0)
    state.notes.add(f"machine zero is taken {HOME_Z:g} mm above the work zero: no offset is known")
    return (0.0, 0.0, HOME_Z)


def _target(state: State, value: dict[str, float]) -> list[float]:
    target, scale = state.pos.copy(), state.scale
    shift = state.shift
    for k, letter in enumerate("XYZ"):
        if letter in value:
            target[k] = value[letter] * scale + (shift[k] if state.absolute else state.pos[k])
    return target


def _block_feed(state: State) -> float:
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


def _straight(state: State, target: list[float], mode: int, once: float | None = None) -> None:
    feed = _block_feed(state) if mode == LINE else 0.0
    stop = 1.0 if state.exact or once == 9.0 else 0.0
    x, y, z = target
    state.totals.add((mode, x, y, z, 0.0, 0.0, 0.0, 2.0, 0.0, feed, stop))
    state.pos, state.moved = target, True


def _circle(state: State, target: list[float], value: dict[str, float]) -> None:
    n, feed = state.plane, _block_feed(state)
    a, b = (n + 1) % 3, (n + 2) % 3
    centre = state.pos.copy()
    clockwise = state.motion == 2.0
    if "R" in value:
        centre[a], centre[b] = _centre(state.pos, target, a, b, value["R"] * state.scale, clockwise)
    else:
        for k, letter in enumerate("IJK"):
            if letter in value and k != n:
                base = state.shift[k] if state.centre_absolute else state.pos[k]
                centre[k] = base + value[letter] * state.scale
        r0 = math.hypot(state.pos[a] - centre[a], state.pos[b] - centre[b])
        r1 = math.hypot(target[a] - centre[a], target[b] - centre[b])
        if r0 <= 0.0:
            raise NotUnderstood("an arc without a centre (I, J, K) or a radius (R)")
        if abs(r0 - r1) > max(0.05, 0.001 * r0):
            raise NotUnderstood(f"an arc whose radii at its ends differ: {r0:.4f} and {r1:.4f} mm")
    turns = max(0.0, value.get("P", 1.0) - 1.0)
    stop = 1.0 if state.exact else 0.0
    x, y, z = target
    state.totals.add((CW if clockwise else CCW, x, y, z, *centre, float(n), turns, feed, stop))
    state.pos, state.moved = target, True


def _centre(p: list[float], q: list[float], a: int, b: int, radius: float, clockwise: bool) -> tuple[float, float]:
    """Centre of an arc by radius: the short way round, the long one where the radius is negative."""
    da, db = q[a] - p[a], q[b] - p[b]
    chord = math.hypot(da, db)
    if chord <= 0.0 or chord > 2.0 * abs(radius) * (1.0 + 1e-4):
        raise NotUnderstood(f"no arc of radius {radius:g} mm spans {chord:.4f} mm")
    high = math.sqrt(max(0.0, radius * radius - chord * chord / 4.0)) / chord
    side = (1.0 if clockwise else -1.0) * (1.0 if radius > 0.0 else -1.0)
    return (p[a] + q[a]) / 2.0 + side * high * db, (p[b] + q[b]) / 2.0 - side * high * da


def _drill(state: State, axes: list[int], value: dict[str, float]) -> None:
    n, feed = state.plane, _block_feed(state)
    spot = _target(state, {letter: value[letter] for letter in "XYZ" if letter in value and letter != "XYZ"[n]})
    old = state.hole
    if old is None or old.code != state.motion:
        old = Hole(state.motion, math.nan, math.nan, old.initial if old else state.pos[n])
    base = state.shift[n] if state.absolute else old.initial
    retract = base + value["R"] * state.scale if "R" in value else old.retract
    bottom = old.bottom
    if "XYZ"[n] in value:
        bottom = value["XYZ"[n]] * state.scale + (state.shift[n] if state.absolute else retract)
    if math.isnan(retract) or math.isnan(bottom):
        raise NotUnderstood(f"a drilling cycle needs R and {'XYZ'[n]}")
    dwell = _seconds(state, value["P"]) if "P" in value else old.dwell
    peck = value["Q"] * state.scale if "Q" in value else old.peck
    state.hole = hole = Hole(state.motion, bottom, retract, old.initial, dwell, peck, state.to_initial)
    if not axes:
        return
    for k in range(max(1, int(value.get("L", value.get("K", 1.0))))):
        if k and not state.absolute:
            spot = [spot[m] + (value.get("XYZ"[m], 0.0) * state.scale if m != n else 0.0) for m in range(3)]
        _one_hole(state, hole, spot, n, feed)


def _one_hole(state: State, hole: Hole, spot: list[float], n: int, feed: float) -> None:
    def along(height: float, mode: int) -> None:
        target = state.pos.copy()
        target[n] = height
        state.totals.add((mode, *target, 0.0, 0.0, 0.0, 2.0, 0.0, feed, 1.0))
        state.pos, state.moved = target, True

    if state.pos[n] < hole.retract:
        along(hole.retract, RAPID)
    _straight(state, [spot[m] if m != n else state.pos[n] for m in range(3)], RAPID)
    along(hole.retract, RAPID)
    for what, amount in hole_steps(hole):
        if what == "wait":
            state.totals.wait(amount)
        elif what == "ramp":
            _ramp(state, amount * state.speed)
        else:
            along(amount, RAPID if what == "rapid" else LINE)


def _seconds(state: State, p: float) -> float:
    """P in seconds (RS-274); whole numbers from 100 are milliseconds, as many controls count them."""
    if p >= 100.0 and p == int(p):
        state.notes.add("dwells of a whole P of 100 or more are taken as milliseconds")
        return p / 1000.0
    return p


def _dwell(state: State, value: dict[str, float]) -> None:
    given = [value[letter] for letter in "XU" if letter in value]
    state.totals.wait(given[0] if given else _seconds(state, value.get("P", 0.0)))


def _set_offset(state: State, value: dict[str, float]) -> None:
    kind, number = value.get("L", 0.0), int(value.get("P", 0.0))
    if kind not in (2.0, 20.0) or number < 1:
        if kind in (1.0, 10.0, 11.0, 12.0, 13.0):
            return  # tool table: no motion
        raise NotUnderstood(f"G10 L{kind:g} P{number}")
    place = number if kind == 2.0 and number <= 9 else 100 + number
    base = state.offsets.setdefault(place, [0.0, 0.0, 0.0])
    for k, letter in enumerate("XYZ"):
        if letter in value:
            base[k] = value[letter] * state.scale + (0.0 if state.absolute else base[k])
    state.known_offsets = True
    _reshift(state)


def _home(state: State, axes: list[int], value: dict[str, float]) -> None:
    if axes:
        target = _target(state, value)
        if target != state.pos:
            _straight(state, target, RAPID)
    zero = _machine_zero(state)
    moving = axes or [0, 1, 2]
    _straight(state, [zero[k] if k in moving else state.pos[k] for k in range(3)], RAPID)


def _turn(state: State, value: dict[str, float]) -> None:
    """Rotary words: an index where they stand in a rapid or alone."""
    for letter in "ABC":
        if letter not in value:
            continue
        before = state.angles.get(letter, 0.0)
        after = value[letter] if state.absolute else before + value[letter]
        state.angles[letter] = after
        state.totals.use().angles.add(round(after, 6))
        if abs(after - before) > 1e-9:
            if state.motion not in (0.0, 80.0) and any(axis in value for axis in "XYZ"):
                state.notes.add("feeds that turn a rotary axis at the same time are timed by the linear axes only")
                continue
            state.totals.wait(1e-9)
            state.totals.use().index_seconds += state.habits.index(after - before)
