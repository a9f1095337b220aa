"""Carrier drawings at 1:1: each side with a section, the ends and the mounting face, hole tables, title blocks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from palletwright.papers.carriers import CarrierModel, cross_section, face_name, half_lengths, turned_radius
from palletwright.papers.drafting import (
    LETTER,
    Box,
    Circle,
    Entity,
    Line,
    Text,
    as_dxf,
    as_svg,
    dimension,
    extent,
    hatched,
    labelled,
    meet,
    moved,
    rectangle,
    segment,
)
from palletwright.papers.facts import Facts
from palletwright.papers.holes import ENDS, MOUTH, Hole
from palletwright.papers.marks import DEPTH, WIDTH, side_letter
from palletwright.papers.sections import gone_at
from palletwright.papers.sheets import Frame, SheetPlan, projection_symbol, sheet_plan, title_block
from palletwright.papers.typeset import drawn_pdf

Floats = NDArray[np.float64]

GAP = 14.0
"""mm between the views."""

COLUMNS = (("draw_hole", 13.0), ("x", 21.0), ("y", 21.0), ("draw_size", 19.0), ("draw_depth", 25.0),
           ("draw_limits", 23.0), ("draw_for", 40.0))  # fmt: skip
"""Keys and widths (mm) of the hole table's columns."""

PLACE = 0.02
"""mm, place of holes to the datums: common practice, no source."""

ROW = 4.6
"""mm, height of a table's row."""


@dataclass(frozen=True)
class Style:
    """How a drawing is set: paper family, first or third angle, and the shop's logo as SVG or PNG bytes."""

    paper: str = "A4"
    projection: str = "first"
    logo: bytes | None = None


def side_names(model: CarrierModel) -> list[str]:
    """Faces with holes, reliefs or marks, sides first."""
    rows = {h.side for h in model.holes} | {p.side for p in model.pockets} | {m.side for m in model.marks}
    ends = [e for e in ENDS.values() if e in rows or (model.carrier.kind == "pallet" and e == ENDS["faceplate"])]
    return [*sorted(rows - set(ends), key=lambda n: (len(n), n)), *ends]


def side_dxf(facts: Facts, cycle: int, model: CarrierModel, side: str, style: Style | None = None) -> str:
    """One face at 1:1 in mm, origin in the middle of the face, with its section, table and title block."""
    rows, plan = _sheet(facts, cycle, model, side, style or Style())
    return as_dxf(moved(rows, -plan.origin[0], -plan.origin[1]))


def drawing_pdf(facts: Facts, cycle: int, model: CarrierModel, style: Style | None = None) -> bytes:
    """All sheets of a carrier at 1:1, one a face."""
    style = style or Style()
    sheets = []
    for side in side_names(model):
        rows, plan = _sheet(facts, cycle, model, side, style)
        sheets.append((plan.width, plan.height, as_svg(rows, plan.width, plan.height)))
    logo = (style.logo, *Frame.logo_place) if style.logo else None
    return drawn_pdf(sheets, facts.words.say("draw_title", carrier=model.carrier.id), facts.identity, logo)


def _sheet(facts: Facts, cycle: int, model: CarrierModel, side: str, style: Style) -> tuple[list[Entity], SheetPlan]:
    """Everything on one sheet, and where the face's middle stands on it."""
    names = side_names(model)
    views = _views(facts, cycle, model, side, style.projection)
    table = hole_table(facts, [h for h in model.holes if h.side == side])
    notes = _notes(facts, model, side)
    plan = sheet_plan(style.paper, extent(views), len(table), len(notes), ROW, sum(w for _, w in COLUMNS))
    rows = moved(views, *plan.origin)
    for k in range(plan.columns):
        part = table[:1] + table[1 + k * plan.rows : 1 + (k + 1) * plan.rows]
        rows += _drawn_table(part, plan.table_at[0] + k * (sum(w for _, w in COLUMNS) + 4.0), plan.table_at[1])
    rows += [Text(plan.notes_at[0], plan.notes_at[1] - 4.2 * k, t) for k, t in enumerate(notes)]
    rows += title_block(facts, model, side, plan, f"{names.index(side) + 1}/{len(names)}", style)
    return rows + projection_symbol(plan, style.projection), plan


