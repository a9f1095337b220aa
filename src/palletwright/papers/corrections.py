"""Entered readings to corrections: a station's location error told from a tool's, proposed and approved before use."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from palletwright.errors import Fault, InputError

AXES = ("x", "y", "z", "d")
"""What a reading is: a feature's place along an axis of its station, its depth z, or its diameter d."""

FLOOR = 0.003
"""mm: smaller corrections are noise of a shop's measuring: common practice, no source."""

SPREAD = 0.010
"""mm: readings that differ more from what station and tool explain are named: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Reading:
    """Measured less nominal, mm, of one feature at one station, cut by one tool."""

    station: str
    tool: int
    axis: str
    deviation: float
    feature: str = ""


@dataclass(frozen=True, slots=True)
class Correction:
    """What to add (mm) to a station's offset or to a tool's length (z) or diameter (d); `readings` that it rests on.

    `separated` is false where no second tool at the station (or second station of the tool) tells one from the other.
    """

    kind: str
    name: str
    axis: str
    add: float
    readings: int
    separated: bool


@dataclass(frozen=True)
class Proposal:
    """All corrections, and readings that neither station nor tool explains (reading, mm left)."""

    corrections: tuple[Correction, ...]
    unexplained: tuple[tuple[Reading, float], ...]


def read_readings(
    text: str, stations: Sequence[str], tools: Sequence[int], file: str = "readings.csv"
) -> list[Reading]:
    """Readings from comma separated text: station, tool, axis, deviation_mm, feature.

    Raises InputError with every fault at once.
    """
    faults, rows = [], []
    reader = csv.DictReader(io.StringIO(text))
    needed = {"station", "tool", "axis", "deviation_mm"}
    if not needed <= set(reader.fieldnames or ()):
        head = ",".join(reader.fieldnames or ())
        raise InputError([Fault(file, "line 1", head, "lacks a column", ", ".join(sorted(needed)))])
    for line, row in enumerate(reader, start=2):
        value = (row["deviation_mm"] or "").strip()
        if not value:
            continue  # not measured yet
        checks = (
            ("station", row["station"], stations),
            ("tool", row["tool"], [str(t) for t in tools]),
            ("axis", row["axis"], AXES),
        )
        bad = [(k, v, allowed) for k, v, allowed in checks if v not in allowed]
        faults += [Fault(file, f"line {line} {k}", str(v), "isn't in the plan", ", ".join(a)) for k, v, a in bad]
        try:
            number = float(value)
        except ValueError:
            faults.append(Fault(file, f"line {line} deviation_mm", value, "isn't a number", "mm, such as -0.012"))
            continue
        if not bad and np.isfinite(number):
            rows.append(Reading(row["station"], int(row["tool"]), row["axis"], number, row.get("feature") or ""))
        elif not bad:
            faults.append(Fault(file, f"line {line} deviation_mm", value, "isn't finite", "mm, such as -0.012"))
    if faults:
        raise InputError(faults)
    return rows


def corrections(readings: Sequence[Reading]) -> Proposal:
    """Corrections by least squares of deviation = station + tool, axis by axis.

    A place along x or y is the station's: a tool has no say in it. A diameter is the tool's. A depth z is both; what
    all stations share belongs to the tool (wear is corrected by tool, not by station), so the stations of one group of
    readings that hang together sum to zero.
    """
    rows: list[Correction] = []
    odd: list[tuple[Reading, float]] = []
    for axis in AXES:
        here = [r for r in readings if r.axis == axis]
        if not here:
            continue
        stations, tools = _effects(axis, here)
        alone = axis == "z" and len({r.station for r in here}) == 1
        for kind, values in (("station", stations), ("tool", tools)):
            for name, value in sorted(values.items()):
                used = [r for r in here if (r.station if kind == "station" else str(r.tool)) == name]
                if abs(value) > FLOOR:
                    rows.append(Correction(kind, name, axis, -round(value, 4) + 0.0, len(used), not alone))
        for r in here:
            rest = r.deviation - stations.get(r.station, 0.0) - tools.get(str(r.tool), 0.0)
            if abs(rest) > SPREAD:
                odd.append((r, round(rest, 4)))
    return Proposal(tuple(rows), tuple(odd))


def _effects(axis: str, here: Sequence[Reading]) -> tuple[dict[str, float], dict[str, float]]:
    """Errors (mm) of stations and of tools."""
    stations = sorted({r.station for r in here}) if axis != "d" else []
    tools = sorted({str(r.tool) for r in here}) if axis in ("z", "d") else []
    names = [*(("s", n) for n in stations), *(("t", n) for n in tools)]
    column = {n: k for k, n in enumerate(names)}
    rows, values = [], []
    for r in here:
        row = np.zeros(len(names))
        for key in (("s", r.station), ("t", str(r.tool))):
            if key in column:
                row[column[key]] = 1.0
        rows.append(row)
        values.append(r.deviation)
    if stations and tools:
        for group in _groups(here):
            row = np.zeros(len(names))
            for s in group:
                row[column["s", s]] = 1e3
            rows.append(row)
            values.append(0.0)
    found = np.linalg.lstsq(np.array(rows), np.array(values), rcond=None)[0]
    return (
        {n: float(found[column["s", n]]) for n in stations},
        {n: float(found[column["t", n]]) for n in tools},
    )


def _groups(here: Sequence[Reading]) -> list[set[str]]:
    """Stations that hang together through tools that cut at both."""
    groups: list[tuple[set[str], set[int]]] = []
    for r in here:
        near = [g for g in groups if r.station in g[0] or r.tool in g[1]]
        merged = ({r.station}.union(*(g[0] for g in near)), {r.tool}.union(*(g[1] for g in near)))
        groups = [g for g in groups if g not in near] + [merged]
    return [g[0] for g in groups]


def readings_template(rows: Sequence[tuple[str, int, str]], identity: str) -> str:
    """An empty file of readings: station, tool and feature of every cut that is measured, for each axis."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["station", "tool", "axis", "deviation_mm", "feature", "plan"])
    for station, tool, feature in rows:
        for axis in AXES:
            writer.writerow([station, tool, axis, "", feature, identity])
    return out.getvalue()


def approved_csv(proposal: Proposal, by: str, identity: str) -> str:
    """Corrections as text to enter, once somebody stands for them.

    Raises InputError without a name: nothing is changed before a second person has approved it.
    """
    if not by.strip():
        raise InputError([Fault("corrections", "approved_by", by, "is empty", "the name of who approves")])
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["kind", "name", "axis", "add_mm", "readings", "separated", "approved_by", "plan"])
    for c in proposal.corrections:
        writer.writerow(
            [c.kind, c.name, c.axis, f"{c.add:+.4f}", c.readings, "yes" if c.separated else "no", by, identity]
        )
    return out.getvalue()
