"""Engraved marks of a carrier: side letters, station numbers, direction arrows, as strokes, grooves and a program."""

from __future__ import annotations

import string
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, box
from shapely.geometry.base import BaseGeometry

from palletwright.solid.primitives import Extrusion, Shape, placed

Floats = NDArray[np.float64]

WIDTH, DEPTH = 0.5, 0.3
"""mm: groove of an engraving cutter: common practice, no source."""

HEIGHTS = (6.0, 4.0, 3.0)
"""mm, letter heights tried, largest first."""

AROUND, STEP = 60.0, 2.0
"""mm: how far from its station a mark may stand, and the grid of places tried."""

STROKES: dict[str, tuple[tuple[tuple[float, float], ...], ...]] = {
    "0": (((0.18, 1), (0, 0.8), (0, 0.2), (0.18, 0), (0.42, 0), (0.6, 0.2), (0.6, 0.8), (0.42, 1)),),
    "1": (((0.15, 0.8), (0.35, 1), (0.35, 0)),),
    "2": (((0, 0.8), (0.2, 1), (0.45, 1), (0.6, 0.8), (0.6, 0.62), (0, 0), (0.6, 0)),),
    "3": (((0, 1), (0.6, 1), (0.25, 0.58), (0.45, 0.58), (0.6, 0.42), (0.6, 0.15), (0.45, 0), (0, 0)),),
    "4": (((0.42, 0), (0.42, 1), (0, 0.3), (0.26, 0.3)),),
    "5": (((0.6, 1), (0.05, 1), (0, 0.55), (0.4, 0.55), (0.6, 0.4), (0.6, 0.15), (0.45, 0), (0, 0)),),
    "6": (((0.55, 1), (0.2, 1), (0, 0.7), (0, 0.15), (0.15, 0), (0.45, 0), (0.6, 0.15), (0.6, 0.4), (0.45, 0.55),
           (0.28, 0.55)),),
    "7": (((0, 1), (0.6, 1), (0.2, 0)),),
    "8": (((0.25, 0.55), (0.12, 0.55), (0, 0.7), (0, 0.88), (0.14, 1), (0.46, 1), (0.6, 0.88), (0.6, 0.7),
           (0.48, 0.55)), ((0.18, 0.32), (0, 0.32), (0, 0.12), (0.14, 0), (0.46, 0), (0.6, 0.12), (0.6, 0.32),
           (0.42, 0.32))),
    "9": (((0.05, 0), (0.4, 0), (0.6, 0.3), (0.6, 0.85), (0.45, 1), (0.15, 1), (0, 0.85), (0, 0.6), (0.15, 0.45),
           (0.32, 0.45)),),
    ".": (((0.1, 0), (0.1, 0.1)),),
    "A": (((0, 0), (0.3, 1), (0.6, 0)), ((0.25, 0.3), (0.35, 0.3))),
    "B": (((0, 0.12), (0, 1), (0.45, 1), (0.55, 0.9), (0.55, 0.65), (0.45, 0.56), (0.2, 0.56)),
          ((0.14, 0), (0.48, 0), (0.6, 0.12), (0.6, 0.36))),
    "C": (((0.6, 0.85), (0.45, 1), (0.15, 1), (0, 0.8), (0, 0.2), (0.15, 0), (0.45, 0), (0.6, 0.15)),),
    "D": (((0, 0.12), (0, 1), (0.35, 1), (0.6, 0.75), (0.6, 0.25), (0.35, 0), (0.14, 0)),),
    "E": (((0.6, 1), (0, 1), (0, 0), (0.6, 0)), ((0.2, 0.52), (0.45, 0.52))),
    "F": (((0.6, 1), (0, 1), (0, 0)), ((0.2, 0.52), (0.45, 0.52))),
    "G": (((0.6, 0.85), (0.45, 1), (0.15, 1), (0, 0.8), (0, 0.2), (0.15, 0), (0.6, 0), (0.6, 0.42), (0.35, 0.42)),),
    "H": (((0, 0), (0, 1)), ((0.2, 0.52), (0.4, 0.52)), ((0.6, 0), (0.6, 1))),
    ">": (((0, 0.5), (1.1, 0.5)), ((0.75, 0.85), (1.3, 0.5), (0.75, 0.15))),
}  # fmt: skip
"""Open strokes of each sign in units of its height; open, so that what is between them never falls out."""


@dataclass(frozen=True, eq=False)
class Mark:
    """One engraved text on a side: polylines (n, 2) mm in the side frame, its letter height; what it tells."""

    text: str
    side: str
    strokes: tuple[Floats, ...]
    height: float
    about: str


