"""Time to unload and load one station, built from motion-time elements of its grip; what the bench can follow.

Element values are MTM-1 (1 TMU = 0.036 s). Where an element's value is from memory it says so. Distances, the
blow-off and the screw's turns are common practice with no source, and can be given.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

TMU_SECONDS = 0.036
"""s per time measurement unit."""

MTM1 = "MTM-1 tables, read in a reproduction"
MEMORY = "MTM-1, value from memory, unconfirmed"
PRACTICE = "common practice, no source"
ILO = "ILO, Introduction to Work Study, allowances, read in a reproduction"

REACH_B = ((2.5, 2.5), (5.1, 4.0), (10.2, 6.4), (20.3, 10.1), (30.5, 12.9), (40.6, 15.8), (61.0, 21.5), (76.2, 25.8))
"""(cm, TMU) of reach B, to an object whose place varies: MTM-1; read between the points linearly."""

MOVE_B = ((2.5, 2.9), (5.1, 4.6), (10.2, 6.9), (20.3, 10.6), (30.5, 13.4), (40.6, 15.8), (61.0, 20.6), (76.2, 24.3))
"""(cm, TMU) of move B, to about a place: MTM-1."""

MOVE_C = ((2.5, 3.4), (5.1, 5.2), (10.2, 8.0), (20.3, 11.8), (30.5, 15.2), (40.6, 18.7), (61.0, 25.5), (76.2, 30.7))
"""(cm, TMU) of move C, to an exact place: MTM-1."""

GRASP, TURN_180, EYE_FOCUS = 2.0, 14.8, 7.3
"""TMU of grasp G1A, a half turn against 1 to 5 daN, and eye focus: MTM-1."""

REGRASP, POSITION, RELEASE, DISENGAGE, PRESS, TIGHTEN = 5.6, 16.2, 2.0, 4.0, 10.6, 16.2
"""TMU of G2, P2S easy, RL1, D1 easy, apply pressure A, apply pressure B: from memory, unconfirmed."""

BLOW_OFF_SECONDS = 3.0
"""s of air at one station: common practice, no source."""

TURNS = 1.0
"""Turns of a clamp's screw from tight to free: common practice, no source."""

WEIGHT_ALLOWANCE = ((2.3, 0), (4.5, 1), (6.8, 2), (9.1, 3), (11.3, 4), (13.6, 5), (15.9, 7), (18.1, 9), (20.4, 11))
"""(kg, per cent) for handling weight: ILO table, 5 to 45 lb."""


@dataclass(frozen=True, slots=True)
class Element:
    """One motion, how often a station needs it, its TMU each, and where the value comes from."""

    name: str
    times: float
    tmu: float
    source: str

    @property
    def seconds(self) -> float:
        return self.times * self.tmu * TMU_SECONDS


@dataclass(frozen=True, slots=True)
class Handling:
    """What the hands do at one station.

    Parameters
    ----------
    parts : parts that one station holds (two about a double-acting clamp)
    screws : screws or levers to loosen and tighten
    turns : turns of each screw; 0 for a lever, which takes one half turn
    bench_cm, tool_cm : cm from the station to the parts, and to the wrench and air gun
    mass_kg : of one part as loaded, for the allowance
    locators : locating faces to wipe
    measured_seconds : a stopwatch's time for the whole station, which then counts instead of the elements
    loose : pieces that come off and go on again: straps swung aside, screws taken out of the part
    """

    parts: int = 1
    screws: int = 1
    turns: float = TURNS
    bench_cm: float = 61.0
    tool_cm: float = 40.6
    mass_kg: float = 1.0
    locators: int = 3
    measured_seconds: float | None = None
    loose: int = 0

    def __post_init__(self) -> None:
        if (
            self.parts < 1
            or min(self.screws, self.loose) < 0
            or self.turns < 0
            or self.locators < 0
            or self.mass_kg < 0
        ):
            raise ValueError(f"a station has at least a part, and no count or mass below 0: {self}")
        if not (0 < self.bench_cm <= 76.2 and 0 < self.tool_cm <= 76.2):
            raise ValueError(f"distances are within an arm's reach, above 0 up to 76.2 cm: {self}")
        if self.measured_seconds is not None and self.measured_seconds <= 0:
            raise ValueError(f"measured_seconds must be above 0, not {self.measured_seconds:g}")


