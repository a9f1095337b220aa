"""Seconds of a programmed path: rapids from rest to rest, feeds with look-ahead.

A feed block starts and ends as fast as its neighbours let it. The speed through a corner is that of a circle whose
arc leaves the corner by the path tolerance δ: with half the inside angle β, `R = δ·sin β/(1 − sin β)` and
`v² = a·R`. On an arc `v² = a·r`. A backward pass limits what can still be braked, a forward pass what has been
reached; then each block is a trapezoid between its two speeds. With a jerk j a ramp by Δv takes `Δv/a + a/j`, or
`2·sqrt(Δv/j)` below a²/j; in blocks without a constant stretch that extra is an estimate. Source: kinematics,
derived.

A block is a row of FIELDS numbers: mode (RAPID, LINE, CW, CCW, WAIT), end x y z, centre x y z (arcs), plane's
normal axis, extra turns, feed (mm/s, or −1/s for inverse time), stop (1: at rest at its end; s for WAIT).
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FIELDS = 11
RAPID, LINE, CW, CCW, WAIT = 0, 1, 2, 3, 4
CUT_S, RAPID_S, WAIT_S, CUT_MM, RAPID_MM = 0, 1, 2, 3, 4


@njit(cache=True)  # type: ignore[untyped-decorator]
def _ramp_extra(dv: float, a: float, jerk: float, peak: float, slow: float) -> float:
    """What the jerk adds to a ramp from `slow` to `peak`, less what the longer ramp covers at `peak`."""
    if jerk <= 0.0 or dv <= 0.0 or peak <= 0.0:
        return 0.0
    extra = a / jerk if dv * jerk >= a * a else 2.0 * np.sqrt(dv / jerk) - dv / a
    return extra * (peak - slow) / (2.0 * peak)


@njit(cache=True)  # type: ignore[untyped-decorator]
def _rest(d: float, v: float, a: float, j: float) -> float:
    """`motion.rest_to_rest` for one length; j <= 0: no jerk limit."""
    if d <= 0.0:
        return 0.0
    if j <= 0.0:
        return d / v + v / a if d >= v * v / a else 2.0 * math.sqrt(d / a)
    if v * j < a * a:
        ramp = 2.0 * np.sqrt(v / j)
        return d / v + ramp if d >= v * ramp else 4.0 * float((d / (2.0 * j)) ** (1.0 / 3.0))
    ramp = v / a + a / j
    if d >= v * ramp:
        return d / v + ramp
    if d >= 2.0 * a**3 / j**2:
        return a / j + math.sqrt((a / j) ** 2 + 4.0 * d / a)
    return 4.0 * float((d / (2.0 * j)) ** (1.0 / 3.0))


@njit(cache=True)  # type: ignore[untyped-decorator]
def _arc(row: Floats, start: Floats, into: Floats, out: Floats, box: Floats) -> tuple[float, float]:
    """Length and radius of an arc or helix; unit tangents at both ends; `box` (2, 3) grows by its extreme points."""
    n = int(row[7])
    a, b = (n + 1) % 3, (n + 2) % 3
    ca, cb = row[4 + a], row[4 + b]
    sa, sb, ea, eb = start[a] - ca, start[b] - cb, row[1 + a] - ca, row[1 + b] - cb
    radius = np.hypot(sa, sb)
    sense = 1.0 if row[0] == CCW else -1.0
    begin = np.arctan2(sb, sa)
    sweep = (np.arctan2(eb, ea) - begin) * sense
    while sweep <= 1e-9:
        sweep += 2.0 * np.pi
    while sweep > 2.0 * np.pi + 1e-9:
        sweep -= 2.0 * np.pi
    sweep += 2.0 * np.pi * row[8]
    rise = row[1 + n] - start[n]
    length = np.hypot(radius * sweep, rise)
    flat = radius * sweep / length if length > 0.0 else 1.0
    for k, angle in enumerate((begin, begin + sense * sweep)):
        unit = into if k == 0 else out
        unit[a] = -np.sin(angle) * sense * flat
        unit[b] = np.cos(angle) * sense * flat
        unit[n] = rise / length if length > 0.0 else 0.0
    for quarter in range(4):
        angle = quarter * np.pi / 2.0
        ahead = ((angle - begin) * sense) % (2.0 * np.pi)
        if ahead <= sweep:
            pa, pb = ca + radius * np.cos(angle), cb + radius * np.sin(angle)
            box[0, a], box[1, a] = min(box[0, a], pa), max(box[1, a], pa)
            box[0, b], box[1, b] = min(box[0, b], pb), max(box[1, b], pb)
    return length, radius


@njit(cache=True)  # type: ignore[untyped-decorator]
def _reach(unit: Floats, limits: Floats) -> float:
    """The greatest value along `unit` that keeps every axis within its limit."""
    best = 1e18
    for k in range(3):
        part = abs(unit[k])
        if part > 1e-12 and limits[k] / part < best:
            best = limits[k] / part
    return best


@njit(cache=True)  # type: ignore[untyped-decorator]
def path_seconds(
    rows: Floats, start: Floats, speed: Floats, acceleration: Floats, jerk: float, tolerance: float, box: Floats
) -> Floats:
    """Totals of the blocks `rows` (m, FIELDS) from `start` (3,): s in cut, rapid and wait, mm in cut and rapid.

    `speed` and `acceleration` (3,) mm/s, mm/s²; `jerk` mm/s³ (0: none); `tolerance` mm; `box` (2, 3) grows by
    everything that is cut.
    """
    m = len(rows)
    total = np.zeros(5)
    length, top, acc, enter = np.zeros(m), np.zeros(m), np.ones(m), np.zeros(m + 1)
    into, out, last_out = np.zeros(3), np.zeros(3), np.zeros(3)
    here = start.copy()
    running = False
    for k in range(m):
        row = rows[k]
        mode = int(row[0])
        if mode == WAIT:
            total[WAIT_S] += row[10]
            running = False
            continue
        delta = row[1:4] - here
        if mode == RAPID:
            slowest = 0.0
            for x in range(3):
                slowest = max(slowest, _rest(abs(delta[x]), speed[x], acceleration[x], jerk))
            total[RAPID_S] += slowest
            total[RAPID_MM] += np.sqrt(np.sum(delta * delta))
            here[:] = row[1:4]
            running = False
            continue
        bend = 1e18
        for x in range(3):
            box[0, x] = min(box[0, x], min(here[x], row[1 + x]))
            box[1, x] = max(box[1, x], max(here[x], row[1 + x]))
        if mode == LINE:
            length[k] = np.sqrt(np.sum(delta * delta))
            if length[k] <= 1e-12:
                continue
            into[:] = delta / length[k]
            out[:] = into
            acc[k], top[k] = _reach(into, acceleration), _reach(into, speed)
        else:
            length[k], bend = _arc(row, here, into, out, box)
            if length[k] <= 1e-12:
                continue
            acc[k] = min(acceleration.min(), min(_reach(into, acceleration), _reach(out, acceleration)))
            top[k] = min(speed.min(), np.sqrt(acc[k] * max(bend, 0.0)))
        wanted = row[9] if row[9] > 0.0 else -row[9] * length[k]
        top[k] = min(top[k], wanted)
        if running:
            cosine = into[0] * last_out[0] + into[1] * last_out[1] + into[2] * last_out[2]
            half = np.sqrt(max(0.0, (1.0 + cosine) / 2.0))
            corner = 1e18 if half > 1.0 - 1e-12 else np.sqrt(acc[k] * tolerance * half / (1.0 - half))
            enter[k] = min(corner, top[k])
        last_out[:] = out
        running = row[10] == 0.0
        here[:] = row[1:4]
    _pass(rows, length, top, acc, enter, jerk, total)
    return total


@njit(cache=True)  # type: ignore[untyped-decorator]
def _pass(rows: Floats, length: Floats, top: Floats, acc: Floats, enter: Floats, jerk: float, total: Floats) -> None:
    """Backward, then forward over the entry speeds, and the time of every feed block."""
    m = len(rows)
    after = 0.0  # entry speed of the next feed block of the same run, 0 before a rest
    leave = np.zeros(m)
    for k in range(m - 1, -1, -1):
        if rows[k, 0] == RAPID or rows[k, 0] == WAIT:
            after = 0.0
            continue
        if length[k] <= 0.0:
            continue
        leave[k] = min(after if rows[k, 10] == 0.0 else 0.0, top[k])
        enter[k] = min(enter[k], np.sqrt(leave[k] ** 2 + 2.0 * acc[k] * length[k]))
        after = enter[k]
    before = 0.0
    for k in range(m):
        if rows[k, 0] == RAPID or rows[k, 0] == WAIT:
            before = 0.0
            continue
        if length[k] <= 0.0:
            continue
        v0 = min(enter[k], before)
        v1 = min(leave[k], np.sqrt(v0 * v0 + 2.0 * acc[k] * length[k]))
        before = v1
        peak = min(top[k], np.sqrt(acc[k] * length[k] + (v0 * v0 + v1 * v1) / 2.0))
        ramps = (2.0 * peak * peak - v0 * v0 - v1 * v1) / (2.0 * acc[k])
        seconds = (2.0 * peak - v0 - v1) / acc[k] + max(0.0, length[k] - ramps) / peak
        seconds += _ramp_extra(peak - v0, acc[k], jerk, peak, v0) + _ramp_extra(peak - v1, acc[k], jerk, peak, v1)
        total[CUT_S] += seconds
        total[CUT_MM] += length[k]