def strokes_of(text: str, height: float) -> list[Floats]:
    """Polylines of a text from its left foot, mm.

    Raises KeyError for a sign that has no strokes: a fault of ours.
    """
    rows, x = [], 0.0
    for sign in text:
        wide = max(px for line in STROKES[sign] for px, _ in line)
        rows += [np.array([(x + px * height, py * height) for px, py in line]) for line in STROKES[sign]]
        x += (wide + 0.3) * height
    return rows


def side_letter(index: int) -> str:
    """A, B, C … of the sides of a carrier."""
    return string.ascii_uppercase[index]


def put_marks(
    side: str, letter: str, stations: Sequence[tuple[str, float, float]], free: BaseGeometry, best: BaseGeometry
) -> tuple[list[Mark], list[str]]:
    """Marks of one side where there is room for them.

    Parameters
    ----------
    stations : name and origin (x, y mm, side frame) of each
    free : where a mark may stand at all (also below a part, where it shows before loading)
    best : where it shows at any time; tried first

    Returns the marks, and the texts of those that found no room.
    """
    rows, missing = [], []
    left, low, right, high = free.bounds if not free.is_empty else (0.0, 0.0, 0.0, 0.0)
    wanted = [(name, x, y, f"station {name}") for name, x, y in stations]
    wanted.append((f"{letter}>", left, high, f"side {letter}; the arrow points along x"))
    for text, x, y, about in wanted:
        around = AROUND if about.startswith("station") else max(right - left, high - low)
        mark = _placed(text, side, np.array([x, y]), around, (best, free), about)
        if mark is None:
            missing.append(text)
            continue
        rows.append(mark)
        taken = shapely.union_all([LineString(s).buffer(WIDTH + 1.0) for s in mark.strokes])
        best, free = best.difference(taken), free.difference(taken)
    return rows, missing


def _placed(
    text: str, side: str, at: Floats, around: float, rooms: tuple[BaseGeometry, BaseGeometry], about: str
) -> Mark | None:
    """The largest mark in the better room, as near as can be."""
    for room in rooms:
        if room.is_empty:
            continue
        shapely.prepare(room)
        for height in HEIGHTS:
            lines = strokes_of(text, height)
            size = np.concatenate(lines).max(axis=0)
            n = int(around / STEP)
            grid = np.stack(np.meshgrid(*[np.arange(-n, n + 1) * STEP] * 2), axis=-1).reshape(-1, 2)
            grid = grid[np.argsort(np.hypot(*grid.T), kind="stable")]
            corners = at + grid - size / 2
            boxes = shapely.box(*(corners - WIDTH).T, *(corners + size + WIDTH).T)
            good = np.flatnonzero(shapely.contains(room, boxes))
            if len(good):
                foot = corners[good[0]].round(3)
                return Mark(text, side, tuple(line + foot for line in lines), height, about)
    return None


def room_for_marks(half: tuple[float, float], taken: Sequence[BaseGeometry], inset: float = 1.5) -> BaseGeometry:
    """A side of half-lengths (mm) without what stands on it."""
    x, y = half
    return box(-x + inset, -y + inset, x - inset, y - inset).difference(shapely.union_all(list(taken)))


def grooves(mark: Mark, side: Floats) -> list[Shape]:
    """What a mark takes away, in the carrier frame."""
    rows: list[Shape] = []
    for line in mark.strokes:
        ring = _groove(line)
        rows.append(placed(Extrusion(tuple((float(x), float(y)) for x, y in ring), -DEPTH, 1.0), side))
    return rows


def _groove(line: Floats) -> Floats:
    shape = LineString(line).buffer(WIDTH / 2, cap_style="square", join_style="mitre")
    return np.asarray(shape.exterior.coords)[:-1]


def groove_area(mark: Mark) -> float:
    """mm² at the mouth; strokes of one mark don't cross."""
    return float(sum(shapely.Polygon(_groove(line)).area for line in mark.strokes))


def engraving(marks: Sequence[Mark], title: str, identity: str) -> str:
    """A text program block that engraves the marks of one side, ISO 6983 words, mm, zero in the middle of the side.

    Speed, feed and tool are the programmer's: the block says where and how deep.
    """
    plain = "".join(c if c.isalnum() or c in " -./" else " " for c in f"{title} {identity}").upper()
    rows = ["%", f"({plain})", "(ENGRAVING, ZERO IN THE MIDDLE OF THE SIDE, Z0 ON ITS FACE)", "(SET TOOL, S AND F)"]
    rows += ["G21 G90 G17", "G0 Z5."]
    for mark in marks:
        rows.append(f"({mark.text.replace('>', ' ARROW X')})")
        for line in mark.strokes:
            (x, y), *rest = line
            rows += [f"G0 X{x:.3f} Y{y:.3f}", f"G1 Z-{DEPTH:.3f}"]
            rows += [f"G1 X{px:.3f} Y{py:.3f}" for px, py in rest]
            rows.append("G0 Z5.")
    return "\n".join([*rows, "M30", "%"]) + "\n"
