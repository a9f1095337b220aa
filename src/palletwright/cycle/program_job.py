"""What a many-station program is written from, and cuts taken from single-part programs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from palletwright.cycle.words import WORD, WORDS, bare
from palletwright.errors import Fault, InputError
from palletwright.verdict import Vec


@dataclass(frozen=True, slots=True)
class Place:
    """A station at an angle: work zero `origin` (mm, machine frame at that angle), quarter turns of its part, and
    the mount that its carrier sits on."""

    station: str
    angle: float
    origin: Vec
    turn: int = 0
    mount: str = ""


@dataclass(frozen=True, slots=True)
class ToolLine:
    """A tool as the program needs it: length mm from gauge line to tip, speed rev/min, feed mm/min; `sisters` are the
    magazine places of further tools of its kind. `starts`: that an edge lasts; None: they aren't counted."""

    number: int
    name: str
    length: float
    speed: float
    feed: float
    fragile: bool = False
    sisters: tuple[int, ...] = ()
    starts: int | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """One visit in its order: tool, place by number, and which cut is made there.

    `clear_z`: mm in the machine frame, the height at which the tip comes across to this visit and leaves it; None:
    the job's. `lowest`: mm in the machine frame, below which no tip may go here; None: not known. `edge`: which edge
    of the tool cuts where one start takes more than one, from 0 (`edges_by_visit`).
    """

    tool: int
    place: int
    cut: str
    clear_z: float | None = None
    lowest: float | None = None
    edge: int = 0


