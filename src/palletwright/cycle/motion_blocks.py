"""Blocks of motion: straights, arcs and canned cycles under a modal state."""

from __future__ import annotations

import math
from dataclasses import replace

from palletwright.cycle.canned import Hole, hole_steps
from palletwright.cycle.modal_state import State, block_feed, dwell_seconds, ramp_spindle, target_of
from palletwright.cycle.path_time import CCW, CW, LINE, RAPID
from palletwright.cycle.words import NotUnderstood


def straight(state: State, target: list[float], mode: int, once: float | None = None) -> None:
    """A rapid or a straight feed to `target`."""
    feed = block_feed(state) if mode == LINE else 0.0
    stop = 1.0 if state.exact or once == 9.0 else 0.0
    x, y, z = target
    state.totals.add((mode, x, y, z, 0.0, 0.0, 0.0, 2.0, 0.0, feed, stop))
    state.pos, state.moved = target, True


def circle(state: State, target: list[float], value: dict[str, float]) -> None:
    """An arc or helix in the present plane, by centre or by radius."""
    n, feed = state.plane, block_feed(state)
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


def drill(state: State, axes: list[int], value: dict[str, float]) -> None:
    """A canned cycle: its heights are kept, and a hole made where an axis is named."""
    n, feed = state.plane, block_feed(state)
    spot = target_of(state, {letter: value[letter] for letter in "XYZ" if letter in value and letter != "XYZ"[n]})
    old = state.hole
    if old is None or old.code != state.motion:
        old = replace(old, code=state.motion) if old else Hole(state.motion, math.nan, math.nan, state.pos[n])
        if not math.isnan(old.bottom) and not ("R" in value and "XYZ"[n] in value):
            state.notes.add(
                "a cycle after another one without G80 keeps what it doesn't name: RS-274/NGC wants R and Z"
            )
    base = state.shift[n] if state.absolute else old.initial
    retract = base + value["R"] * state.scale if "R" in value else old.retract
    bottom = old.bottom
    if "XYZ"[n] in value:
        bottom = value["XYZ"[n]] * state.scale + (state.shift[n] if state.absolute else retract)
    if math.isnan(retract) or math.isnan(bottom):
        raise NotUnderstood(f"a drilling cycle needs R and {'XYZ'[n]}")
    dwell = dwell_seconds(state, value["P"]) if "P" in value else old.dwell
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
    straight(state, [spot[m] if m != n else state.pos[n] for m in range(3)], RAPID)
    along(hole.retract, RAPID)
    for what, amount in hole_steps(hole):
        if what == "wait":
            state.totals.wait(amount)
        elif what == "ramp":
            ramp_spindle(state, amount * state.speed)
        else:
            along(amount, RAPID if what == "rapid" else LINE)
