"""The many-station program: tool runs in the chosen order, one offset a station, each cut written once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import groupby

from palletwright.cycle.dialect import Dialect, read_dialect
from palletwright.cycle.program_job import Place, ProgramJob, Step, ToolLine, turned
from palletwright.cycle.trace import trace

START_RUN, FIRST_SWITCH = 500, 501
"""Variables: the tool run to start from, and one switch a station (1: cut, 0: leave out)."""

USUAL_CAUTIONS = (
    "prove out single block at reduced rapid",
    "the builder's limits on speed, swing and clamping stand above this program",
    "guards closed, check every clamp",
    "a qualified person decides",
)


def write_programs(job: ProgramJob, dialect: str | Dialect = "rs274") -> dict[str, str]:
    """Texts by file name: the main program with its subprograms, and a program that sets the work offsets.

    Restart: #500 names the tool run to begin with; each run retracts, indexes and clamps before it approaches. Each
    station has a switch from #501 on, in the order of `job.places`' stations. Raises InputError where a cut can't be
    turned for a turned station.
    """
    kind = dialect if isinstance(dialect, Dialect) else read_dialect(dialect)
    name = f"{job.number:04d}"
    return {f"{name}.nc": _Writer(job, kind).main(), f"{name}_offsets.nc": _offsets(job, kind)}


def check_programs(job: ProgramJob, texts: dict[str, str], dialect: str | Dialect = "rs274") -> tuple[str, ...]:
    """Read our own text back and compare with the job; faults as sentences, none when all is well.

    Each step must be visited once, in order, by its tool, offset and angle, every feed must end where its cut says,
    turned exactly, and no rapid may cross in X or Y below the clear height outside a cut.
    """
    kind = dialect if isinstance(dialect, Dialect) else read_dialect(dialect)
    spots, unknown = trace(texts[f"{job.number:04d}.nc"])
    got = [
        (s.tool, s.offset, round(s.angle, 4) % 360.0, *(round(c, 4) + 0.0 for c in s.at)) for s in spots if not s.rapid
    ]
    want = []
    writer = _Writer(job, kind)
    for step in job.steps:
        place = job.places[step.place]
        angle = round(place.angle, 4) % 360.0
        lines = [turned(line, place.turn, step.cut) for line in job.cuts[step.cut]]
        for spot in trace("\n".join(["G21 G90 G17", f"G0 Z{writer.clear(place)}", *lines, "M30"]))[0]:
            if not spot.rapid:
                want.append((step.tool, writer.offset_key(step.place), angle, *(round(c, 4) + 0.0 for c in spot.at)))
    faults = list(unknown)
    for k, (have, need) in enumerate(zip(got, want, strict=False)):
        if have != need:
            faults.append(f"feed {k + 1} ends at {have}, should be {need}")
            break
    if len(got) != len(want):
        faults.append(f"{len(got)} feeds written, {len(want)} wanted")
    return tuple(faults)


def _offsets(job: ProgramJob, kind: Dialect) -> str:
    """Settings code for the offsets that the control keeps; the others are set in the main program."""
    lines = [kind.begin.format(number=job.number + 1), kind.note(f"work offsets of carrier {job.carrier}"), "G21 G90"]
    for k in range(len(job.places)):
        lines.extend(_setting(job, kind, k, k))
    return "\n".join([*lines, kind.end]) + "\n"


def _setting(job: ProgramJob, kind: Dialect, place: int, index: int) -> list[str]:
    """The lines that set offset `index` to the place's origin; none where the control doesn't keep so many."""
    here = job.places[place]
    x, y, z = map(kind.number, here.origin)
    basic = len(kind.offsets)
    note = kind.note(f"{kind.offset(index)} = {here.station} at {here.angle:g} deg")
    if index < basic:
        return [note, kind.set_offset.format(number=index + 1, x=x, y=y, z=z)]
    if index < basic + kind.offsets_extended:
        return [note, kind.set_extended.format(number=index - basic + 1, x=x, y=y, z=z)]
    return []


@dataclass
class _Writer:
    """Gathers the lines of one program: labels and subprogram numbers are given out once."""

    job: ProgramJob
    kind: Dialect
    labels: int = 0
    subs: dict[tuple[str, int], int] = field(default_factory=dict)

    def main(self) -> str:
        body = self.body()
        subs = self.subprograms()
        begin, settings = self.kind.begin.format(number=self.job.number), self.kind.settings
        head = [begin, *self.header(), settings, self.kind.retract.format(z=self.kind.number(self.job.retract_z))]
        if self.kind.subprograms_first:
            lines = [begin, *subs, *head[1:], *body, self.kind.end]
        else:
            stop, _, percent = self.kind.end.partition("\n")
            lines = [*head, *body, stop, *subs, percent]
        if self.kind.line_numbers:
            lines = [
                f"N{10 * k} {line}" if line[:1] in "GMTSFXYZABC" else line for k, line in enumerate(lines, start=1)
            ]
        return "\n".join(line for line in lines if line) + "\n"

    def header(self) -> list[str]:
        job, note = self.job, self.kind.note
        lines = [note(job.title), note(f"plan {job.identity}"), note(f"carrier {job.carrier}")]
        lines += [note(text) for text in (*USUAL_CAUTIONS, *job.cautions)]
        lines += [note(f"T{t.number} {t.name}, length {t.length:.1f} ± 1 mm".replace("±", "+-")) for t in job.tools]
        lines.append(note("first tool run to make: 1 for all of them"))
        lines.append(f"#{START_RUN} = 1")
        for k, station in enumerate(self.stations()):
            lines += [note(f"station {station}: 1 cut, 0 leave out"), f"#{FIRST_SWITCH + k} = 1"]
        return [*lines, note(f"is carrier {job.carrier} in the machine, are its offsets set?"), self.kind.ask]

    def stations(self) -> list[str]:
        return list(dict.fromkeys(place.station for place in self.job.places))

    def body(self) -> list[str]:
        lines: list[str] = []
        tools = {tool.number: tool for tool in self.job.tools}
        for run, (number, steps) in enumerate(groupby(self.job.steps, key=lambda step: step.tool), start=1):
            lines += self.tool_run(run, tools[number], list(steps))
        return [*lines, self.kind.retract.format(z=self.kind.number(self.job.retract_z)), "M5", "M9"]

    def guarded(self, truth: str, lies: str, lines: Sequence[str]) -> list[str]:
        """`lines` that are only carried out where the condition holds."""
        label = self.kind.first_label + self.labels
        self.labels += 1
        words = {"label": label, "condition_true": truth, "condition_false": lies}
        return [self.kind.if_begin.format(**words), *lines, self.kind.if_end.format(**words)]

    def tool_run(self, run: int, tool: ToolLine, steps: list[Step]) -> list[str]:
        note, kind = self.kind.note, self.kind
        retract = kind.retract.format(z=kind.number(self.job.retract_z))
        lines = [note(f"tool run {run}: T{tool.number} {tool.name}"), retract, "M5", "M9", f"T{tool.number} M6"]
        lines += [f"G43 H{tool.number}", f"S{tool.speed:.0f} M3", "M8"]
        lines += self.index(self.job.places[steps[0].place].angle)
        angle = self.job.places[steps[0].place].angle
        for step in steps:
            place = self.job.places[step.place]
            if place.angle != angle:
                angle = place.angle
                lines += [retract, *self.index(angle)]
            switch = FIRST_SWITCH + self.stations().index(place.station)
            lines += self.guarded(f"#{switch} NE 0", f"#{switch} EQ 0", self.visit(step, place))
        if tool.fragile:
            lines += [note(f"check that T{tool.number} is whole"), retract, kind.optional_stop]
        return self.guarded(f"#{START_RUN} LE {run}", f"#{START_RUN} GT {run}", lines)

    def index(self, angle: float) -> list[str]:
        """Turn at the retracted height: unclamp, turn, clamp. Written even where it stands so already: a restart."""
        if len({place.angle for place in self.job.places}) < 2 and angle == 0.0:
            return []
        turn = f"G0 {self.job.rotary_word}{self.kind.number(angle)}"
        return [line for line in (self.kind.unclamp, turn, self.kind.clamp) if line]

    def visit(self, step: Step, place: Place) -> list[str]:
        key = (step.cut, place.turn % 4)
        number = self.subs.setdefault(key, self.job.number + 100 + len(self.subs))
        select = self.kind.offset(step.place)
        lines = [self.kind.note(f"{place.station}: {step.cut}")]
        if not select:
            last = len(self.kind.offsets) + self.kind.offsets_extended - 1
            lines += _setting(self.job, self.kind, step.place, last)[1:] or _reset(
                self.job, self.kind, step.place, last
            )
            select = self.kind.offset(last)
        high = f"G90 G0 Z{self.clear(place)}"
        return [*lines, select, high, self.kind.sub_call.format(number=number), f"G80 {high}"]

    def clear(self, place: Place) -> str:
        """The clear height in the place's work coordinates."""
        return self.kind.number(self.job.clear_z - place.origin[2])

    def offset_key(self, place: int) -> str:
        """The work offset that a place runs under, as our reader names it."""
        last = len(self.kind.offsets) + self.kind.offsets_extended - 1
        return self.kind.offset(place) or self.kind.offset(last)

    def subprograms(self) -> list[str]:
        lines: list[str] = []
        for (cut, turn), number in self.subs.items():
            body = [turned(line, turn, cut) for line in self.job.cuts[cut]]
            title = self.kind.note(f"{cut}, turned {90 * turn} deg")
            lines += [self.kind.sub_begin.format(number=number), title, "G90 G17", *body]
            lines.append(self.kind.sub_end.format(number=number))
        return lines


def _reset(job: ProgramJob, kind: Dialect, place: int, index: int) -> list[str]:
    x, y, z = map(kind.number, job.places[place].origin)
    form = kind.set_offset if index < len(kind.offsets) else kind.set_extended
    number = index + 1 if index < len(kind.offsets) else index - len(kind.offsets) + 1
    return [form.format(number=number, x=x, y=y, z=z)]
