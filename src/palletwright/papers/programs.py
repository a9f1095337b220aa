"""The many-station programs and their offsets from a plan's visits, in every shipped dialect, read back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import count, islice

from palletwright.cycle import (
    CarrierId,
    Place,
    ProgramJob,
    ToolLine,
    check_programs,
    edges_by_visit,
    for_machine,
    place_of,
    program_runs,
    read_dialect,
    shipped_dialects,
    skeleton_job,
    write_programs,
)
from palletwright.cycle.model import Cycle, Visit
from palletwright.cycle.offsets import offset_words, shares_offset
from palletwright.cycle.program_job import MOUNTS
from palletwright.cycle.tool_life import NEVER
from palletwright.errors import Fault, InputError
from palletwright.papers.facts import Data, Facts, StationFact, quarter_turn, zero_at
from palletwright.papers.live import Live
from palletwright.plan.cycles import looked_at
from palletwright.scene import Mount, turning

NUMBER = 1000
"""Program number of the first cycle; the next cycle's is 1000 higher."""


@dataclass(frozen=True)
class Package:
    """Texts by file name, and for each dialect the words that select the offset of each place."""

    files: Mapping[str, str]
    offsets: Mapping[str, list[str]]


def package(facts: Facts, cycle: int, live: Live) -> Package:
    """Programs of one cycle in every shipped dialect.

    Raises RuntimeError when a program of ours doesn't read back as the plan: that is a fault of ours.
    """
    job = program_job(facts, cycle, live)
    files: dict[str, str] = {}
    offsets: dict[str, list[str]] = {}
    for name in shipped_dialects():
        texts = write_programs(job, name)
        faults = check_programs(job, texts, name, travel=facts.machine.travel)
        if faults and live.kept.programmed:
            raise InputError([Fault("job", "operations", facts.way["name"], f"program: {fault}") for fault in faults])
        if faults:
            raise RuntimeError(f"program in {name} doesn't read back: " + "; ".join(faults[:3]))
        files |= {f"{name}/{file}": text for file, text in texts.items()}
        dialect = read_dialect(name)
        offsets[name] = [
            "" if shares_offset(job, dialect, k) else offset_words(job, dialect, k) for k in range(len(job.places))
        ]
    return Package(files, offsets)


def program_job(facts: Facts, cycle: int, live: Live) -> ProgramJob:
    """What the programs say: places at the stations' own zeros, the plan's order, and each cut's way in."""
    question = live.kept.cycles[cycle]
    made = list(question.visits)
    mounts = facts.mounts(cycle)
    programs = {k: program_runs(p) for k in live.kept.programmed if (p := live.job.operations[k].program) is not None}
    places = [
        _programmed(live, s, mounts[s.mount], a)
        if s.operation in programs
        else Place(s.name, a, _vec(zero_at(s, mounts[s.mount], a)), quarter_turn(s, mounts[s.mount], a), s.mount)
        for s in facts.stations(cycle)
        for a in s.angles
    ]
    ordered, by_id = _ordered(facts, cycle, made), {v.id: v for v in made}
    switches = [name for row in _edges(facts, cycle).values() for name in row["switch_before"]]
    job = skeleton_job(
        ordered,
        made,
        _tool_lines(facts, cycle, live),
        places,
        number=NUMBER * (cycle + 1),
        title=str(facts.data["job"]["name"]),
        identity=facts.identity,
        carrier=", ".join(m.carrier for m in mounts.values()),
        clear_z=question.retract,
        clear=question.clear,
        programs=programs,
        edges=edges_by_visit([by_id[name] for name in ordered.order], switches),
    )
    return for_machine(replace(job, carriers=_carriers(facts, cycle)), facts.machine)


def _carriers(facts: Facts, cycle: int) -> tuple[CarrierId, ...]:
    """The carriers that may sit on each mount, one a set, numbered from 1, their master points not measured yet. Vises
    stay where they are and have none; past what a program can ask for there are none either."""
    kinds = {p.mount: p.kind for p in facts.design.placings}
    moved = [mount for mount in facts.mounts(cycle) if kinds[mount] != "vise"]
    if len(moved) > MOUNTS:
        return ()
    return tuple(CarrierId(k, mount) for mount in moved for k in range(1, facts.design.sets + 1))


def _programmed(live: Live, station: StationFact, mount: Mount, angle: float) -> Place:
    """The place of a station that a single-part program cuts: the program's own zero and axis."""
    known = live.job.operations[station.operation]
    pose = turning(mount, angle) @ station.pose @ live.options[station.operation].grip.poses[station.within]
    return place_of(station.name, angle, pose, known.program_zero, known.program_x, station.mount)


def _ordered(facts: Facts, cycle: int, made: list[Visit]) -> Cycle:
    """The plan's own order of visits.

    Raises InputError when the visits of the plan aren't those rebuilt.
    """
    order = tuple(e["note"] for e in facts.events(cycle) if e["what"] == "cut")
    if sorted(order) != sorted(v.id for v in made):
        problem = "the visits rebuilt from part and shop aren't those of the plan; plan it again"
        raise InputError([Fault("plan", "cycle", facts.way["name"], problem)])
    row = facts.way["cycle"]["cycles"][cycle]
    return Cycle(order, (), row["seconds"], row["bound"], row["tool_runs"], row["least_tool_runs"])


def _tool_lines(facts: Facts, cycle: int, live: Live) -> list[ToolLine]:
    """Each tool at the least speed and the least feed of its cuts: never faster than any cut that was checked.

    Sisters get the lowest tool numbers that the shop doesn't use.
    """
    known = {t.number: t for t in facts.shop.tools}
    free, edges = (n for n in count(1) if n not in known), _edges(facts, cycle)
    lines = []
    for number in facts.tools(cycle):
        tool = known[number]
        cuts = [c.conditions for o in live.options.values() for c in o.cuts if c.tool == number]
        name, look = tool.name or tool.cutter.id, looked_at(tool)
        sisters = tuple(islice(free, edges[number]["edges"] - 1 if number in edges else 0))
        starts = edges[number]["starts_per_edge"] if number in edges else None
        starts = starts if starts is not None and 0 < starts < NEVER else None
        rpm, feed = min(c.rpm for c in cuts), min(c.feed for c in cuts)
        lines.append(ToolLine(number, name, tool.gauge_length, rpm, feed, look, sisters, starts))
    return lines


def _edges(facts: Facts, cycle: int) -> dict[int, Data]:
    """What the plan says of each tool's edges in a cycle, by tool; nothing in plans of an earlier version."""
    told = facts.way["cycle"]["cycles"][cycle].get("edges")
    return {row["tool"]: row for row in told["tools"]} if told else {}


def _vec(v) -> tuple[float, float, float]:  # type: ignore[no-untyped-def]
    return float(v[0]), float(v[1]), float(v[2])