def _read(table: Sequence[tuple[float, float]], cm: float) -> float:
    """The value between the table's points; below its first point the first."""
    for (a, low), (b, high) in itertools.pairwise(table):
        if cm <= b:
            return low + (high - low) * max(0.0, cm - a) / (b - a)
    return table[-1][1]


def _screw(h: Handling, press: float) -> list[Element]:
    """Loosen or tighten every screw: the wrench fetched once, then at each screw placed, turned, pressed."""
    half_turns = max(1, math.ceil(2 * h.turns))
    if h.screws == 0:
        return []
    return [
        Element("reach for the wrench and take it", 1, _read(REACH_B, h.tool_cm) + GRASP, MTM1),
        Element("wrench to the screw", h.screws, _read(MOVE_C, h.tool_cm if h.screws == 1 else 15.0), MTM1),
        Element("wrench onto the screw", h.screws, POSITION, MEMORY),
        Element("turn", h.screws * half_turns, TURN_180, MTM1),
        Element("regrasp between turns", h.screws * (half_turns - 1), REGRASP, MEMORY),
        Element("press to break loose or to tighten", h.screws, press, MEMORY),
        Element("lay the wrench down", 1, _read(MOVE_B, h.tool_cm) + RELEASE, MEMORY),
    ]


def unload_elements(h: Handling) -> tuple[Element, ...]:
    """The motions that take the finished parts out of one station and clean it."""
    out, reach = _read(MOVE_B, h.bench_cm), _read(REACH_B, h.tool_cm)
    return (
        *_screw(h, PRESS),
        *_loose(h, "strap or screw off and aside", _read(MOVE_B, 15.0) + RELEASE, MTM1),
        Element("reach for the part and take it", h.parts, _read(REACH_B, 30.5) + GRASP, MTM1),
        Element("free it from its seat", h.parts, DISENGAGE, MEMORY),
        Element("part to the bench, let go", h.parts, out + RELEASE, MEMORY),
        Element("air gun taken and laid down", 1, reach + GRASP + _read(MOVE_B, h.tool_cm) * 2 + RELEASE, MEMORY),
        Element("blow off", 1, BLOW_OFF_SECONDS / TMU_SECONDS, PRACTICE),
        Element("wipe a locating face, there and back", 2 * h.locators, _read(MOVE_B, 10.2), MTM1),
    )


def load_elements(h: Handling) -> tuple[Element, ...]:
    """The motions that put blanks into one station, see that they sit, and clamp them."""
    return (
        Element("reach for the blank and take it", h.parts, _read(REACH_B, h.bench_cm) + GRASP, MTM1),
        Element("blank to its seat", h.parts, _read(MOVE_C, h.bench_cm), MTM1),
        Element("blank onto its locators", h.parts, POSITION, MEMORY),
        Element("press it home", h.parts, PRESS, MEMORY),
        Element("look at each locating face for its seat", h.parts * h.locators, EYE_FOCUS, MTM1),
        *_loose(h, "strap or screw back on its place", _read(MOVE_C, 15.0) + POSITION + RELEASE, MEMORY),
        *_screw(h, TIGHTEN),
    )


def _loose(h: Handling, name: str, tmu: float, source: str) -> list[Element]:
    """Every loose piece taken, and put where it belongs."""
    return [Element(name, h.loose, _read(REACH_B, 15.0) + GRASP + tmu, source)] if h.loose else []