def hole_row(facts: Facts, hole: Hole) -> tuple[str, ...]:
    """Label, x, y, size, depth, limits and device as the table prints them; "through" in words."""
    w = facts.words
    if hole.thread:
        size, depth = hole.thread, f"{w.length(hole.thread_depth, 1)} / {w.length(hole.depth, 1)}"
    elif hole.sunk:
        size = f"Ø{w.length(hole.diameter, 1)}"
        depth = f"{w.say('draw_through')}, Ø{w.length(hole.sunk[0], 1)} × {w.length(hole.sunk[1], 1)}"
    else:
        size, depth = f"Ø{w.length(hole.diameter, 1)} {hole.fit}".strip(), w.length(hole.depth, 1)
    limits = hole.tolerance
    if hole.fit and w.unit == "inch":
        upper, lower = limits.split(" / ")
        limits = f"+{w.length(float(upper), 3)} / {lower}"
    whom = w.say("for_mount") if hole.device == "mount" else hole.device[:22]
    return hole.label, w.length(hole.x, 3), w.length(hole.y, 3), size, depth, limits, whom


def hole_table(facts: Facts, holes: list[Hole]) -> list[tuple[str, ...]]:
    """The head and a row for each hole."""
    w, unit = facts.words, facts.words.length_unit
    head = tuple(f"{k} [{unit}]" if k in "xy" else w.say(k, unit=unit) for k, _ in COLUMNS)
    return [head, *(hole_row(facts, h) for h in holes)]


def _drawn_table(rows: list[tuple[str, ...]], x: float, top: float) -> list[Entity]:
    out: list[Entity] = []
    width = sum(w for _, w in COLUMNS)
    for k, row in enumerate(rows):
        y = top - ROW * (k + 1)
        out.append(segment(x, y, x + width, y, "DIMENSIONS" if k else "OUTLINE"))
        at = x
        for (_, wide), cell in zip(COLUMNS, row, strict=True):
            out.append(Text(at + 1.0, y + 1.2, cell, LETTER))
            at += wide
    return out


def _notes(facts: Facts, model: CarrierModel, side: str) -> list[str]:
    """What else must be known to make this face, in short lines."""
    w = facts.words
    unit = w.length_unit
    depth = w.say(
        "draw_note_depth", mouth=w.length(MOUTH, 2), place=w.length(PLACE, 2 if w.unit == "mm" else 3), unit=unit
    )
    rows = [w.say("draw_note_seen"), depth, w.say("draw_note_assumed")]
    for p in model.pockets:
        if p.side == side:
            size = f"Ø{w.length(p.diameter, 1)}" if p.diameter else w.say("draw_pocket")
            at = f"x {w.length(p.centre[0], 2)}, y {w.length(p.centre[1], 2)}"
            rows.append(w.say("draw_relief", label=p.label, size=size, depth=w.length(p.depth, 1), at=at))
    if any(m.side == side for m in model.marks):
        rows.append(w.say("draw_engrave", wide=w.length(WIDTH, 1), deep=w.length(DEPTH, 1), unit=unit))
    if model.notes and side == side_names(model)[0]:
        rows += [w.say("draw_open"), *(f"- {n}" for n in model.notes)]
    return [line for row in rows for line in _wrapped(row, 92)]


def _wrapped(text: str, most: int) -> list[str]:
    import textwrap

    return textwrap.wrap(text, most, subsequent_indent="  ")


def _views(facts: Facts, cycle: int, model: CarrierModel, side: str, projection: str) -> list[Entity]:
    """The face against its normal about the origin, its section above it (first angle) or below (third)."""
    ring = outline(facts, model, side)
    holes = [h for h in model.holes if h.side == side]
    rows: list[Entity] = [Line(ring, "OUTLINE", True)]
    low, high = ring.min(axis=0), ring.max(axis=0)
    phantom = phantoms(facts, cycle, model, side)
    rows += [Line(p, "PHANTOM", True) for p in phantom]
    rows += [e for h in holes for e in _hole_seen(h)]
    for p in (p for p in model.pockets if p.side == side):
        rows += [Circle(*p.centre, p.diameter / 2, "RELIEF")] if p.diameter else [Line(p.outline, "RELIEF", True)]
        rows += [Line(i, "RELIEF", True) for i in p.islands]
    marks = [Line(s, "ENGRAVE") for m in model.marks if m.side == side for s in m.strokes]
    rows += marks
    taken = [(*(m.points.min(axis=0) - 0.5), *(m.points.max(axis=0) + 0.5)) for m in marks]
    spots = [(h.x, h.y, h.widest / 2 + 1.5, h.label) for h in holes]
    spots += [(*p.centre, (p.diameter or 2.0) / 2, p.label) for p in model.pockets if p.side == side]
    zero, boxes = _origin([*taken, *((x - r, y - r, x + r, y + r) for x, y, r, _ in spots)])
    rows += zero
    rows += labelled(spots, [*taken, *boxes])
    w = facts.words
    seen = extent(rows)
    rows += dimension((low[0], low[1]), (high[0], low[1]), seen[1] - low[1] - 8.0, w.length(high[0] - low[0], 2))
    rows += dimension((high[0], low[1]), (high[0], high[1]), seen[2] - high[0] + 8.0, w.length(high[1] - low[1], 2))
    rows.append(Text(low[0], seen[3] + 3.0, f"{_seen_name(facts, model, side)} 1:1", 3.5))
    if side in ENDS.values() or not holes:
        return rows + (_end_facts(facts, model, side) if model.carrier.kind == "pallet" else [])
    cut, level = _section(facts, model, side, holes)
    _, bottom, _, top = extent(rows)
    rows += _section_marks(level, low[0], high[0])
    _, cut_low, _, cut_high = extent(cut)
    rise = top + GAP - cut_low if projection == "first" else bottom - GAP - cut_high
    return rows + moved(cut, 0.0, rise)


