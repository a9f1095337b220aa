"""A program job from an ordered cycle, for shops that have no single-part program yet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from palletwright.cycle.model import Crossing, Cycle, Visit, crossing
from palletwright.cycle.program_job import Place, ProgramJob, ProgramRun, Step, ToolLine
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
    programs: Mapping[int, Sequence[ProgramRun]] | None = None,
    edges: Mapping[str, int] | None = None,
) -> ProgramJob:
    """Put the visits of `cycle` in order into a program job.

    `cuts` gives word-address lines by (operation, feature, stage, tool), from a single-part program in the part's
    work coordinates. A visit without them gets the way to its start and a straight feed to its end, and its title
    says that the cut is to be inserted. `clear`: the heights of `clear_heights` that the cycle was timed with; None:
    `clear_z` everywhere. `programs` by operation: a station's visits by one tool within a tool run become that tool's
    run of the program, whole; its place must stand at the program's zero (`place_of`). `edges` by visit: which edge of
    its tool cuts (`edges_by_visit`); None: the first.

    Raises InputError where a visit's station and angle have no place, or a program has other tool runs than the plan.
    """
    by_id = {visit.id: visit for visit in visits}
    ordered = [by_id[name] for name in cycle.order]
    feeds = {tool.number: tool.feed for tool in tools}
    steps, texts = _steps(ordered, places, feeds, cuts or {}, clear or {}, _WholeRuns(programs or {}), edges or {})
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


def _steps(
    ordered: Sequence[Visit],
    places: Sequence[Place],
    feeds: Mapping[int, float],
    cuts: Mapping[tuple[int, str, str, int], Sequence[str]],
    clear: Mapping[Crossing, float],
    whole: _WholeRuns,
    edges: Mapping[str, int],
) -> tuple[list[Step], dict[str, tuple[str, ...]]]:
    """The steps of the program, and their cuts by name."""
    at = {(place.station, round(place.angle % 360.0, 6)): k for k, place in enumerate(places)}
    steps: list[Step] = []
    texts: dict[str, tuple[str, ...]] = {}
    faults: list[Fault] = []
    deepest = _deepest(ordered)
    for visit in ordered:
        spot = at.get((visit.station, round(visit.angle % 360.0, 6)))
        if spot is None:
            faults.append(Fault("program", "places", visit.station, f"has no place at {visit.angle:g}°"))
            continue
        programmed = visit.operation in whole.programs
        name, given = whole.next(visit) if programmed else _cut(visit, cuts)
        if given is None:
            given = () if programmed else _approach(visit, places[spot], feeds.get(visit.tool, 0.0))
        if given:
            lines = _named(texts, name, tuple(given))
            lowest = deepest.get((visit.operation, visit.station, visit.tool)) if programmed else visit.lowest
            steps.append(Step(visit.tool, spot, lines, clear.get(crossing(visit)), lowest, edges.get(visit.id, 0)))
    faults += whole.faults()
    if faults:
        raise InputError(faults)
    return steps, texts


def _deepest(visits: Sequence[Visit]) -> dict[tuple[int, str, int], float]:
    """The lowest that each tool may go at a station, over all its visits there whose depth is known."""
    found: dict[tuple[int, str, int], float] = {}
    for v in visits:
        key = (v.operation, v.station, v.tool)
        if v.lowest is not None:
            found[key] = min(v.lowest, found.get(key, v.lowest))
    return found


def _cut(visit: Visit, cuts: Mapping[tuple[int, str, str, int], Sequence[str]]) -> tuple[str, Sequence[str] | None]:
    """Title and lines of one visit's cut; no lines where it is still to be inserted."""
    name = f"op {visit.operation} {visit.feature} {visit.stage}"
    given = cuts.get((visit.operation, visit.feature, visit.stage, visit.tool))
    return (name, given) if given is not None else (f"{name}: insert the cut, about {visit.cut_seconds:.0f} s", None)


class _WholeRuns:
    """Hands out the runs of single-part programs, one for each time that their tool comes to a station."""

    def __init__(self, programs: Mapping[int, Sequence[ProgramRun]]) -> None:
        self.programs = programs
        self.tool, self.run = 0, 0
        self.given: dict[tuple[int, str, int], list[int]] = {}
        self.wrong: dict[str, Fault] = {}

    def next(self, visit: Visit) -> tuple[str, Sequence[str] | None]:
        """Title and lines of the visit's run; no lines where they stand already in this tool run."""
        if visit.tool != self.tool:
            self.tool, self.run = visit.tool, self.run + 1
        taken = self.given.setdefault((visit.operation, visit.station, visit.tool), [])
        if taken and taken[-1] == self.run:
            return "", None
        mine = [run for run in self.programs[visit.operation] if run.tool == visit.tool]
        taken.append(self.run)
        if len(taken) > len(mine):
            key = f"operation {visit.operation}"
            problem = f"has T{visit.tool} {len(mine)} times in the spindle, the plan needs it oftener"
            self.wrong.setdefault(f"{key} {visit.tool}", Fault("program", key, f"T{visit.tool}", problem))
            return "", None
        again = f", run {len(taken)}" if len(mine) > 1 else ""
        return f"op {visit.operation} T{visit.tool}{again} as in its program", mine[len(taken) - 1].lines

    def faults(self) -> list[Fault]:
        """Tool runs that a program has and the plan hasn't, and those that it lacks."""
        stations: dict[int, set[str]] = {}
        for operation, station, _ in self.given:
            stations.setdefault(operation, set()).add(station)
        found = list(self.wrong.values())
        for operation, names in stations.items():
            tools = [run.tool for run in self.programs[operation]]
            for tool in dict.fromkeys(tools):
                least = min(len(self.given.get((operation, name, tool), ())) for name in names)
                if least < tools.count(tool):
                    problem = f"is {tools.count(tool)} times in its program, the plan has it {least} times at a station"
                    found.append(Fault("program", f"operation {operation}", f"T{tool}", problem))
        return found


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