def allowance(mass_kg: float, *, standing: bool = True, awkward: bool = False) -> float:
    """Relaxation allowance as a fraction: personal 5 %, fatigue 4 %, standing 2 %, bending 2 %, and the weight.

    Source: ILO table; the weight rounds up to its next step. Raises ValueError past 20.4 kg, which one person
    doesn't lift station by station.
    """
    weight = next((p for kg, p in WEIGHT_ALLOWANCE if mass_kg <= kg), None)
    if weight is None:
        raise ValueError(f"{mass_kg:g} kg is past the {WEIGHT_ALLOWANCE[-1][0]} kg of the table: use a lift")
    return (5 + 4 + 2 * standing + 2 * awkward + weight) / 100.0


@dataclass(frozen=True, slots=True)
class LoadTime:
    """s to unload and load one station, allowance included, and what that number rests on."""

    unload_seconds: float
    load_seconds: float
    allowance: float
    label: Literal["measured", "motion-time elements"]
    elements: tuple[Element, ...] = ()

    @property
    def seconds(self) -> float:
        return self.unload_seconds + self.load_seconds

    @property
    def from_memory(self) -> float:
        """The fraction of the elements' time that rests on values from memory or common practice."""
        whole = sum(e.seconds for e in self.elements)
        return sum(e.seconds for e in self.elements if e.source != MTM1) / whole if whole else 0.0


def station_time(h: Handling, *, awkward: bool = False) -> LoadTime:
    """Unload and load time of one station: measured where measured, else from motion-time elements.

    A measured time is taken as it was read, without allowance on top.
    """
    if h.measured_seconds is not None:
        return LoadTime(h.measured_seconds / 2, h.measured_seconds / 2, 0.0, "measured")
    rest = allowance(h.mass_kg, awkward=awkward)
    out, into = unload_elements(h), load_elements(h)
    return LoadTime(
        sum(e.seconds for e in out) * (1 + rest),
        sum(e.seconds for e in into) * (1 + rest),
        rest,
        "motion-time elements",
        (*out, *into),
    )


@dataclass(frozen=True, slots=True)
class Use:
    """One resource: its s a start, and the fraction of the start in which it is busy."""

    name: str
    seconds: float
    busy: float


def resources(
    *, machine: float, load: float, swap: float, sets: int, deburr: float = 0.0, wash: float = 0.0, people: int = 1
) -> tuple[float, tuple[Use, ...]]:
    """s from start to start, and the resources by how busy they are, the bottleneck first.

    Parameters
    ----------
    machine, load, swap : s of one start
    sets : carrier sets
    deburr : s at the bench for the finished parts of one start, by the same people as loading
    wash : s of the washer a start
    people : how many load, swap and deburr

    With one set loading stands in the cycle. The start is as long as its slowest resource: machine with swap, bench,
    people or washer.
    """
    if sets < 1 or people < 1 or min(machine, load, swap, deburr, wash) < 0:
        raise ValueError("needs at least one set and one person, and no time below 0")
    spindle = machine + swap + (load if sets == 1 else 0.0)
    busy = {
        "machine": spindle,
        "bench": load + deburr + (0.0 if sets == 1 else swap),
        "people": (load + deburr + swap) / people,
        "wash": wash,
    }
    if people > 1:
        busy["bench"] = max(load + swap, deburr)
    whole = max(busy.values())
    rows = [Use(name, s, s / whole if whole else 0.0) for name, s in busy.items()]
    return whole, tuple(sorted(rows, key=lambda u: -u.seconds))


def bench_paces_from(
    *, machine_fixed: float, machine_per_part: float, load_per_part: float, bench_per_part: float, load_fixed: float = 0
) -> float | None:
    """Parts a start from which the bench, not the spindle, sets the pace; None where it never does.

    Spindle: machine_fixed + n · machine_per_part; bench: load_fixed + n · (load_per_part + bench_per_part), s.
    """
    slope = load_per_part + bench_per_part - machine_per_part
    if load_fixed > machine_fixed:
        return 0.0
    return None if slope <= 0 else (machine_fixed - load_fixed) / slope
