"""A program job from an ordered cycle, for shops that have no single-part program yet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from palletwright.cycle.model import Crossing, Cycle, Visit, crossing
from palletwright.cycle.program_job import Place, ProgramJob, Step, ToolLine
from palletwright.errors import Fault, InputError
from palletwright.verdict import Vec

SAME = 1e-3
"""mm: cuts of two stations whose points agree this closely in the part's frame are written once."""


def skeleton_job(
    cycle: Cycle,
    visits: Sequence[Visit],
    tools: Sequence[ToolLine],
    places: Sequence[Place],
    *,
    number: int,
    title: str,
    identity: str,
    carrier: str,
    clear_z: float,
    retract_z: float = 0.0,
    rotary_word: str = "A",
    cautions: Sequence[str] = (),
    cuts: Mapping[tuple[int, str, str, int], Sequence[str]] | None = None,
    clear: Mapping[Crossing, float] | None = None,
) -> ProgramJob:
    """Put the visits of `cycle` in order into a program job.

    `cuts` gives word-address lines by (operation, feature, stage, tool), from a single-part program in the part's
    work coordinates. A visit without them gets the way to its start and a straight feed to its end, and its title
    says that the cut is to be inserted. `clear`: the heights of `clear_heights` that the cycle was timed with; None:
    `clear_z` everywhere. Raises InputError where a visit's station and angle have no place.
    """
    by_id = {visit.id: visit for visit in visits}
    at = {(place.station, round(place.angle % 360.0, 6)): k for k, place in enumerate(places)}
    feeds = {tool.number: tool.feed for tool in tools}
    steps: list[Step] = []
    texts: dict[str, tuple[str, ...]] = {}
    faults: list[Fault] = []
    for visit in (by_id[name] for name in cycle.order):
        spot = at.get((visit.station, round(visit.angle % 360.0, 6)))
        if spot is None:
            faults.append(Fault("program", "places", visit.station, f"has no place at {visit.angle:g}°"))
            continue
        given = (cuts or {}).get((visit.operation, visit.feature, visit.stage, visit.tool))
        name = f"op {visit.operation} {visit.feature} {visit.stage}"
        if given is None:
            name += f": insert the cut, about {visit.cut_seconds:.0f} s"
            given = _approach(visit, places[spot], feeds.get(visit.tool, 0.0))
        height = (clear or {}).get(crossing(visit))
        steps.append(Step(visit.tool, spot, _named(texts, name, tuple(given)), height, visit.lowest))
    if faults:
        raise InputError(faults)
    return ProgramJob(
        number,
        title,
        identity,
        carrier,
        tuple(places),
        tuple(tools),
        tuple(steps),
        texts,
        clear_z,
        retract_z,
        rotary_word,
        tuple(cautions),
    )


def _named(texts: dict[str, tuple[str, ...]], name: str, lines: tuple[str, ...]) -> str:
    """The name under which these lines stand; another one where the same cut differs from station to station."""
    unique, k = name, 1
    while texts.setdefault(unique, lines) != lines:
        k += 1
        unique = f"{name} ({k})"
    return unique


def _approach(visit: Visit, place: Place, feed: float) -> list[str]:
    start, end = _in_part(visit.start, place), _in_part(visit.end, place)
    x, y, z = start
    lines = [f"G0 X{x:.3f} Y{y:.3f}", f"G0 Z{z:.3f}"]
    if max(abs(a - b) for a, b in zip(start, end, strict=True)) > SAME:
        x, y, z = end
        lines.append(f"G1 X{x:.3f} Y{y:.3f} Z{z:.3f} F{feed:.1f}")
    return lines


def _in_part(point: Vec, place: Place) -> Vec:
    """From the machine frame to the part's work coordinates, its quarter turns undone."""
    x, y, z = (p - o for p, o in zip(point, place.origin, strict=True))
    for _ in range(place.turn % 4):
        x, y = y, -x
    return (round(x, 3) + 0.0, round(y, 3) + 0.0, round(z, 3) + 0.0)
