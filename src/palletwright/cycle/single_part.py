"""What a shop's single-part program gives to a cycle: cutting times that win over geometry, and its cuts themselves."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from palletwright.cycle.model import Basis, Visit
from palletwright.cycle.program_job import Place, ProgramRun
from palletwright.cycle.program_time import time_program
from palletwright.errors import Fault, InputError
from palletwright.shop.model import Machine
from palletwright.verdict import Reason, Vec

QUARTER = 0.01
"""degrees by which a turned station may be off a quarter turn, so that its code can be turned exactly."""


@dataclass(frozen=True, slots=True)
class Told:
    """What the shop knows of one operation's cutting time, s a part: measured as a whole, or by tool of its program."""

    seconds: float | None = None
    by_tool: Mapping[int, float] | None = None


def program_seconds(path: str | Path, machine: Machine | None = None) -> dict[int, float]:
    """Seconds in the cut and waiting by tool, of a single-part program; raises InputError where it can't be read."""
    tools = time_program(path, machine)["tools"]
    return {tool["number"]: tool["cut_seconds"] + tool["wait_seconds"] for tool in tools if tool["cut_seconds"] > 0}


def told_times(visits: Sequence[Visit], told: Mapping[int, Told]) -> tuple[list[Visit], list[Reason]]:
    """Visits with the shop's own times where it has them, by operation; the rest as geometry gave them.

    A program's time of a tool is shared out over that tool's visits at a station, and a measured time of the whole
    operation over all of them, in proportion to what geometry says. Reasons name tools that only one side has.
    """
    plain: dict[tuple[int, str, int], float] = {}
    for v in visits:
        key = (v.operation, v.station, v.tool)
        plain[key] = plain.get(key, 0.0) + v.cut_seconds
    made = [_from_program(v, told.get(v.operation), plain[v.operation, v.station, v.tool]) for v in visits]
    whole: dict[tuple[int, str], float] = {}
    for v in made:
        whole[v.operation, v.station] = whole.get((v.operation, v.station), 0.0) + v.cut_seconds
    for k, v in enumerate(made):
        known = told.get(v.operation)
        if known is not None and known.seconds is not None and whole[v.operation, v.station] > 0:
            seconds = v.cut_seconds * known.seconds / whole[v.operation, v.station]
            made[k] = replace(v, cut_seconds=seconds, basis="measured")
    return made, _odd_tools(visits, told)


def _from_program(visit: Visit, told: Told | None, of_tool: float) -> Visit:
    if told is None or told.by_tool is None or visit.tool not in told.by_tool or of_tool <= 0:
        return visit
    return replace(visit, cut_seconds=visit.cut_seconds * told.by_tool[visit.tool] / of_tool, basis="program")


def _odd_tools(visits: Sequence[Visit], told: Mapping[int, Told]) -> list[Reason]:
    reasons = []
    for operation, known in sorted(told.items()):
        mine = {v.tool for v in visits if v.operation == operation}
        theirs = set(known.by_tool or ())
        if not mine or known.by_tool is None:
            continue
        if more := sorted(theirs - mine):
            names = ", ".join(f"T{n}" for n in more)
            seconds = sum(known.by_tool[n] for n in more)
            text = f"its program also cuts with {names}, which the plan doesn't use there: that time isn't in the plan"
            reasons.append(Reason(f"operation {operation}", text, seconds, "s"))
        if missing := sorted(mine - theirs):
            names = ", ".join(f"T{n}" for n in missing)
            text = f"its program doesn't cut with {names}: their time stays as geometry says"
            reasons.append(Reason(f"operation {operation}", text, float(len(missing)), "tools"))
    return reasons


def in_program_order(visits: Sequence[Visit], programs: Mapping[int, Sequence[ProgramRun]]) -> list[Visit]:
    """Visits that keep their program's order of tools at every station, by operation; others as they are.

    A tool that the program has in the spindle more than once leaves its place to the features' own precedence.
    """
    waits: dict[tuple[int, int], int] = {}
    for operation, runs in programs.items():
        tools = [run.tool for run in runs]
        once = [tool for tool in tools if tools.count(tool) == 1]
        waits |= {(operation, later): earlier for earlier, later in pairwise(once)}
    ids: dict[tuple[int, str, int], list[str]] = {}
    for v in visits:
        ids.setdefault((v.operation, v.station, v.tool), []).append(v.id)
    made = []
    for v in visits:
        earlier = waits.get((v.operation, v.tool))
        before = ids.get((v.operation, v.station, earlier), []) if earlier is not None else []
        made.append(replace(v, after=tuple(dict.fromkeys([*v.after, *before]))) if before else v)
    return made


def cutting_basis(visits: Sequence[Visit]) -> dict[Basis, float]:
    """Seconds of cutting by where they come from."""
    shares: dict[Basis, float] = {"geometry": 0.0, "measured": 0.0, "program": 0.0}
    for visit in visits:
        shares[visit.basis] += visit.cut_seconds
    return shares


def place_of(station: str, angle: float, pose: NDArray[np.float64], zero: Vec, x_axis: Vec, mount: str = "") -> Place:
    """The place of a station whose cuts are a program's: its zero and quarter turns in the machine.

    Parameters
    ----------
    pose : (4, 4), part file's frame to machine frame with the mount at `angle`
    zero, x_axis : the program's work zero (mm) and X axis in the part file's frame

    Raises InputError where the program's X axis isn't at a quarter turn to the machine's there.
    """
    x, y, z = (float(v) for v in (pose @ np.array([*zero, 1.0]))[:3])
    along = pose[:3, :3] @ np.asarray(x_axis)
    turn = math.degrees(math.atan2(along[1], along[0]))
    off = abs(turn - 90.0 * round(turn / 90.0))
    if abs(along[2]) > math.sin(math.radians(QUARTER)) or off > QUARTER:
        lean = math.degrees(math.asin(min(1.0, abs(float(along[2])))))
        problem = f"stands {off:.2f}° off a quarter turn at {station}" if lean < QUARTER else f"leans {lean:.2f}°"
        raise InputError([Fault("program", "program_x", f"{x_axis}", problem, "an axis at quarter turns in its plane")])
    return Place(station, angle, (x, y, z), round(turn / 90.0) % 4, mount)
