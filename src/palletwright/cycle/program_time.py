"""Time of an existing word-address program, tool by tool."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from palletwright.cycle.interpreter import execute, straight_line
from palletwright.cycle.modal_state import Habits, State, start_state
from palletwright.cycle.motion import Axes, axes_of
from palletwright.cycle.totals import Totals
from palletwright.cycle.words import (
    STRAIGHT,
    ControlVariable,
    NotUnderstood,
    Variables,
    bare,
    expression,
    label,
    words_of,
)
from palletwright.errors import Fault, InputError
from palletwright.shop.model import Machine
from palletwright.verdict import Vec

USUAL = Axes((400.0, 400.0, 333.0), (3000.0, 3000.0, 3000.0))
"""mm/s and mm/s² where no machine is given: from memory, unconfirmed."""
USUAL_CHANGE, USUAL_INDEX, USUAL_RAMP, USUAL_SPEED = 4.0, 2.0, 2.0, 10000.0
"""Chip to chip s, index by 90° s, spindle from rest to USUAL_SPEED rev/min s: from memory, unconfirmed."""
PATH_TOLERANCE = 0.01
"""mm that a corner may be cut by: from memory, unconfirmed."""
STEPS = 5_000_000
"""Lines carried out before a loop is taken to be endless (three times its lines for a longer program)."""

_JUMP = re.compile(r"(?:N\d+\s*)?(?:IF\s*(\[.*\])\s*)?(?:THEN\s*(#.*)|GOTO\s*(.+))")
_WHILE = re.compile(r"(?:N\d+\s*)?(?:WHILE\s*(\[.*\])\s*)?DO\s*(\d+)")
_END = re.compile(r"(?:N\d+\s*)?END\s*(\d+)")


def time_program(
    path: str | Path,
    machine: Machine | None = None,
    *,
    offsets: Mapping[str, Vec] | None = None,
    path_tolerance: float = PATH_TOLERANCE,
    skip_blocks: bool = False,
) -> dict[str, Any]:
    """Read and time a program.

    Parameters
    ----------
    path : the program's file
    machine : whose speeds and times count; None: usual ones, named in `assumptions`
    offsets : known work offsets by name (`G54`), mm in machine coordinates
    path_tolerance : mm, by which the path may leave a corner
    skip_blocks : whether the lines that start with / are skipped

    Returns
    -------
    dict, JSON-ready: `tools[]` (number, cut_seconds, rapid_seconds, wait_seconds, index_seconds, extents_mm of what
    is cut, in work coordinates, …), `tool_changes`, `total_seconds`, `unknown[]` (line, text, why), `notes`,
    `assumptions`, `lines`.

    Raises
    ------
    InputError : the file can't be read, or is no program
    """
    file = Path(path)
    lines = _read(file)
    totals = Totals(axes_of(machine) if machine else USUAL, path_tolerance)
    state = start_state(totals, _habits(machine), offsets)
    run = Run(lines, state, skip_blocks)
    run.to_the_end()
    totals.settle()
    if not state.moved or run.failed > run.done:
        raise InputError([Fault(str(file), "", "", "is no word-address program (ISO 6983): hardly a line can be read")])
    return _answer(file, machine, totals, state, run)


def _read(file: Path) -> list[str]:
    try:
        raw = file.read_bytes()
    except OSError as error:
        raise InputError([Fault(str(file), "", "", f"can't be read: {error.strerror}")]) from error
    if b"\0" in raw[:100_000] or not raw.strip():
        problem = "is no text" if raw.strip() else "is empty"
        raise InputError([Fault(str(file), "", "", problem, "a word-address program (ISO 6983)")])
    try:
        return raw.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError:
        return raw.decode("latin-1").splitlines()


def _habits(machine: Machine | None) -> Habits:
    quarter = machine.rotary.index_time if machine and machine.rotary else USUAL_INDEX
    speed = machine.spindle_speed if machine else USUAL_SPEED
    change = machine.chip_to_chip if machine else USUAL_CHANGE
    ramp = machine.spindle_seconds if machine and machine.spindle_seconds is not None else USUAL_RAMP
    pallet = machine.pallet_change if machine else None
    return Habits(lambda turn: quarter * max(1.0, abs(turn) / 90.0), ramp, speed, change, pallet)


def _answer(file: Path, machine: Machine | None, totals: Totals, state: State, run: Run) -> dict[str, Any]:
    tools = [use.report() for use in totals.tools.values() if use.changes or use.seconds.any()]
    changes = state.changes * state.habits.chip_to_chip
    assumed = [f"corners rounded within {totals.tolerance:g} mm"]
    if machine is not None:
        speeds = "/".join(f"{60 * v / 1000:g}" for v in totals.speed)
        assumed.insert(0, f"machine {machine.id}: rapids {speeds} m/min, chip to chip {machine.chip_to_chip:g} s")
    if machine is None or machine.spindle_seconds is None:
        assumed.append(f"spindle {USUAL_RAMP:g} s from rest to its greatest speed (from memory, unconfirmed)")
    if machine is None:
        assumed.append("no machine given: rapids 24/24/20 m/min, 3 m/s², chip to chip 4 s (from memory, unconfirmed)")
    if len({name for use in totals.tools.values() for name in use.offsets}) > 1 and not state.known_offsets:
        assumed.append("the offsets' values aren't known: the way from one to the next counts as none")
    parts = ("cut_seconds", "rapid_seconds", "wait_seconds", "index_seconds")
    return {
        "file": str(file),
        "machine": machine.id if machine else None,
        "tools": tools,
        "tool_changes": state.changes,
        "tool_change_seconds": changes,
        "total_seconds": changes + sum(tool[part] for tool in tools for part in parts),
        "unknown": run.unknown,
        "notes": sorted(state.notes | run.notes, key=_by_line),
        "assumptions": assumed,
        "lines": len(run.lines),
    }


def _by_line(note: str) -> tuple[int, str]:
    found = re.match(r"line (\d+)", note)
    return (int(found[1]) if found else -1, note)


@dataclass
class _Frame:
    """Where a subprogram was called from, and how often it still runs."""

    back: int
    begin: int
    left: int


@dataclass
class Run:
    """The way through the lines: calls, jumps and loops."""

    lines: list[str]
    state: State
    skip_blocks: bool
    variables: Variables = field(default_factory=Variables)
    frames: list[_Frame] = field(default_factory=list)
    repeats: dict[str, int] = field(default_factory=dict)
    unknown: list[dict[str, Any]] = field(default_factory=list)
    notes: set[str] = field(default_factory=set)
    named: set[int] = field(default_factory=set)
    done: int = 0
    failed: int = 0
    _labels: dict[str, int] | None = None

    def to_the_end(self) -> None:
        at, most = 0, max(STEPS, 3 * len(self.lines))
        while 0 <= at < len(self.lines):
            if self.done + self.failed >= most:
                self.name(at, f"stopped after {most} lines: an endless loop?")
                return
            try:
                at = self.step(at)
                self.done += 1
            except NotUnderstood as error:
                self.failed += 1
                self.name(at, str(error))
                at += 1

    def name(self, at: int, why: str) -> None:
        if at not in self.named:
            self.named.add(at)
            self.unknown.append({"line": at + 1, "text": self.lines[at].strip()[:100], "why": why})

    def step(self, at: int) -> int:
        """Carry out line `at`; the next line's number."""
        if found := STRAIGHT.fullmatch(self.lines[at]):
            code, x, y, z, feed = found.groups()
            if straight_line(self.state, code, (x, y, z), feed):
                return at + 1
        line = bare(self.lines[at])
        if not line or line[0] == "%":
            return at + 1
        if line[0] == "/":
            if self.skip_blocks:
                return at + 1
            line = line.lstrip("/0123456789 ")
        first = line[:1]
        if first == "O":
            return self.at_label(at, line)
        if first in "IWDE" or "GOTO" in line or "DO" in line or "END" in line:
            jumped = self.control(at, line)
            if jumped is not None:
                return jumped
        steering, value = execute(self.state, words_of(line, self.variables))
        for code in steering:
            if code in (2, 30):
                return -1
            if code in (0, 1):
                self.notes.add("stops for the operator (M0, M1) take as long as somebody does: not counted")
            if code == 60:
                self.change_pallet()
            if code == 98:
                return self.call(at, value)
            if code == 99:
                return self.back(at, value)
        return at + 1

    def change_pallet(self) -> None:
        seconds = self.state.habits.pallet_change
        if seconds is None:
            self.notes.add("M60: the machine has no pallet changer, or isn't named: not counted")
        self.state.totals.wait(seconds or 0.0)

    def at_label(self, at: int, line: str) -> int:
        found = label(line)
        if found is None:
            raise NotUnderstood("an O line that can't be read")
        name, keyword, rest = found
        actions: dict[str, Callable[[], int]] = {
            "": lambda: at + 1,
            "SUB": lambda: self.find(at, name, ("ENDSUB",)) + 1,
            "ENDSUB": lambda: self.back(at, {}),
            "RETURN": lambda: self.back(at, {}),
            "CALL": lambda: self.enter(at, f"{name} SUB", 1, rest),
            "IF": lambda: at + 1 if self.holds(at, rest, False) else self.branch(at, name),
            "ELSE": lambda: self.find(at, name, ("ENDIF",)) + 1,
            "ELSEIF": lambda: self.find(at, name, ("ENDIF",)) + 1,
            "ENDIF": lambda: at + 1,
            "WHILE": lambda: at + 1 if expression(rest, self.variables) else self.find(at, name, ("ENDWHILE",)) + 1,
            "ENDWHILE": lambda: self.find_back(at, name, "WHILE"),
            "REPEAT": lambda: self.again(at, name, rest),
            "ENDREPEAT": lambda: self.find_back(at, name, "REPEAT"),
        }
        if keyword not in actions:
            raise NotUnderstood(f"O {keyword} isn't understood")
        return actions[keyword]()

    def branch(self, at: int, name: str) -> int:
        """The line after the next ELSE, or the ENDIF, of a condition that isn't met."""
        there = self.find(at, name, ("ELSE", "ELSEIF", "ENDIF"))
        found = label(bare(self.lines[there]))
        if found and found[1] == "ELSEIF" and not expression(found[2], self.variables):
            return self.branch(there, name)
        return there + 1

    def again(self, at: int, name: str, rest: str) -> int:
        key = f"{name} {at} {len(self.frames)}"
        left = self.repeats.pop(key, None)
        left = int(expression(rest, self.variables)) if left is None else left
        if left <= 0:
            return self.find(at, name, ("ENDREPEAT",)) + 1
        self.repeats[key] = left - 1
        return at + 1

    def find(self, at: int, name: str, keywords: tuple[str, ...]) -> int:
        for k in range(at + 1, len(self.lines)):
            text = self.lines[k]
            if "O" in text or "o" in text:
                found = label(bare(text))
                if found and found[0] == name and found[1] in keywords:
                    return k
        raise NotUnderstood(f"O{name} {keywords[-1]} is missing")

    def find_back(self, at: int, name: str, keyword: str) -> int:
        for k in range(at - 1, -1, -1):
            found = label(bare(self.lines[k]))
            if found and found[0] == name and found[1] == keyword:
                return k
        raise NotUnderstood(f"O{name} {keyword} is missing")

    def control(self, at: int, line: str) -> int | None:
        """IF, GOTO, WHILE, DO and END; None where the line is none of these."""
        if jump := _JUMP.fullmatch(line):
            met = jump[1] is None or self.holds(at, jump[1], not jump[2] and self.ahead(at, jump[3]))
            if met and jump[2]:
                words_of(jump[2], self.variables)
            elif met:
                return self.place(f"N{int(expression(jump[3], self.variables))}")
            return at + 1
        if loop := _WHILE.fullmatch(line):
            if loop[1] is None or expression(loop[1], self.variables):
                return at + 1
            return self.paired(at, 1, loop[2], _END, 1) + 1
        if end := _END.fullmatch(line):
            return self.paired(at, -1, end[1], _WHILE, 2)
        return None

    def holds(self, at: int, condition: str, unknown: bool) -> bool:
        """Whether a condition is met; `unknown` where only the control knows, so that the lines it guards are left."""
        try:
            return bool(expression(condition, self.variables))
        except ControlVariable as asked:
            self.notes.add(f"line {at + 1} {asked}: the lines that hang on it are left out")
            return unknown

    def ahead(self, at: int, number: str) -> bool:
        """Whether a jump leads forwards."""
        return self.place(f"N{int(expression(number, self.variables))}") > at

    def paired(self, at: int, step: int, number: str, pattern: re.Pattern[str], group: int) -> int:
        k = at + step
        while 0 <= k < len(self.lines):
            found = pattern.fullmatch(bare(self.lines[k]))
            if found and found[group] == number:
                return k
            k += step
        raise NotUnderstood(f"the other end of loop {number} is missing")

    def place(self, name: str) -> int:
        """Line of a label: `N100`, `1001` (a program) or `1001 SUB`."""
        if self._labels is None:
            self._labels = {}
            for k, text in enumerate(self.lines):
                line = bare(text)
                if line[:1] == "N" and (number := re.match(r"N0*(\d+)", line)):
                    self._labels.setdefault(f"N{number[1]}", k)
                elif line[:1] == "O" and (found := label(line)):
                    self._labels.setdefault(f"{found[0]} SUB" if found[1] == "SUB" else found[0], k)
        if name not in self._labels:
            raise NotUnderstood(f"{name} isn't in this file")
        return self._labels[name]

    def call(self, at: int, value: dict[str, float]) -> int:
        """M98 P: program number, or repeats and number in one (P31001); L repeats."""
        wanted, count = int(value.get("P", 0.0)), int(value.get("L", value.get("K", 1.0)))
        try:
            begin = self.place(str(wanted))
        except NotUnderstood:
            if wanted < 10000:
                raise
            count, wanted = divmod(wanted, 10000)
            begin = self.place(str(wanted))
        return self.into(at, begin, count)

    def enter(self, at: int, name: str, count: int, rest: str) -> int:
        for number, piece in enumerate(re.findall(r"\[[^\]]*\]", rest), start=1):
            self.variables.values[str(number)] = expression(piece, self.variables)
        return self.into(at, self.place(name), count)

    def into(self, at: int, begin: int, count: int) -> int:
        if count < 1:
            return at + 1
        if len(self.frames) >= 50:
            raise NotUnderstood("subprograms call one another without end")
        self.frames.append(_Frame(at + 1, begin + 1, count - 1))
        return begin + 1

    def back(self, at: int, value: dict[str, float]) -> int:
        if not self.frames:
            self.notes.add(f"line {at + 1} ends the main program with M99: it is timed once")
            return -1
        frame = self.frames[-1]
        if frame.left > 0:
            frame.left -= 1
            return frame.begin
        self.frames.pop()
        return self.place(f"N{int(value['P'])}") if "P" in value else frame.back
