"""Work offsets of the places of a program: as words, as settings code, as a table."""

from __future__ import annotations

import csv
import io
import math

from palletwright.cycle.dialect import Dialect
from palletwright.cycle.program_job import Place, ProgramJob
from palletwright.verdict import Vec

FIRST_SERIAL, FIRST_DEVIATION = 502, 510
"""Variables: the serial of the carrier on each mount, and its master point's deviation, three a mount."""

LEAST = 1e-9
"""A factor of a deviation below this is none."""


def offset_words(job: ProgramJob, kind: Dialect, place: int) -> str:
    """Words that select a place's offset; the control's last one where it has too few (`setting` says it first)."""
    return kind.offset(min(place, _last(job, kind)))


def shares_offset(job: ProgramJob, kind: Dialect, place: int) -> bool:
    """Whether the control has no offset of its own for this place, so that it must be set before each use: with more
    places than offsets all that are left share the last one."""
    last = _last(job, kind)
    return place >= last if len(job.places) > last + 1 else False


def setting(job: ProgramJob, kind: Dialect, place: int) -> str:
    """The settings code (G10) of a place's offset, with its carrier's deviation where the job knows carriers."""
    index = min(place, _last(job, kind))
    basic = index < len(kind.offsets)
    form = kind.set_offset if basic else kind.set_extended
    x, y, z = _values(job, kind, job.places[place])
    return form.format(number=index + 1 if basic else index - len(kind.offsets) + 1, x=x, y=y, z=z)


def settings_program(job: ProgramJob, kind: Dialect) -> str:
    """A program of its own that sets every offset which the control keeps."""
    lines = [kind.begin.format(number=job.number + 1), kind.note(f"work offsets of carrier {job.carrier}")]
    lines += [kind.note("nominal values: measure each carrier's master point and correct them"), "G21 G90"]
    for mount in mounts(job):
        lines += [f"#{variable} = 0." for variable in deviation_variables(job, mount)]
    for k in range(len(job.places)):
        if not shares_offset(job, kind, k):
            lines += [kind.note(f"{kind.offset(k)}: {_title(job.places[k])}"), setting(job, kind, k)]
    return "\n".join([*lines, kind.end]) + "\n"


def offset_table(job: ProgramJob, kind: Dialect) -> str:
    """The same as CSV: one line a place, values in the control's coordinates at the nominal master point, mm."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(["place", "station", "mount", "angle", "quarter_turns", "offset", "x_mm", "y_mm", "z_mm", "set"])
    for k, place in enumerate(job.places):
        point = [f"{v:.{kind.decimals}f}" for v in job.control(place.origin)]
        kept = "in the main program before each use" if shares_offset(job, kind, k) else "once"
        row = [k + 1, place.station, place.mount, f"{place.angle:g}", place.turn % 4, offset_words(job, kind, k)]
        rows.writerow([*row, *point, kept])
    return out.getvalue()


def carrier_lines(job: ProgramJob, kind: Dialect, mount: str) -> dict[int, list[str]]:
    """For each carrier that may sit on the mount, by serial: its deviation, and all the mount's offsets from it."""
    kept = [k for k, p in enumerate(job.places) if p.mount == mount and not shares_offset(job, kind, k)]
    rows = {}
    for one in (c for c in job.carriers if c.mount == mount):
        values = zip(deviation_variables(job, mount), one.deviation, strict=True)
        rows[one.serial] = [f"#{variable} = {kind.number(value)}" for variable, value in values]
        rows[one.serial] += [setting(job, kind, k) for k in kept]
    return rows


def mounts(job: ProgramJob) -> list[str]:
    """The mounts whose carriers the program asks for, in the order of the job."""
    return list(dict.fromkeys(one.mount for one in job.carriers))


def serial_variable(job: ProgramJob, mount: str) -> int:
    """The variable that says which carrier is on the mount."""
    return FIRST_SERIAL + mounts(job).index(mount)


def deviation_variables(job: ProgramJob, mount: str) -> tuple[int, int, int]:
    """The variables with its master point's deviation in x, y and z, mm."""
    first = FIRST_DEVIATION + 3 * mounts(job).index(mount)
    return first, first + 1, first + 2


def zero_of(job: ProgramJob, place: int) -> Vec:
    """A place's work zero in the control's own coordinates, mm, with the first carrier that its mount may have."""
    here = job.places[place]
    one = next((c for c in job.carriers if c.mount == here.mount), None)
    x, y, z = job.control(here.origin)
    if one is None:
        return (x, y, z)
    dx, dy, dz = (
        sum(f * v for f, v in zip(row, one.deviation, strict=True)) for row in turned_about(job.axis, here.angle)
    )
    return (x + dx, y + dy, z + dz)


def _last(job: ProgramJob, kind: Dialect) -> int:
    """The last offset that the dialect knows and the machine has, from 0."""
    known = len(kind.offsets) + kind.offsets_extended
    return min(known, job.work_offsets or known) - 1


def _title(place: Place) -> str:
    return f"{place.station} at {place.angle:g} deg"


def _values(job: ProgramJob, kind: Dialect, place: Place) -> list[str]:
    point = job.control(place.origin)
    if place.mount not in mounts(job):
        return [kind.number(v) for v in point]
    variables = deviation_variables(job, place.mount)
    return [_sum(kind, v, row, variables) for v, row in zip(point, turned_about(job.axis, place.angle), strict=True)]


def _sum(kind: Dialect, value: float, row: Vec, variables: tuple[int, int, int]) -> str:
    """`[value + factor * #variable …]`, the deviation turned with the carrier."""
    text = kind.number(value)
    for factor, variable in zip(row, variables, strict=True):
        if abs(factor) > LEAST:
            times = "" if abs(abs(factor) - 1.0) < LEAST else f"{abs(factor):.6f} * "
            text += f" {'-' if factor < 0 else '+'} {times}#{variable}"
    return f"[{text}]"


def turned_about(axis: Vec, degrees: float) -> tuple[Vec, Vec, Vec]:
    """Rows of the right-handed rotation about a unit axis; exact at quarter turns (Rodrigues)."""
    quarter = degrees / 90.0
    if abs(quarter - round(quarter)) < LEAST:
        c, s = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[round(quarter) % 4]
    else:
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    x, y, z = axis
    t = 1.0 - c
    return (
        (c + t * x * x, t * x * y - s * z, t * x * z + s * y),
        (t * x * y + s * z, c + t * y * y, t * y * z - s * x),
        (t * x * z - s * y, t * y * z + s * x, c + t * z * z),
    )
