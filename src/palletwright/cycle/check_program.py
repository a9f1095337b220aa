"""What we wrote, read back and compared with what it was written from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from palletwright.cycle.dialect import Dialect, read_dialect
from palletwright.cycle.fresh_edges import count_variable, counted
from palletwright.cycle.offsets import offset_words, zero_of
from palletwright.cycle.program_job import ProgramJob, Step, entry_of, turned
from palletwright.cycle.trace import Spot, trace
from palletwright.cycle.write import Writer
from palletwright.shop.model import Travel
from palletwright.verdict import Vec

SAME = 1e-3
"""mm: positions that differ by less are the same: two dialects' last decimals."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """One feed that must come: its step by number, tool, offset, rotary word, end in work coordinates and in the
    control's own."""

    step: int
    tool: int
    offset: str
    angle: float
    at: Vec
    machine: Vec


def check_programs(
    job: ProgramJob, texts: dict[str, str], dialect: str | Dialect = "rs274", *, travel: Travel | None = None
) -> tuple[str, ...]:
    """Read our own text back and compare with the job; faults as sentences, none when all is well.

    Each step must be visited once, in order, by its tool, offset and angle; every feed must end where its cut says,
    turned exactly, in work coordinates and, with the offset that is then set, in the machine (the first carrier of each
    mount), and not below the step's `lowest`; between two places a rapid must stay at the height that the
    job allows there; with `travel` (mm, machine frame, of the gauge point) every axis must stay within it.
    """
    kind = dialect if isinstance(dialect, Dialect) else read_dialect(dialect)
    lengths = {number: tool.length for tool in job.tools for number in (tool.number, *tool.sisters)}
    name = f"{job.number:04d}"
    kept = {count_variable(job, tool): 0.0 for tool in counted(job)}
    spots, unknown = trace(texts[f"{name}.nc"], lengths, texts[f"{name}_offsets.nc"], kept)
    wanted = list(wanted_feeds(job, kind))
    faults = [
        *unknown,
        *_compared(job, [s for s in spots if not s.rapid], wanted),
        *_crossings(job, kind, spots, wanted),
    ]
    if travel is not None:
        faults += _travel(job, spots, lengths, travel)
    return tuple(faults)


def wanted_feeds(job: ProgramJob, kind: Dialect) -> Iterator[Wanted]:
    """Every feed of the job in its order, from the cuts themselves."""
    writer = Writer(job, kind)
    tools = {tool.number: (tool.number, *tool.sisters) for tool in job.tools}
    for k, step in enumerate(job.steps):
        place = job.places[step.place]
        angle = (job.rotary_zero + job.rotary_sign * place.angle) % 360.0
        zero = zero_of(job, step.place)
        lines = [turned(line, place.turn, step.cut) for line in job.cuts[step.cut]]
        entry = entry_of(job.cuts[step.cut], place.turn, step.cut)
        way_in = [f"G0 X{entry[0]} Y{entry[1]}"] if entry else []
        text = "\n".join(["G21 G90 G17", *way_in, f"G0 Z{writer.clear(step)}", *lines, "M30"])
        for spot in trace(text)[0]:
            if not spot.rapid:
                x, y, z = (a + b for a, b in zip(spot.at, zero, strict=True))
                tool, words = tools[step.tool][step.edge], offset_words(job, kind, step.place)
                yield Wanted(k, tool, words, angle, spot.at, (x, y, z))


def _compared(job: ProgramJob, feeds: Sequence[Spot], wanted: Sequence[Wanted]) -> list[str]:
    faults = []
    for k, (have, need) in enumerate(zip(feeds, wanted, strict=False)):
        far = max(abs(a - b) for a, b in zip(have.at, need.at, strict=True))
        turn = abs((have.angle - need.angle + 180.0) % 360.0 - 180.0)
        if (have.tool, have.offset) != (need.tool, need.offset) or far > SAME or turn > SAME:
            got = f"T{have.tool} {have.offset} at {have.angle:g}° ends at {_point(have.at)}"
            faults.append(f"feed {k + 1}: {got}, should be {need.tool, need.offset, need.angle, _point(need.at)}")
            break
        step = job.steps[need.step]
        if max(abs(a - b) for a, b in zip(have.machine, need.machine, strict=True)) > SAME:
            station = job.places[step.place].station
            got, right = _point(have.machine), _point(need.machine)
            faults.append(f"feed {k + 1}: {_visit(step)} at {station} ends at machine {got}, should be {right}")
            break
        z = have.at[2] + job.places[step.place].origin[2]
        if step.lowest is not None and z < step.lowest - SAME:
            station = job.places[step.place].station
            faults.append(f"{_visit(step)} at {station} goes to z {z:.3f}, below {step.lowest:.3f}")
    if len(feeds) != len(wanted):
        faults.append(f"{len(feeds)} feeds written, {len(wanted)} wanted")
    return faults


def _crossings(job: ProgramJob, kind: Dialect, spots: Sequence[Spot], wanted: Sequence[Wanted]) -> list[str]:
    """Moves across to another place, tool or angle that are lower than the height which the job allows there."""
    writer, high = Writer(job, kind), job.retract_z + job.machine_zero[2]
    faults: list[str] = []
    feeds = 0
    for a, b in pairwise(spots):
        feeds += not a.rapid
        if (a.offset, a.angle, a.tool) == (b.offset, b.angle, b.tool) or feeds >= len(wanted):
            continue
        step = job.steps[wanted[feeds].step]
        first = wanted[feeds - 1].step if feeds else 0  # steps that feed nowhere leave no mark of their own
        heights = [writer.height(job.steps[k]) for k in range(first, wanted[feeds].step + 1)]
        z, least = b.machine[2] + job.machine_zero[2], min(*heights, high)
        if not b.rapid or z < least - SAME:
            station = job.places[step.place].station
            faults.append(f"{_visit(step)} at {station} comes in at z {z:.3f}, below the clear height {least:.3f}")
    return faults[:5]


def _travel(job: ProgramJob, spots: Sequence[Spot], lengths: dict[int, float], travel: Travel) -> list[str]:
    """Moves whose gauge point leaves the travel; the retracted height is the control's own."""
    worst: dict[str, tuple[float, str]] = {}
    for spot in spots:
        point = [a + b for a, b in zip(spot.machine, job.machine_zero, strict=True)]
        held = abs(spot.machine[2] - job.retract_z) > SAME
        point[2] += lengths.get(spot.tool, 0.0) if held else 0.0
        for axis, value in zip("xyz", point, strict=True):
            low, high = getattr(travel, axis)
            over = max(low - value, value - high)
            if over > SAME and over > worst.get(axis, (0.0, ""))[0]:
                text = f"T{spot.tool} {spot.offset}: {axis} {value:.3f} is {over:.3f} mm out of {low:g} to {high:g}"
                worst[axis] = (over, text)
    return [text for _, text in worst.values()]


def _visit(step: Step) -> str:
    return f"T{step.tool} {step.cut}"


def _point(at: Vec) -> str:
    return " ".join(f"{v:.3f}" for v in at)
