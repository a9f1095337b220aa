"""Drawing sheets at 1:1: the smallest that takes views and table, its frame, title block and projection symbol."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from palletwright.errors import Fault, InputError
from palletwright.papers.carriers import BREAK, CarrierModel, face_name
from palletwright.papers.drafting import LETTER, Box, Circle, Entity, Line, Text, breadth, rectangle, segment
from palletwright.papers.facts import Facts

ISO = ((420.0, 297.0), (594.0, 420.0), (841.0, 594.0), (1189.0, 841.0))
"""mm: A3 to A0 across (ISO 216)."""

INCH = ((431.8, 279.4), (558.8, 431.8), (863.6, 558.8), (1117.6, 863.6))
"""mm: 11 × 17 to 34 × 44 in (ASME Y14.1; from memory, unconfirmed)."""

PROJECTIONS = ("first", "third")


@dataclass(frozen=True)
class Frame:
    """mm: border of a sheet and its title block (ISO 5457, ISO 7200: 180 mm wide)."""

    edge: ClassVar[float] = 10.0
    bound: ClassVar[float] = 20.0
    title_width: ClassVar[float] = 180.0
    title_height: ClassVar[float] = 44.0
    logo_place: ClassVar[tuple[float, float, float, float]] = (188.0, 32.0, 38.0, 20.0)
    """From the sheet's right and lower edge, width and height of the room for a logo."""


@dataclass(frozen=True)
class SheetPlan:
    """A sheet of `width` × `height` mm, where the face's middle stands, and its table: columns of `rows` rows."""

    width: float
    height: float
    origin: tuple[float, float]
    columns: int
    rows: int
    table_at: tuple[float, float]
    notes_at: tuple[float, float]


def sheet_plan(paper: str, views: Box, table: int, notes: int, row: float, wide: float) -> SheetPlan:
    """The smallest sheet that takes views of an extent (mm), a table of so many rows and lines of notes.

    Raises InputError where none does.
    """
    edge, bound = Frame.edge, Frame.bound
    across, upright = views[2] - views[0], views[3] - views[1]
    for width, height in INCH if paper == "Letter" else ISO:
        free = height - 2 * edge - 2.0
        below = Frame.title_height + 4.0 + 4.2 * notes + 4.0
        for columns in range(1, 5):
            rows = int((free - below) // row) - 1
            right = max(columns * (wide + 4.0), Frame.title_width)
            if rows < 1 or (table - 1) > columns * rows:
                continue
            if bound + 4.0 + across + 8.0 + right + edge > width or upright + 4.0 > free:
                continue
            middle = edge + (height - 2 * edge) / 2
            spare = (width - bound - edge - across - right - 12.0) / 2
            origin = (round(bound + 4.0 + spare - views[0], 3), round(middle - (views[1] + views[3]) / 2, 3))
            left = width - edge - right
            needed = -(-(table - 1) // columns)
            top = height - edge - 3.0
            return SheetPlan(width, height, origin, columns, max(needed, 1), (left, top), (left, edge + below - 4.0))
    problem = f"is too small: the drawing at 1:1 needs {across:.0f} × {upright:.0f} mm beside its table"
    raise InputError([Fault("papers", "paper", paper, problem, "a shorter carrier")])


def title_block(facts: Facts, model: CarrierModel, side: str, plan: SheetPlan, sheet: str, style: Any) -> list[Entity]:
    """Frame and title block; empty fields are for the shop's own entries."""
    edge, x1, w = Frame.edge, plan.width - Frame.edge, facts.words
    x0, y1 = x1 - Frame.title_width, edge + Frame.title_height
    rows: list[Entity] = [
        rectangle(Frame.bound, edge, x1, plan.height - edge, "FRAME"),
        rectangle(x0, edge, x1, y1, "OUTLINE"),
    ]
    for y in (11.0, 22.0, 33.0):
        rows.append(segment(x0, edge + y, x1, edge + y, "DIMENSIONS"))
    carrier = model.carrier
    fields = [
        (0.0, 33.0, w.say("draw_owner"), facts.shop.name),
        (60.0, 33.0, w.say("draw_part"), f"{carrier.id}"),
        (120.0, 33.0, w.say("draw_face"), face_name(w, side)),
        (0.0, 22.0, w.say("draw_material"), w.say("draw_steel" if carrier.steel else "draw_aluminium")),
        (60.0, 22.0, w.say("draw_made"), ""),
        (120.0, 22.0, w.say("draw_checked"), ""),
        (0.0, 11.0, w.say("draw_scale"), "1:1 · " + w.length_unit),
        (60.0, 11.0, w.say("draw_serial"), ""),
        (120.0, 11.0, w.say("draw_number"), ""),
        (0.0, 0.0, w.say("draw_general"), w.say("draw_tolerance_short", edge=w.length(BREAK, 1), unit=w.length_unit)),
        (120.0, 0.0, w.say("draw_plan"), f"{facts.identity}  {sheet}"),
    ]
    for x, y, label, text in fields:
        rows.append(Text(x0 + x + 1.0, edge + y + 7.6, label, 2.5))
        most = (120.0 if not y and not x else 60.0) - 2.0
        size, text = fitted(text, most)
        rows.append(Text(x0 + x + 1.0, edge + y + 2.4, text, size))
        if x:
            rows.append(segment(x0 + x, edge + y, x0 + x, edge + y + 11.0, "DIMENSIONS"))
    return rows


def fitted(text: str, most: float) -> tuple[float, str]:
    """Letter size (mm, 2.5 to 3.2) at which a text fits into `most` mm, and the text, shortened where it must be."""
    size = max(LETTER, min(3.2, most / max(breadth(text, 1.0), 1e-9)))
    while breadth(text, size) > most:
        text = text.rstrip("…")[:-1] + "…"
    return size, text


def projection_symbol(plan: SheetPlan, projection: str) -> list[Entity]:
    """The cone of ISO 128 / ISO 5456 in the title block: its end view right of it (first) or left (third)."""
    if projection not in PROJECTIONS:
        raise InputError([Fault("papers", "projection", projection, "isn't a projection", ", ".join(PROJECTIONS))])
    x, y = plan.width - Frame.edge - Frame.title_width + 44.0, Frame.edge + 16.5
    cone = np.array([(-4.0, -2.0), (4.0, -4.0), (4.0, 4.0), (-4.0, 2.0)])
    away = 9.5 if projection == "first" else -9.5
    # the small end lies on the left: first angle shows it, seen from the left, on the right
    middle = x + away
    return [
        Line(cone * 0.9 + np.array([x - away / 2, y]), "OUTLINE", True),
        Circle(middle - away / 2, y, 3.6, "OUTLINE"),
        Circle(middle - away / 2, y, 1.8, "OUTLINE"),
    ]
