"""One line of words after the other becomes blocks of motion under the modal state."""

from __future__ import annotations

from palletwright.cycle.canned import CYCLES
from palletwright.cycle.modal_state import (
    EXTENDED,
    OFFSETS,
    State,
    dwell_seconds,
    machine_zero,
    offset_name,
    ramp_spindle,
    reshift,
    target_of,
)
from palletwright.cycle.motion_blocks import circle, drill, straight
from palletwright.cycle.path_time import LINE, RAPID
from palletwright.cycle.words import NotUnderstood

Word = tuple[str, float]

UNITS = {20.0: 25.4, 21.0: 1.0, 70.0: 25.4, 71.0: 1.0}
"""mm a unit: G20 and G21, or G70 and G71 where they stand without other words (ISO 6983-1)."""

PLANES = {17.0: 2, 18.0: 1, 19.0: 0}
MOTIONS = CYCLES | {0.0, 1.0, 2.0, 3.0}
LETTERS = frozenset("ABCDEFGHIJKLMNOPQRSTXYZ")
NO_EFFECT = frozenset({40.0, 41.0, 42.0, 43.0, 43.1, 43.2, 44.0, 49.0, 15.0, 50.0, 69.0, 61.1, 91.1, 90.1, 96.0, 97.0})
IDLE_CODES = frozenset({7, 8, 9, 10, 11, 13, 19, 48, 49, 88, 89})
NEEDS_WARNING = {
    41.0: "cutter compensation: the path is timed as programmed",
    42.0: "cutter compensation: the path is timed as programmed",
}


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
    once, strange = None, False
    for code in codes:
        taken = _modal(state, code, value)
        if isinstance(taken, str):
            faults.append(taken)
            strange = True
        elif taken is not None:
            once = taken
    strange = strange and not any(code in MOTIONS for code in codes)  # the axis words belong to the strange code
    if 98 not in steering and not strange:
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
    state.probing = state.probing and code is None
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
    scale = next((UNITS[code] for code in codes if code in UNITS), state.scale)
    state.feed = feed if state.feed_mode == 93.0 else feed * scale
    if state.feed_mode != 93.0 and feed > 0.0:
        state.totals.use().feeds.add(state.feed)


def _set_speed(state: State, speed: float) -> None:
    if state.turning:
        ramp_spindle(state, abs(speed - state.speed))
    state.speed = speed
    if speed > 0.0:
        state.totals.use().speeds.add(speed)


def _action(state: State, code: int) -> str:
    if code in (3, 4):
        if not state.turning:
            ramp_spindle(state, state.speed)
        state.turning = True
    elif code == 5:
        if state.turning:
            ramp_spindle(state, state.speed)
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
        state.motion, state.probing = code, False
        if code not in CYCLES:
            state.hole = None
    elif code in (33.0, 31.0, 38.2, 38.3, 38.4, 38.5):
        state.notes.add(f"G{code:g} is timed as a straight feed")
        state.motion, state.probing = 1.0, code != 33.0
    elif code in (4.0, 9.0, 10.0, 28.0, 30.0, 52.0, 53.0, 92.0):
        return code
    elif code == 80.0:
        state.motion, state.hole = 80.0, None
    elif code in PLANES:
        state.plane = PLANES[code]
    elif code in UNITS and (code < 70.0 or value.keys() <= {"N"}):
        state.scale = UNITS[code]
        if code >= 70.0:
            state.notes.add("G70 and G71 are taken as inches and millimetres (ISO 6983-1)")
    elif code in (90.0, 91.0):
        state.absolute = code == 90.0
    elif code in (92.1, 92.2):
        state.local = [0.0, 0.0, 0.0]
        reshift(state)
    elif code in (93.0, 94.0, 95.0):
        state.feed_mode = code
    elif code in (98.0, 99.0):
        state.to_initial = code == 98.0
    elif code in (61.0, 64.0):
        state.exact = code == 61.0
        if code == 64.0 and "P" in value:
            state.totals.settle()
            state.totals.tolerance = value.pop("P") * state.scale
    elif code in OFFSETS or code in EXTENDED:
        _use_offset(state, 100 + int(value.pop("P", 0)) if code in EXTENDED else OFFSETS[code])
    elif code in NO_EFFECT:
        state.centre_absolute = code == 90.1 or (state.centre_absolute and code != 91.1)
        if code in NEEDS_WARNING:
            state.notes.add(NEEDS_WARNING[code])
        if code == 43.0:
            _put_length_on(state, value)
    else:
        return f"G{code:g} isn't understood"
    return None


def _put_length_on(state: State, value: dict[str, float]) -> None:
    """What the control's variable says after G43 H, where the tool's length is known."""
    length = state.lengths.get(int(value.get("H", state.totals.tool)))
    if length is not None:
        state.variables["5403"] = length


def _use_offset(state: State, number: int) -> None:
    state.totals.settle()
    state.offset = number
    reshift(state)
    state.totals.use().offsets.add(offset_name(number))


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
        reshift(state)
    elif once == 53.0:
        zero, target = machine_zero(state), state.pos.copy()
        for k in axes:
            target[k] = zero[k] + value["XYZ"[k]] * state.scale
        straight(state, target, RAPID if state.motion != 1.0 else LINE, once)
    elif state.motion in CYCLES:
        drill(state, axes, value)
    elif axes or (state.motion in (2.0, 3.0) and ("I" in value or "J" in value or "K" in value)):
        target = target_of(state, value)
        if state.motion == 80.0:
            raise NotUnderstood("coordinates without a motion code")
        if state.motion in (2.0, 3.0):
            circle(state, target, value)
        else:
            straight(state, target, RAPID if state.motion == 0.0 else LINE, once)


def _dwell(state: State, value: dict[str, float]) -> None:
    given = [value[letter] for letter in "XU" if letter in value]
    state.totals.wait(given[0] if given else dwell_seconds(state, value.get("P", 0.0)))


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
    reshift(state)


def _home(state: State, axes: list[int], value: dict[str, float]) -> None:
    if axes:
        target = target_of(state, value)
        if target != state.pos:
            straight(state, target, RAPID)
    zero = machine_zero(state)
    moving = axes or [0, 1, 2]
    straight(state, [zero[k] if k in moving else state.pos[k] for k in range(3)], RAPID)


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