@dataclass(frozen=True, slots=True)
class CarrierId:
    """One carrier that may sit on a mount: its serial number, and its master point measured less nominal, mm in the
    machine frame with the rotary axis at zero."""

    serial: int
    mount: str = ""
    deviation: Vec = (0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class WarmUp:
    """Spindle speeds rev/min one after the other, s at each, and the box (mm, control coordinates) that the axes
    travel in meanwhile."""

    speeds: tuple[float, ...]
    seconds: float
    low: Vec
    high: Vec


@dataclass(frozen=True)
class ProgramJob:
    """Everything that a program says.

    `cuts`: lines of word address by cut, absolute mm in the part's work coordinates, the first move across in X and
    Y at the height that is reached, and the last left wherever it ends. `clear_z`: mm in the machine frame, where
    the tip may cross all stations; `retract_z`: machine coordinate of Z (G53) for tool changes and indexing.

    `machine_zero`: where the control counts from, mm in the machine frame; offsets are written less it. The rotary
    word is `rotary_zero + rotary_sign · angle`, and the mounts that turn do so about `axis`; `turns`: whether any does,
    None: where a place has an angle. `carriers`: those that the program knows; it asks which is in and stops for any
    other. `setter`: tip position (control coordinates, mm) at which a tool setter trips; None: fragile tools are
    looked at during an optional stop. `length_check`: mm by which a tool's measured length may differ from the plan;
    None: it isn't compared. `work_offsets`: how many the machine has; None: as many as the dialect knows.
    """

    number: int
    title: str
    identity: str
    carrier: str
    places: tuple[Place, ...]
    tools: tuple[ToolLine, ...]
    steps: tuple[Step, ...]
    cuts: Mapping[str, tuple[str, ...]]
    clear_z: float
    retract_z: float = 0.0
    rotary_word: str = "A"
    cautions: tuple[str, ...] = ()
    machine_zero: Vec = (0.0, 0.0, 0.0)
    rotary_sign: int = 1
    rotary_zero: float = 0.0
    axis: Vec = (1.0, 0.0, 0.0)
    turns: bool | None = None
    carriers: tuple[CarrierId, ...] = ()
    setter: Vec | None = None
    length_check: float | None = None
    warm_up: WarmUp | None = None
    work_offsets: int | None = None

    def __post_init__(self) -> None:
        faults = [*self._step_faults(), *self._carrier_faults()]
        for place in self.places:
            if place.origin[2] > self.clear_z:
                faults.append(Fault("program", "clear_z", f"{self.clear_z:g}", f"is below the zero of {place.station}"))
        if self.work_offsets is not None and self.work_offsets < 1:
            faults.append(Fault("program", "work_offsets", str(self.work_offsets), "is no count", "at least 1"))
        if self.rotary_sign not in (1, -1):
            faults.append(Fault("program", "rotary_sign", str(self.rotary_sign), "is no sign", "1 or -1"))
        if faults:
            raise InputError(faults)

    def _step_faults(self) -> list[Fault]:
        known = {tool.number: len(tool.sisters) for tool in self.tools}
        faults = [
            Fault("program", "tools", f"T{tool.number}", "lasts less than a start", "starts of at least 1")
            for tool in self.tools
            if tool.starts is not None and tool.starts < 1
        ]
        stations = len({place.station for place in self.places})
        if stations > STATIONS:
            faults.append(Fault("program", "places", str(stations), "too many stations", f"at most {STATIONS}"))
        edges = {(step.tool, step.edge) for step in self.steps if known.get(step.tool)}
        if max(len(self.tools), len(edges)) > TOOLS:
            faults.append(Fault("program", "tools", str(len(self.tools)), "too many tools, edges", f"at most {TOOLS}"))
        for k, step in enumerate(self.steps):
            key = f"steps[{k}]"
            if step.tool not in known:
                faults.append(Fault("program", f"{key}.tool", str(step.tool), "isn't in the tool list"))
            elif not 0 <= step.edge <= known[step.tool]:
                allowed = f"0 to {known[step.tool]}: T{step.tool} and its sisters"
                faults.append(Fault("program", f"{key}.edge", str(step.edge), "has no tool in the magazine", allowed))
            if not 0 <= step.place < len(self.places):
                faults.append(Fault("program", f"{key}.place", str(step.place), "no such place"))
            if step.cut not in self.cuts:
                faults.append(Fault("program", f"{key}.cut", step.cut, "no such cut"))
        return faults

    def _carrier_faults(self) -> list[Fault]:
        faults, seen = [], set()
        mounts = {place.mount for place in self.places}
        for k, one in enumerate(self.carriers):
            key = f"carriers[{k}]"
            if one.serial < 1 or (one.mount, one.serial) in seen:
                faults.append(Fault("program", f"{key}.serial", str(one.serial), "is no serial of its own", "from 1"))
            if one.mount not in mounts:
                faults.append(Fault("program", f"{key}.mount", one.mount, "no such mount", ", ".join(sorted(mounts))))
            seen.add((one.mount, one.serial))
        if len({one.mount for one in self.carriers}) > MOUNTS:
            faults.append(Fault("program", "carriers", str(len(self.carriers)), "too many mounts", f"at most {MOUNTS}"))
        return faults

    def control(self, origin: Vec) -> Vec:
        """From the machine frame to the control's own coordinates, mm."""
        x, y, z = (a - b for a, b in zip(origin, self.machine_zero, strict=True))
        return (x, y, z)


MOUNTS, STATIONS, TOOLS = 8, 300, 60
"""Mounts whose carriers one program can ask for, stations that it can switch, tools whose edges it can choose: the
variables that are kept free for them."""

DROPPED_LINES = frozenset({28.0, 30.0, 53.0, 10.0, 92.0})
DROPPED_CODES = frozenset({54.0, 54.1, 55.0, 56.0, 57.0, 58.0, 59.0, 59.1, 59.2, 59.3, 43.0, 49.0, 20.0, 21.0})


@dataclass(frozen=True, slots=True)
class ProgramRun:
    """What a single-part program does between two tool changes: the cutting lines of one tool."""

    tool: int
    lines: tuple[str, ...]


def cuts_by_tool(path: str | Path) -> dict[int, tuple[str, ...]]:
    """The cutting lines of a single-part program, tool by tool, without changes, offsets, lengths and stops.

    Raises InputError where a line is no plain list of words (variables, calls), or the program is in inches.
    """
    cuts: dict[int, tuple[str, ...]] = {}
    for run in program_runs(path):
        cuts[run.tool] = (*cuts.get(run.tool, ()), *run.lines)
    return cuts


def program_runs(path: str | Path) -> tuple[ProgramRun, ...]:
    """The same in the program's own order, one entry for each time that a tool is in the spindle.

    Raises InputError as `cuts_by_tool`, and where the program turns a rotary axis.
    """
    runs: list[tuple[int, list[str]]] = []
    faults: list[Fault] = []
    tool = selected = 0
    for k, raw in enumerate(Path(path).read_text(encoding="utf-8", errors="replace").splitlines(), start=1):
        line = bare(raw)
        if not line or line[0] in "%O":
            continue
        if not WORDS.fullmatch(line) or "M98" in line.replace(" ", ""):
            faults.append(Fault(str(path), f"line {k}", line[:60], "is no plain list of words", "letters and numbers"))
            continue
        words = [(letter, number) for letter, number in WORD.findall(line)]
        selected = next((int(float(n)) for letter, n in words if letter == "T"), selected)
        if ("M", 6.0) in [(letter, float(n)) for letter, n in words]:
            tool = selected
            runs.append((tool, []))
        if ("G", 20.0) in [(letter, float(n)) for letter, n in words]:
            faults.append(Fault(str(path), f"line {k}", "G20", "inches", "G21"))
        if any(letter in "ABC" for letter, _ in words):
            faults.append(Fault(str(path), f"line {k}", line[:60], "turns a rotary axis", "one direction a program"))
        kept = _kept(words)
        if kept:
            if not runs:
                runs.append((tool, []))
            runs[-1][1].append(kept)
    if faults:
        raise InputError(faults)
    return tuple(ProgramRun(number, tuple(lines)) for number, lines in runs if _moves(lines))


def _moves(lines: Sequence[str]) -> bool:
    """Whether a run cuts: a feed, an arc or a canned cycle."""
    codes = [float(n) for line in lines for letter, n in WORD.findall(line) if letter == "G"]
    return any(code in (1.0, 2.0, 3.0) or 73.0 <= code <= 89.0 for code in codes if code != 80.0)


def _kept(words: list[tuple[str, str]]) -> str:
    if any(letter == "G" and float(n) in DROPPED_LINES for letter, n in words):
        return ""
    drill = any(letter in "RQ" for letter, _ in words) or any(
        letter == "G" and (float(n) == 4.0 or 73.0 <= float(n) <= 89.0) for letter, n in words
    )
    out = []
    for letter, n in words:
        gone = letter in "NTSHDM" or (letter == "G" and float(n) in DROPPED_CODES) or (letter == "P" and not drill)
        if not gone:
            out.append(letter + n)
    return " ".join(out)


def entry_of(lines: Sequence[str], turn: int, where: str) -> tuple[str, str] | None:
    """The words X and Y of a cut's way in, turned; None where its first moves don't name both."""
    found: dict[str, str] = {}
    for line in lines:
        words = dict(WORD.findall(turned(line, turn, where)))
        found = {letter: words[letter] for letter in "XY" if letter in words} | found
        if len(found) == 2:
            return found["X"], found["Y"]
        if "Z" in words and found:
            return None
    return None


def turned(line: str, turn: int, where: str) -> str:
    """A line of plain words turned by quarter turns about Z, exactly: X and Y, I and J change places and signs."""
    quarter = turn % 4
    text = bare(line)
    if quarter == 0 or not text:
        return text
    words = WORD.findall(text)
    codes = {float(n) for letter, n in words if letter == "G"}
    if not WORDS.fullmatch(text) or codes & {18.0, 19.0, 15.0, 16.0, 68.0}:
        problem = "can't be turned for a turned station"
        raise InputError([Fault(where, "", text[:60], problem, "plain words in the XY plane (G17)")])
    for _ in range(quarter):
        words = [_quarter(letter, n) for letter, n in words]
    return " ".join(letter + n for letter, n in words)


def _quarter(letter: str, number: str) -> tuple[str, str]:
    """(x, y) → (−y, x)."""
    if letter in "XI":
        return ("Y" if letter == "X" else "J"), number
    if letter in "YJ":
        bare_number = number.lstrip("+-")
        zero = not bare_number.strip("0.")
        return ("X" if letter == "Y" else "I"), bare_number if number.startswith("-") or zero else "-" + bare_number
    return letter, number
