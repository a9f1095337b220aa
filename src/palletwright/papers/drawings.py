"""Carrier drawings: each side against its normal with its hole table, as DXF at 1:1 and as sheets."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np

from palletwright.papers.carriers import CarrierModel, Hole
from palletwright.papers.facts import Facts
from palletwright.papers.setup import head
from palletwright.papers.typeset import Block, Sheet, new_page, picture, room, side_by_side, table, words
from palletwright.papers.views import drawn_side

LAYERS = {"OUTLINE": 7, "HOLES": 1, "CENTRE": 4, "PHANTOM": 8, "TEXT": 3}
"""Layer names with their colour numbers."""

ONE_COLUMN = 10
"""Holes up to which the sheet's table has one column."""

LINES = {"PHANTOM": "PHANTOM", "CENTRE": "CENTER"}
"""Line types of the layers that aren't drawn in full."""


def side_names(model: CarrierModel) -> list[str]:
    """Sides that carry holes, in order."""
    return sorted({h.side for h in model.holes})


def side_dxf(facts: Facts, cycle: int, model: CarrierModel, side: str) -> str:
    """One side at 1:1 in mm, origin in the middle of the side: outline, holes with labels, stations as phantoms."""
    import ezdxf

    with _fixed_dates():
        document = ezdxf.new("R2010", setup=["linetypes"], units=4)
        document.header["$MEASUREMENT"] = 1
        for name, colour in LAYERS.items():
            document.layers.add(name, color=colour, linetype=LINES.get(name, "CONTINUOUS"))
        space = document.modelspace()
        _lines(space, facts, cycle, model, side)
        _table(space, model, side, facts.identity)
        out = io.StringIO()
        document.write(out)
    return out.getvalue()


def _lines(space: Any, facts: Facts, cycle: int, model: CarrierModel, side: str) -> None:
    """Outline, phantoms, and each hole with its centre lines and label."""
    from ezdxf.enums import TextEntityAlignment

    for ring in outline(facts, model):
        space.add_lwpolyline([tuple(p) for p in ring], close=True, dxfattribs={"layer": "OUTLINE"})
    for ring in phantoms(facts, cycle, model, side):
        space.add_lwpolyline([tuple(p) for p in ring], close=True, dxfattribs={"layer": "PHANTOM"})
    for hole in (h for h in model.holes if h.side == side):
        space.add_circle((hole.x, hole.y), hole.diameter / 2, dxfattribs={"layer": "HOLES"})
        reach = hole.diameter / 2 + 1.0
        for dx, dy in ((reach, 0.0), (0.0, reach)):
            ends = (hole.x - dx, hole.y - dy), (hole.x + dx, hole.y + dy)
            space.add_line(*ends, dxfattribs={"layer": "CENTRE"})
        text = space.add_text(hole.label, height=2.0, dxfattribs={"layer": "TEXT"})
        text.set_placement((hole.x, hole.y - hole.diameter / 2 - 2.6), align=TextEntityAlignment.MIDDLE_CENTER)


@contextmanager
def _fixed_dates() -> Iterator[None]:
    """Dates and ids that change from run to run held constant, so that the same plan gives the same bytes."""
    import ezdxf

    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before


def _table(space: Any, model: CarrierModel, side: str, identity: str) -> None:
    """The hole table to the right of the side, with the plan's identity under it."""
    rows: list[tuple[str, ...]] = [
        ("hole", "x", "y", "size", "depth"),
        *(hole_row(h) for h in model.holes if h.side == side),
    ]
    rows.append((f"{model.carrier.id} {side}, plan {identity}",))
    right = max(abs(h.x) for h in model.holes) + 40.0
    for k, row in enumerate(rows):
        for c, text in enumerate(row):
            place = (right + 24.0 * c, 60.0 - 4.0 * k)
            space.add_text(text, height=2.5, dxfattribs={"layer": "TEXT"}).set_placement(place)


def hole_row(hole: Hole) -> tuple[str, str, str, str, str]:
    """Label, x, y, size and depth in mm as the table prints them."""
    if hole.thread:
        size, depth = hole.thread, f"{hole.thread_depth:.1f} / {hole.depth:.1f}"
    else:
        size, depth = f"{hole.diameter:g} {hole.fit}", f"{hole.depth:.1f}"
    return hole.label, f"{hole.x:.3f}", f"{hole.y:.3f}", size, depth


def outline(facts: Facts, model: CarrierModel) -> list[np.ndarray]:
    """The side's whole face, mm in its frame."""
    from palletwright.papers.carriers import _half

    x, y = _half(facts, model.placing)
    return [np.array([(-x, -y), (x, -y), (x, y), (-x, y)])]


def phantoms(facts: Facts, cycle: int, model: CarrierModel, side: str) -> list[np.ndarray]:
    """Outlines of the parts on one side, mm in its frame."""
    rows = facts.way["scene"]["cycles"][cycle]["sides"]
    here = [s for s in rows if s["mount"] == model.placing.mount and s["side"] == side]
    return [
        np.asarray(ring)
        for s in here
        for station in s["stations"]
        for body in station["bodies"]
        if body["id"].startswith("part")
        for ring in body["rings"][:1]
    ]


def drawing_sheet(facts: Facts, cycle: int, model: CarrierModel, paper: str) -> Sheet:
    """The carrier's drawing as sheets: one side after the other, its picture to scale and its hole table."""
    w = facts.words
    wide, high = room(paper, landscape=True)
    blocks: list[Block] = []
    pictures = {}
    for k, side in enumerate(side_names(model)):
        if k:
            blocks.append(new_page())
        holes = [h for h in model.holes if h.side == side]
        shapes = outline(facts, model), phantoms(facts, cycle, model, side)
        svg, scale = drawn_side(*shapes, [(h.x, h.y, h.diameter, h.label) for h in holes], wide, 0.8 * high)
        pictures[f"side{k + 1}"] = svg
        blocks.append(words(w.say("draw_side", side=side, scale=w.number(scale, 2), n=len(holes)), "big"))
        blocks += [picture(f"side{k + 1}"), words(w.say("draw_note"), "small"), _hole_tables(facts, holes)]
    if model.notes:
        blocks.append(words(w.say("draw_open") + " " + "; ".join(model.notes), "small"))
    return Sheet(
        w.say("draw_title", carrier=model.carrier.id),
        head(facts, cycle),
        facts.identity,
        w.say("page"),
        (w.say("draw_tolerance"),),
        tuple(blocks),
        pictures,
        True,
    )


def _hole_tables(facts: Facts, holes: list[Hole]) -> Block:
    w, unit = facts.words, facts.words.length_unit
    titles = [w.say("draw_hole"), f"x [{unit}]", f"y [{unit}]", w.say("draw_size"), w.say("draw_depth", unit=unit)]
    rows = []
    for h in holes:
        depth = w.length(h.depth, 1) if not h.thread else f"{w.length(h.thread_depth, 1)} / {w.length(h.depth, 1)}"
        size = h.thread or f"Ø {w.length(h.diameter, 2)} {h.fit}"
        rows.append([h.label, w.length(h.x, 3), w.length(h.y, 3), size, depth, h.device])
    titles.append(w.say("draw_for"))
    if len(rows) <= ONE_COLUMN:
        return table(titles, rows, "lrrlrl")
    half = (len(rows) + 1) // 2
    return side_by_side([table(titles, rows[:half], "lrrlrl")], [table(titles, rows[half:], "lrrlrl")])
