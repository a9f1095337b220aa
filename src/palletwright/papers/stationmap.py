"""The inspection sheet of a carrier: every station from one master point, by serial number, and zeros from it."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from palletwright.errors import Fault, InputError
from palletwright.papers.facts import Facts, side_angle, zero_at
from palletwright.papers.setup import head
from palletwright.papers.typeset import Block, Sheet, heading, new_page, steps, table, words
from palletwright.verdict import Vec


@dataclass(frozen=True, slots=True)
class Mapped:
    """A station's origin from the carrier's master point, mm, with its side turned up to `angle` degrees."""

    station: str
    side: str
    angle: float
    at: Vec


def station_map(facts: Facts, cycle: int, mount: str) -> list[Mapped]:
    """Nominal places of a carrier's stations from its master point.

    The master point of a plate is the middle of its mounting side, of a pallet the rotary axis at the faceplate.
    """
    here, master = facts.mounts(cycle)[mount], master_point(facts, cycle, mount)
    rows = []
    for s in facts.stations(cycle):
        if s.mount != mount:
            continue
        angle = side_angle(s, here) or 0.0
        at = np.asarray(zero_at(s, here, angle)) - np.asarray(master)
        rows.append(Mapped(s.name, s.side, angle, (float(at[0]), float(at[1]), float(at[2]))))
    return rows


def master_point(facts: Facts, cycle: int, mount: str) -> Vec:
    """A carrier's nominal master point in the machine, mm."""
    placing = next(p for p in facts.design.placings if p.mount == mount)
    carrier = next(c for c in facts.shop.carriers if c.id == placing.carrier)
    lift = 0.0 if placing.kind == "pallet" else carrier.height
    at = np.asarray(facts.mounts(cycle)[mount].pose) @ np.array([0.0, 0.0, lift, 1.0])
    return float(at[0]), float(at[1]), float(at[2])


def map_sheet(facts: Facts, cycle: int) -> Sheet:
    """One page for each carrier of a cycle, with room for what is measured."""
    w, unit = facts.words, facts.words.length_unit
    blocks: list[Block] = []
    for k, (mount, placed) in enumerate(facts.mounts(cycle).items()):
        if k:
            blocks.append(new_page())
        blocks.append(words(w.say("map_title", carrier=placed.carrier, mount=mount), "big"))
        blocks.append(words(w.say("map_serial"), "big"))
        at = " / ".join(w.length(v, 3) for v in master_point(facts, cycle, mount))
        kind = "map_axis" if placed.rotary else "map_middle"
        blocks.append(steps([w.say(kind, at=at, unit=unit), w.say("map_measure"), w.say("map_limit")]))
        titles = [w.say("station"), w.say("side"), w.say("map_angle")]
        titles += [f"{a} [{unit}]" for a in "XYZ"] + [f"{a} {w.say('map_measured')}" for a in "XYZ"]
        rows = [
            [m.station, m.side, w.number(m.angle, 3), *(w.length(v, 3) for v in m.at), "", "", ""]
            for m in station_map(facts, cycle, mount)
        ]
        blocks.append(table(titles, rows, "rlrrrrlll", ["auto"] * 6 + ["1fr"] * 3))
    blocks += [heading(w.say("map_done")), words(w.say("signed"))]
    return Sheet(w.say("map_sheet"), head(facts, cycle), facts.identity, w.say("page"), (), tuple(blocks))


def map_csv(facts: Facts, cycle: int) -> str:
    """The same as text to be filled in: one row a station of every carrier."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    names = ["serial", "mount", "station", "angle", "x", "y", "z", "measured_x", "measured_y", "measured_z", "plan"]
    writer.writerow(names)
    for mount in facts.mounts(cycle):
        for m in station_map(facts, cycle, mount):
            place = [f"{v + 0.0:.4f}" for v in np.round(m.at, 4)]
            writer.writerow(["", mount, m.station, f"{m.angle:.4f}", *place, "", "", "", facts.identity])
    return out.getvalue()


def measured_zeros(
    text: str, masters: Mapping[str, Vec], identity: str, file: str = "stations.csv"
) -> list[Sequence[str]]:
    """Work zeros by serial number from a filled-in map and each carrier's probed master point (mm, by serial number).

    Returns rows of serial, station, angle, X, Y, Z. A station that wasn't measured keeps its nominal place. Raises
    InputError, all faults at once, for another plan's map, an unknown serial number or a text that is no number.
    """
    faults: list[Fault] = []
    rows: list[Sequence[str]] = []
    for line, row in enumerate(csv.DictReader(io.StringIO(text)), start=2):
        if row.get("plan") != identity:
            faults.append(Fault(file, f"line {line} plan", str(row.get("plan")), "is of another plan", identity))
            continue
        serial = (row.get("serial") or "").strip()
        if serial not in masters:
            known = ", ".join(sorted(masters)) or "none"
            faults.append(Fault(file, f"line {line} serial", serial, "has no master point", known))
            continue
        try:
            values = [float(row.get(f"measured_{a}") or row[a]) for a in "xyz"]
        except (KeyError, TypeError, ValueError):
            faults.append(Fault(file, f"line {line}", str(row), "has a place that isn't a number", "mm"))
            continue
        at = np.asarray(masters[serial]) + np.asarray(values)
        rows.append([serial, row["station"], row["angle"], *(f"{v:.4f}" for v in at)])
    if faults:
        raise InputError(faults)
    return rows
