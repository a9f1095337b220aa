"""The many-station program: tool runs in the chosen order, one offset a station, each cut written once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import groupby

from palletwright.cycle.dialect import Dialect, read_dialect
from palletwright.cycle.fresh_edges import (
    Condition,
    choice_lines,
    choice_of,
    counted,
    due_lines,
    edges_of,
    fresh_program,
)
from palletwright.cycle.offsets import (
    carrier_lines,
    mounts,
    offset_table,
    offset_words,
    serial_variable,
    setting,
    settings_program,
    shares_offset,
)
from palletwright.cycle.program_job import Place, ProgramJob, Step, ToolLine, entry_of, turned

START_RUN, START_VISIT, FIRST_SWITCH = 500, 501, 540
"""Variables: the tool run and the visit to start from, and one switch a station (1: cut, 0: leave out)."""

ALARM = 1
"""The number of our alarms, where a control wants one."""

CHECK_WAY, CHECK_FEED = 5.0, 100.0
"""mm above the tool setter from which a fragile tool feeds down, and mm/min: common practice, no source."""

NEAR_END = 0.1
"""mm above the end of that way within which nothing has tripped: common practice, no source."""

USUAL_CAUTIONS = (
    "prove out single block at reduced rapid",
    "the builder's limits on speed, swing and clamping stand above this program",
    "guards closed, check every clamp",
    "a qualified person decides",
)


def write_programs(job: ProgramJob, dialect: str | Dialect = "rs274") -> dict[str, str]:
    """Texts by file name: the main program with its subprograms, the work offsets as settings code and as a table,
    what begins the counts of edges again, and a warm-up where the job has one.

    Restart: #500 names the tool run and #501 the visit to begin with; the run retracts, indexes and asks for the
    clamp before it approaches. Each station has a switch from #540 on, in the order of `job.places`' stations; the
    serials of the carriers stand from #502 on, what edges cut and how many starts they have made from #840 and #900 on
    (`fresh_edges`). Raises InputError where a cut can't be turned for a turned station.
    """
    kind = dialect if isinstance(dialect, Dialect) else read_dialect(dialect)
    name = f"{job.number:04d}"
    texts = {
        f"{name}.nc": Writer(job, kind).main(),
        f"{name}_offsets.nc": settings_program(job, kind),
        f"{name}_offsets.csv": offset_table(job, kind),
    }
    if counted(job):
        texts[f"{name}_fresh_edges.nc"] = fresh_program(job, kind)
    if job.warm_up is not None:
        texts[f"{name}_warm_up.nc"] = warm_up_program(job, kind)
    return texts


def warm_up_program(job: ProgramJob, kind: Dialect) -> str:
    """Spindle and axes warmed up with nothing in the way: a program of its own, for an empty machine."""
    warm = job.warm_up
    assert warm is not None
    lines = [kind.begin.format(number=job.number + 2), kind.note("warm-up: no tool, nobody near, nothing in the way")]
    lines += [kind.settings, kind.ask, kind.retract.format(z=kind.number(job.retract_z))]
    for speed in warm.speeds:
        lines.append(f"S{speed:.0f} M3")
        for x, y in ((warm.low[0], warm.low[1]), (warm.high[0], warm.high[1])):
            lines += [f"G53 G0 X{kind.number(x)} Y{kind.number(y)}"]
            lines += [f"G53 G0 Z{kind.number(z)}" for z in (warm.low[2], warm.high[2])]
        lines.append(f"G4 P{warm.seconds:.0f}.")
    return "\n".join([*lines, "M5", kind.retract.format(z=kind.number(job.retract_z)), kind.end]) + "\n"


@dataclass
class Writer:
    """One program being written: which subprograms and labels it has given out."""

    job: ProgramJob
    kind: Dialect
    labels: int = 0
    visits: int = 0
    subs: dict[tuple[str, int], int] = field(default_factory=dict)

    def main(self) -> str:
        carriers = [*self.carriers(), *self.edges()]
        body, subs = self.body(), self.subprograms()
        begin, settings = self.kind.begin.format(number=self.job.number), self.kind.settings
        head = [*self.header(), settings, self.retract(), *carriers]
        if self.kind.subprograms_first:
            lines = [begin, *subs, *head, *body, self.kind.end]
        else:
            stop, _, percent = self.kind.end.partition("\n")
            lines = [begin, *head, *body, stop, *subs, percent]
        lines = [part for line in lines for part in line.split("\n") if part]
        if self.kind.line_numbers:
            lines = [
                f"N{10 * k} {line}" if line[:1] in "GMTSFXYZABC" else line for k, line in enumerate(lines, start=1)
            ]
        return "\n".join(lines) + "\n"

    def retract(self) -> str:
        return self.kind.retract.format(z=self.kind.number(self.job.retract_z))

    def header(self) -> list[str]:
        job, note = self.job, self.kind.note
        lines = [note(job.title), note(f"plan {job.identity}"), note(f"carrier {job.carrier}")]
        lines += [note(text) for text in (*USUAL_CAUTIONS, *job.cautions)]
        for tool in job.tools:
            sisters = "".join(f", sister T{n}" for n in tool.sisters)
            lines.append(note(f"T{tool.number} {tool.name}, length {tool.length:.1f} +- 1 mm{sisters}"))
        lines += [note("first tool run to make: 1 for all of them"), f"#{START_RUN} = 1"]
        lines += [note("first visit to make: 1 for all of them"), f"#{START_VISIT} = 1"]
        for k, station in enumerate(self.stations()):
            lines += [note(f"station {station}: 1 cut, 0 leave out"), f"#{FIRST_SWITCH + k} = 1"]
        lines += choice_lines(job, self.kind)
        for mount in mounts(job):
            known = [one.serial for one in job.carriers if one.mount == mount]
            where = f" on {mount}" if mount else ""
            lines.append(note(f"serial of the carrier{where}, read off it: {', '.join(map(str, known))}"))
            lines.append(f"#{serial_variable(job, mount)} = {known[0]}")
        question = "is its serial set above" if job.carriers else "are its offsets set"
        return [*lines, note(f"is carrier {job.carrier} in the machine, {question}?"), self.kind.ask]

    def stations(self) -> list[str]:
        return list(dict.fromkeys(place.station for place in self.job.places))

    def carriers(self) -> list[str]:
        """Set the offsets of the carrier that is in; stop for one that the program doesn't know."""
        lines: list[str] = []
        for mount in mounts(self.job):
            asked, known = f"#{serial_variable(self.job, mount)}", carrier_lines(self.job, self.kind, mount)
            for serial, settings in known.items():
                title = self.kind.note(f"offsets of carrier {serial}")
                lines += self.guarded([(f"{asked} EQ {serial}", f"{asked} NE {serial}")], [title, *settings])
            strange: list[Condition] = [(f"{asked} NE {serial}", f"{asked} EQ {serial}") for serial in known]
            lines += self.guarded(strange, [self.alarm("unknown carrier"), self.kind.ask])
        return lines

    def edges(self) -> list[str]:
        """The edges whose turn it is; a start that is begun from its beginning is counted."""
        whole: list[Condition] = [(f"#{n} EQ 1", f"#{n} NE 1") for n in (START_RUN, START_VISIT)]
        return due_lines(self.job, self.kind, self.guarded, whole)

    def alarm(self, text: str) -> str:
        return self.kind.alarm.format(number=ALARM, text=text.upper())

    def body(self) -> list[str]:
        lines: list[str] = []
        tools = {tool.number: tool for tool in self.job.tools}
        runs = groupby(self.job.steps, key=lambda step: (step.tool, step.edge))
        for run, ((number, _), steps) in enumerate(runs, start=1):
            lines += self.tool_run(run, tools[number], list(steps))
        return [*lines, self.retract(), "M5", "M9"]

    def guarded(self, conditions: Sequence[Condition], lines: Sequence[str]) -> list[str]:
        """`lines` that are only carried out where all conditions hold."""
        label = self.kind.first_label + self.labels
        self.labels += 1
        if self.kind.jumps:
            begin = [self.kind.if_begin.format(label=label, condition_false=lies) for _, lies in conditions]
        else:
            truth = " AND ".join(f"[{holds}]" for holds, _ in conditions) if len(conditions) > 1 else conditions[0][0]
            begin = [self.kind.if_begin.format(label=label, condition_true=truth)]
        return [*begin, *lines, self.kind.if_end.format(label=label)]

    def tool_run(self, run: int, tool: ToolLine, steps: list[Step]) -> list[str]:
        edge = f", edge {steps[0].edge + 1}" if edges_of(self.job, tool) > 1 else ""
        lines = [self.kind.note(f"tool run {run}: T{tool.number} {tool.name}{edge}"), self.retract(), "M5", "M9"]
        lines += self.change(tool, steps[0].edge)
        angle = self.job.places[steps[0].place].angle
        lines += [*self.index(angle), *self.confirm(run), f"S{tool.speed:.0f} M3", "M8"]
        height = self.height(steps[0])
        for step in steps:
            place = self.job.places[step.place]
            if place.angle != angle:
                lines += [self.retract(), *self.index(place.angle)]
            elif self.height(step) != height:
                lines.append(self.retract())
            angle, height = place.angle, self.height(step)
            self.visits += 1
            switch = FIRST_SWITCH + self.stations().index(place.station)
            made = (f"#{START_VISIT} LE {self.visits}", f"#{START_VISIT} GT {self.visits}")
            lines += self.guarded([made, (f"#{switch} NE 0", f"#{switch} EQ 0")], self.visit(step, place))
        lines += self.looked_after(tool) if tool.fragile else [self.retract()]
        return self.guarded([(f"#{START_RUN} LE {run}", f"#{START_RUN} GT {run}")], [*lines, self.kind.optional_stop])

    def change(self, tool: ToolLine, edge: int) -> list[str]:
        """The tool in the spindle, its length on, and compared with the plan where the control can."""
        number = choice_of(self.job, tool, edge)
        lines = [f"T{number} M6", f"G43 H{number}"]
        allowed = self.job.length_check
        if allowed is not None and self.kind.length_of:
            wrong = f"ABS[{self.kind.length_of.format(number=number)} - {self.kind.number(tool.length)}]"
            limit = self.kind.number(allowed)
            stop = [self.alarm(f"T{tool.number} isn't {tool.length:.1f} mm long"), self.kind.ask]
            lines += self.guarded([(f"{wrong} GT {limit}", f"{wrong} LE {limit}")], stop)
        return lines

    def looked_after(self, tool: ToolLine) -> list[str]:
        """A fragile tool after its run, before the tool that follows it: on the setter, or by eye."""
        lines = [self.kind.note(f"check that T{tool.number} is whole"), self.retract(), "M5", "M9"]
        if self.job.setter is None or not self.kind.broken_tool:
            return lines
        x, y, z = self.job.setter
        number = self.kind.number
        lines += [f"G53 G0 X{number(x)} Y{number(y)}", f"G53 G0 Z{number(z + tool.length + CHECK_WAY)}"]
        way = CHECK_WAY + (self.job.length_check or 1.0)
        lines.append(self.kind.broken_tool.format(way=number(way), feed=number(CHECK_FEED)))
        if self.kind.machine_z:
            end = number(z + tool.length + CHECK_WAY - way + NEAR_END)
            stop = [self.alarm(f"T{tool.number} is broken"), self.kind.ask]
            lines += self.guarded([(f"{self.kind.machine_z} LE {end}", f"{self.kind.machine_z} GT {end}")], stop)
        return [*lines, self.retract()]

    def index(self, angle: float) -> list[str]:
        """Turn at the retracted height: unclamp, turn, clamp. Written even where it stands so already: a restart."""
        turns = any(place.angle for place in self.job.places) if self.job.turns is None else self.job.turns
        if not turns:
            return []
        word = self.job.rotary_zero + self.job.rotary_sign * angle
        turn = f"G0 {self.job.rotary_word}{self.kind.number(word)}"
        return [line for line in (self.kind.unclamp, turn, self.kind.clamp) if line]

    def confirm(self, run: int) -> list[str]:
        """Ask for the clamp where the program was started at this run or at a later visit."""
        if not self.index(0.0):
            return []
        here: Condition = (f"#{START_RUN} EQ {run}", f"#{START_RUN} NE {run}")
        again: Condition = (f"[#{START_RUN} + #{START_VISIT}] GT 2", f"[#{START_RUN} + #{START_VISIT}] LE 2")
        return self.guarded([here, again], [self.kind.note("restart: is the axis clamped?"), self.kind.ask])

    def visit(self, step: Step, place: Place) -> list[str]:
        key = (step.cut, place.turn % 4)
        number = self.subs.setdefault(key, self.job.number + 100 + len(self.subs))
        lines = [self.kind.note(f"visit {self.visits}: {place.station}: {step.cut}")]
        if shares_offset(self.job, self.kind, step.place):
            lines.append(setting(self.job, self.kind, step.place))
        entry = entry_of(self.job.cuts[step.cut], place.turn, step.cut)
        high = f"G90 G0 Z{self.clear(step)}"
        lines.append(offset_words(self.job, self.kind, step.place))
        lines += [f"G90 G0 X{entry[0]} Y{entry[1]}"] if entry else []
        return [*lines, high, self.kind.sub_call.format(number=number), f"G80 {high}"]

    def height(self, step: Step) -> float:
        """mm, machine frame, at which the tip comes to this visit and leaves it."""
        known = entry_of(self.job.cuts[step.cut], self.job.places[step.place].turn, step.cut)
        return self.job.clear_z if step.clear_z is None or known is None else step.clear_z

    def clear(self, step: Step) -> str:
        """The clear height in the place's work coordinates."""
        return self.kind.number(self.height(step) - self.job.places[step.place].origin[2])

    def subprograms(self) -> list[str]:
        lines: list[str] = []
        for (cut, turn), number in self.subs.items():
            body = [turned(line, turn, cut) for line in self.job.cuts[cut]]
            title = self.kind.note(f"{cut}, turned {90 * turn} deg")
            lines += [self.kind.sub_begin.format(number=number), title, "G90 G17", *body]
            lines.append(self.kind.sub_end.format(number=number))
        return lines