def _end_facts(facts: Facts, model: CarrierModel, side: str) -> list[Entity]:
    """Of a pallet's end: the letter of each side beside it, and apothem, round and angle in words."""
    if side not in ENDS.values():
        return []
    a, n, w = model.placing.apothem or 0.0, model.placing.sides, facts.words
    flip = -1.0 if side == ENDS["faceplate"] else 1.0
    rows: list[Entity] = []
    for k in range(n):
        angle = 2 * math.pi * k / n
        spot = (a - 6.0) * np.array([-math.sin(angle) * flip, math.cos(angle)])
        rows.append(Text(float(spot[0]), float(spot[1]) - 1.3, side_letter(k), 3.5, "middle"))
    low = float(outline(facts, model, side).min(axis=0)[1])
    text = w.say(
        "draw_end",
        n=n,
        angle=w.number(360 / n, 2),
        apothem=w.length(a, 3),
        round=w.length(2 * turned_radius(model.carrier, model.placing), 2),
    )
    return [*rows, Text(0.0, low - 20.0, text, 3.5, "middle")]


def _seen_name(facts: Facts, model: CarrierModel, side: str) -> str:
    letter = next((m.text[0] for m in model.marks if m.side == side and m.text.endswith(">")), "")
    return facts.words.say("draw_seen", side=face_name(facts.words, side)) + (f" ({letter})" if letter else "")


def _origin(taken: Sequence[Box]) -> tuple[list[Entity], list[Box]]:
    """The zero of the table with datum letters Q and R on its two middle planes (P is the face itself), where nothing
    else stands, and the boxes that they take."""
    rows: list[Entity] = [
        segment(-4.0, 0.0, 4.0, 0.0, "CENTRE"),
        segment(0.0, -4.0, 0.0, 4.0, "CENTRE"),
        Circle(0.0, 0.0, 1.2, "DIMENSIONS"),
    ]
    boxes: list[Box] = [(-4.0, -4.0, 4.0, 4.0)]
    for letter, along in (("Q", (0.0, 1.0)), ("R", (1.0, 0.0))):
        for away in (5.5 * sign * step for step in range(1, 40) for sign in (1.0, -1.0)):
            x, y = away * along[0], away * along[1] - 0.9
            box = (x - 2.1, y - 1.4, x + 2.1, y + 3.2)
            if not any(meet(box, b) for b in (*taken, *boxes)):
                break
        boxes.append(box)
        rows += _datum(x, y, letter)
        way = np.array(along) * np.sign(away)
        line = np.stack([4.0 * way, (abs(away) - 2.0) * way])
        rows.append(Line(line, "CENTRE"))
    return rows, boxes


def _datum(x: float, y: float, letter: str) -> list[Entity]:
    """A datum letter in its frame (ISO 5459); P to R, so that no side's letter means two things."""
    return [rectangle(x - 1.8, y - 1.1, x + 1.8, y + 2.9, "DIMENSIONS"), Text(x, y, letter, LETTER, "middle")]


def _hole_seen(hole: Hole) -> list[Entity]:
    reach = hole.widest / 2 + 1.5
    rows: list[Entity] = [Circle(hole.x, hole.y, hole.diameter / 2, "HOLES")]
    if hole.sunk:
        rows.append(Circle(hole.x, hole.y, hole.sunk[0] / 2, "HOLES"))
    if hole.thread:
        # ISO 6410: three quarters of a thin circle at the nominal diameter
        angle = np.linspace(0.1, 0.1 + 1.5 * math.pi, 25)
        radius = float(hole.thread.removeprefix("M")) / 2
        rows.append(
            Line(np.column_stack([hole.x + radius * np.cos(angle), hole.y + radius * np.sin(angle)]), "DIMENSIONS")
        )
    rows.append(segment(hole.x - reach, hole.y, hole.x + reach, hole.y, "CENTRE"))
    rows.append(segment(hole.x, hole.y - reach, hole.x, hole.y + reach, "CENTRE"))
    return rows


