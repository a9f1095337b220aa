"""Every program of a plan, through our own check and through the independent interpreter."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from independent import distinct, moves, without_what_it_lacks, zeros

from palletwright.cycle import Dialect, check_programs, for_machine, read_dialect, shipped_dialects, write_programs
from palletwright.cycle.check_program import wanted_feeds
from palletwright.cycle.fresh_edges import count_variable, counted
from palletwright.cycle.modal_state import OFFSETS, offset_name
from palletwright.cycle.offsets import offset_words, zero_of
from palletwright.cycle.program_job import ProgramJob
from palletwright.cycle.trace import trace

NUMBER = {offset_name(n): str(n) for n in OFFSETS.values()}

APART = 1e-3
"""mm by which the two may differ."""

FAR_DOWN, HIGH = -1500.0, 300.0
"""mm, work coordinates: the interpreter takes the lengths for inches, so that where G53 leaves a tool is below the
first, and above the second before the first length is on. Every height that a cut uses is between them."""


def jobs_of(data: dict[str, Any], folder: Path) -> list[tuple[ProgramJob, Any]]:
    """The program job of every cycle of every way of a plan, and its machine."""
    from palletwright.papers.facts import facts
    from palletwright.papers.live import live_of
    from palletwright.papers.programs import program_job
    from palletwright.papers.words import Words

    found = []
    for way in (k for k, row in enumerate(data["plans"]) if row["scene"]):  # papers are written for these only
        given = facts(data, way, Words("en", "mm"))
        live = live_of(given, folder)
        assert not isinstance(live, str), live
        found += [(for_machine(program_job(given, c, live), given.machine), given.machine) for c in given.cycles]
    return found


def agree(job: ProgramJob, machine: Any, folder: Path) -> int:
    """Both dialects read back as the job, within the machine's travel; the interpreter ends every move where we do,
    at every station and angle. The numbered dialect goes without the jumps, clamp codes and extended offsets that it
    doesn't know. Returns the ends compared."""
    for name in shipped_dialects():
        faults = check_programs(job, write_programs(job, name), name, travel=machine.travel)
        assert faults == (), faults
    lengths = {n: t.length for t in job.tools for n in (t.number, *t.sisters)}
    compared = 0
    for kind in (read_dialect("rs274"), without_what_it_lacks()):
        texts = write_programs(job, kind)
        name = f"{job.number:04d}"
        fresh = {count_variable(job, tool): 0.0 for tool in counted(job)}
        spots = trace(texts[f"{name}.nc"], lengths, texts[f"{name}_offsets.nc"], fresh)[0]
        low = [s for s in spots if abs(s.machine[2] - job.retract_z) > APART]
        ours = distinct([(NUMBER[s.offset], *s.at, s.angle) for s in low])
        first = next(line for line in texts[f"{name}.nc"].splitlines() if kind.settings in line)
        offsets = [line for line in texts[f"{name}_offsets.nc"].splitlines() if line.startswith("G10")]
        text = texts[f"{name}.nc"].replace(first, "\n".join([first, *offsets]), 1)
        theirs = distinct([one for one in moves(text, lengths, folder) if FAR_DOWN < one[3] < HIGH])
        assert max(one[3] for one in ours) < HIGH
        assert len(theirs) == len(ours)
        for a, b in zip(theirs, ours, strict=True):
            assert a[0] == b[0]
            assert max(abs(x - y) for x, y in zip(a[1:4], b[1:4], strict=True)) < APART, (a, b)
            assert abs((a[4] - b[4] + 180.0) % 360.0 - 180.0) < APART
        _zeros_agree(job, kind, folder)
        used = {NUMBER[offset_words(job, kind, step.place)] for step in job.steps}
        assert {one[0] for one in ours} == used
        compared += len(ours)
    return compared


def _zeros_agree(job: ProgramJob, kind: Dialect, folder: Path) -> None:
    """Every step that feeds does so under its place's own zero, as the interpreter set it."""
    steps = [job.steps[w.step].place for w in wanted_feeds(job, kind)]
    wanted = [(NUMBER[offset_words(job, kind, k)], *(round(v, 4) for v in zero_of(job, k))) for k in steps]
    for a, b in zip(zeros(folder), distinct(wanted), strict=True):  # type: ignore[arg-type]
        assert a[0] == b[0]
        assert max(abs(x - y) for x, y in zip(a[1:], b[1:], strict=True)) < APART, (a, b)