def section_level(holes: list[Hole]) -> float:
    """y (mm) of the line that goes through most different sorts of holes, then most holes."""
    levels = sorted({h.y for h in holes})

    def worth(y: float) -> tuple[int, int, float]:
        met = [h for h in holes if abs(h.y - y) < h.diameter / 2]
        return len({(h.diameter, h.depth) for h in met}), len(met), -abs(y)

    return max(levels, key=worth)


def _section(facts: Facts, model: CarrierModel, side: str, holes: list[Hole]) -> tuple[list[Entity], float]:
    """S-S along x through the holes on one level, z up from the face, hatched where material is cut."""
    level = section_level(holes)
    half = half_lengths(model.carrier, model.placing)[0]
    floor = -_thickness(model, level)
    body = shapely.box(-half, floor, half, 0.0)
    rows: list[Entity] = []
    for h in holes:
        if abs(h.y - level) < h.diameter / 2 - 1e-9:
            rows.append(segment(h.x, max(-h.depth, floor) - 2.0, h.x, 2.0, "CENTRE"))
            if h.thread:
                r = float(h.thread.removeprefix("M")) / 2
                rows += [segment(h.x + s * r, -h.thread_depth, h.x + s * r, 0.0, "DIMENSIONS") for s in (-1, 1)]
    gone = gone_at(model, side, level)
    left = body.difference(shapely.union_all(gone)) if gone else body
    for part in getattr(left, "geoms", [left]):
        rows.append(Line(np.asarray(part.exterior.coords)[:-1], "OUTLINE", True))
        rows += [Line(np.asarray(i.coords)[:-1], "OUTLINE", True) for i in part.interiors]
    rows += hatched(left)
    rows.append(Text(0.0, 4.0, f"S-S  (y {facts.words.length(level, 2)})", 3.5, "middle"))
    rows += dimension((half, floor), (half, 0.0), 8.0, facts.words.length(-floor, 2))
    rows += [Text(-half - 5.0, -1.0, "S", 3.5, "middle"), segment(-half - 3.0, 0.0, -half, 0.0, "DIMENSIONS")]
    return rows, level


def _section_marks(level: float, left: float, right: float) -> list[Entity]:
    rows: list[Entity] = []
    for x, way in ((left, -1.0), (right, 1.0)):
        rows.append(segment(x, level, x + way * 4.0, level, "CENTRE"))
        rows.append(Text(x + way * 6.0, level - 1.2, "S", 3.5, "middle"))
    return rows


def _thickness(model: CarrierModel, level: float) -> float:
    """mm of material below a side's face at y = `level`."""
    if model.carrier.kind != "pallet":
        return model.carrier.height
    ring = cross_section(model.carrier, model.placing)
    met = ring.intersection(shapely.LineString([(level, -1000.0), (level, 1000.0)]))
    return float((model.placing.apothem or 0.0) - met.bounds[1])


def outline(facts: Facts, model: CarrierModel, side: str) -> Floats:
    """(n, 2) the face's edge, mm in its own frame."""
    if model.carrier.kind == "pallet" and side in ENDS.values():
        ring = np.asarray(cross_section(model.carrier, model.placing).exterior.coords)[:-1]
        flip = -1.0 if side == ENDS["faceplate"] else 1.0
        return np.asarray(ring * np.array([flip, 1.0]))
    x, y = half_lengths(model.carrier, model.placing)
    return np.array([(-x, -y), (x, -y), (x, y), (-x, y)])


def phantoms(facts: Facts, cycle: int, model: CarrierModel, side: str) -> list[Floats]:
    """Outlines of the parts on one side, mm in its frame."""
    rows = facts.way["scene"]["cycles"][cycle]["sides"]
    plain = model.carrier.kind != "pallet" and side not in ENDS.values()
    here = [s for s in rows if s["mount"] == model.placing.mount and (plain or s["side"] == side)]
    return [
        np.asarray(ring)
        for s in here
        for station in s["stations"]
        for body in station["bodies"]
        if body["id"].startswith("part")
        for ring in body["rings"][:1]
    ]


__all__ = ["Style", "drawing_pdf", "hole_row", "hole_table", "side_dxf", "side_names"]
