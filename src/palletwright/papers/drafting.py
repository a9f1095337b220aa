"""A drawing as lines, circles and texts in millimetres of its sheet at 1:1, written as SVG and as DXF."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from html import escape
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from palletwright.papers.typeset import FONT

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]
Anchor = Literal["start", "middle", "end"]

LAYERS: dict[str, tuple[int, str, float]] = {
    "OUTLINE": (7, "CONTINUOUS", 0.5),
    "HOLES": (1, "CONTINUOUS", 0.35),
    "RELIEF": (5, "CONTINUOUS", 0.35),
    "ENGRAVE": (6, "CONTINUOUS", 0.25),
    "CENTRE": (4, "CENTER", 0.18),
    "HIDDEN": (8, "DASHED", 0.25),
    "PHANTOM": (8, "PHANTOM", 0.18),
    "HATCH": (9, "CONTINUOUS", 0.13),
    "DIMENSIONS": (2, "CONTINUOUS", 0.18),
    "TEXT": (3, "CONTINUOUS", 0.18),
    "FRAME": (7, "CONTINUOUS", 0.7),
}
"""Layer: colour number, line type, mm of line width (groups of ISO 128: 0.5 wide, 0.25 narrow)."""

DASHES = {"CENTER": "6 1 1 1", "DASHED": "2.5 1", "PHANTOM": "5 1 0.8 1 0.8 1"}

LETTER = 2.5
"""mm, height of the smallest lettering (ISO 3098; 7.1 pt)."""

WIDTHS = {
    letter: wide
    for wide, letters in (
        (0.25, "ijl'"), (0.3, "IJ,. ·"), (0.35, "f-/:;\\|"), (0.4, "rt!()[]²³"), (0.45, '"*_`°–'), (0.5, "csz?"),
        (0.55, "kvxyFLPTY"), (0.6, "0123456789abdeghnopquEKS${}äöüßøµ"), (0.65, "ABCRVXZÄ"), (0.7, "DGHNUÜ"),
        (0.75, "wOQ&ÖØ"), (0.8, "M#+<=>^~×±≤→"), (0.9, "mW%@…"),
    )
    for letter in letters
}  # fmt: skip
"""Advance of each letter of the papers' font over its size, rounded up to 0.05; read from the font."""

UNKNOWN = 1.0
"""Advance over the size of a letter that isn't in the table: none of the font's Latin letters is wider."""


def breadth(text: str, size: float = LETTER) -> float:
    """mm that a text is wide, never less than printed."""
    return size * sum(WIDTHS.get(letter, UNKNOWN) for letter in text)


@dataclass(frozen=True, eq=False)
class Line:
    """A polyline (n, 2) mm."""

    points: Floats
    layer: str
    closed: bool = False


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle, mm."""

    x: float
    y: float
    radius: float
    layer: str


@dataclass(frozen=True, slots=True)
class Text:
    """A text whose foot begins, is centred or ends at (x, y) mm; `size` mm."""

    x: float
    y: float
    text: str
    size: float = LETTER
    anchor: Anchor = "start"

    @property
    def box(self) -> Box:
        """(left, low, right, high) mm; never smaller than what is printed."""
        wide = breadth(self.text, self.size)
        left = self.x - {"start": 0.0, "middle": wide / 2, "end": wide}[self.anchor]
        return left, self.y - 0.25 * self.size, left + wide, self.y + 0.8 * self.size


Entity = Line | Circle | Text


def moved(rows: Sequence[Entity], dx: float, dy: float) -> list[Entity]:
    """Everything shifted by (dx, dy) mm."""
    out: list[Entity] = []
    for row in rows:
        if isinstance(row, Line):
            out.append(Line(row.points + np.array([dx, dy]), row.layer, row.closed))
        elif isinstance(row, Circle):
            out.append(Circle(row.x + dx, row.y + dy, row.radius, row.layer))
        else:
            out.append(Text(row.x + dx, row.y + dy, row.text, row.size, row.anchor))
    return out


def extent(rows: Sequence[Entity]) -> Box:
    """(left, low, right, high) mm of everything."""
    boxes = []
    for row in rows:
        if isinstance(row, Line):
            boxes.append((*row.points.min(axis=0), *row.points.max(axis=0)))
        elif isinstance(row, Circle):
            boxes.append((row.x - row.radius, row.y - row.radius, row.x + row.radius, row.y + row.radius))
        else:
            boxes.append(row.box)
    table = np.array(boxes)
    low, high = table[:, :2].min(axis=0), table[:, 2:].max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def rectangle(x0: float, y0: float, x1: float, y1: float, layer: str) -> Line:
    """A closed rectangle."""
    return Line(np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]), layer, True)


def segment(x0: float, y0: float, x1: float, y1: float, layer: str) -> Line:
    """One straight line."""
    return Line(np.array([(x0, y0), (x1, y1)]), layer)


def labelled(
    spots: Sequence[tuple[float, float, float, str]], taken: Sequence[Box], size: float = LETTER
) -> list[Entity]:
    """A label for every circle (x, y, radius, text), none on another, on a circle or on what is `taken`.

    Labels that find no room beside their circle stand farther off with a leader line.
    """
    boxes = [*taken, *((x - r, y - r, x + r, y + r) for x, y, r, _ in spots)]
    rows: list[Entity] = []
    for x, y, r, text in spots:
        for dx, dy in _places(r, size, breadth(text, size)):
            label = Text(x + dx, y + dy, text, size, "middle")
            if any(meet(label.box, b) for b in boxes):
                continue
            boxes.append(label.box)
            rows.append(label)
            if np.hypot(dx, dy + 0.3 * size) > r + 2.6 * size:
                rows.append(_leader(x, y, r, label))
            break
        else:
            raise RuntimeError(f"no room for label {text}")
    return rows


def _places(r: float, size: float, wide: float) -> Iterator[tuple[float, float]]:
    """Offsets of a label's foot from its circle: below, above, at the sides, then in growing rings."""
    yield 0.0, -r - 0.9 * size
    yield 0.0, r + 0.35 * size
    yield r + wide / 2 + 0.3 * size, -0.3 * size
    yield -r - wide / 2 - 0.3 * size, -0.3 * size
    for ring in range(1, 60):
        reach = r + (1.0 + 0.8 * ring) * size
        for k in range(24):
            angle = 2 * np.pi * k / 24 - np.pi / 2
            yield (reach + wide / 2) * float(np.cos(angle)), reach * float(np.sin(angle)) - 0.3 * size


def _leader(x: float, y: float, r: float, label: Text) -> Line:
    """From the circle's rim to the nearest place of the label's box."""
    left, low, right, high = label.box
    end = np.array([min(max(x, left), right), min(max(y, low), high)])
    way = end - np.array([x, y])
    start = np.array([x, y]) + way / np.linalg.norm(way) * r
    return Line(np.stack([start, end]), "DIMENSIONS")


def meet(a: Box, b: Box) -> bool:
    """Whether two boxes overlap."""
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def hatched(region: Any, pitch: float = 5.0) -> list[Entity]:
    """Lines at 45 degrees over a region, for what a section cuts."""
    if region.is_empty:
        return []
    left, low, right, high = region.bounds
    reach = high - low
    starts = np.arange(np.floor((left - reach) / pitch) * pitch, right, pitch)
    lines = shapely.MultiLineString([[(s, low), (s + reach, high)] for s in starts]).intersection(region)
    parts = getattr(lines, "geoms", [lines])
    return [Line(np.asarray(p.coords), "HATCH") for p in parts if p.geom_type == "LineString" and p.length > 0.3]


def dimension(a: tuple[float, float], b: tuple[float, float], off: float, text: str) -> list[Entity]:
    """A dimension between two points on one level (or above each other), `off` mm beside them."""
    level = a[1] == b[1]
    shift = np.array([0.0, off]) if level else np.array([off, 0.0])
    p, q = np.array(a) + shift, np.array(b) + shift
    way = (q - p) / np.linalg.norm(q - p)
    side = np.array([-way[1], way[0]])
    rows: list[Entity] = [Line(np.stack([p, q]), "DIMENSIONS")]
    beyond = shift / abs(off) * 1.5
    rows += [
        Line(np.stack([np.array(e) + shift / abs(off), np.array(e) + shift + beyond]), "DIMENSIONS") for e in (a, b)
    ]
    for tip, sign in ((p, 1.0), (q, -1.0)):
        rows.append(
            Line(np.stack([tip + sign * 3 * way + 0.5 * side, tip, tip + sign * 3 * way - 0.5 * side]), "DIMENSIONS")
        )
    middle = (p + q) / 2
    if level:
        rows.append(Text(float(middle[0]), float(middle[1]) + 0.8, text, 3.5, "middle"))
    else:
        rows.append(Text(float(middle[0]) + 1.5, float(middle[1]) - 1.2, text, 3.5, "start"))
    return rows


def as_svg(rows: Sequence[Entity], width: float, height: float) -> str:
    """The drawing as SVG in mm on a sheet whose left lower corner is the origin."""
    parts = []
    for row in rows:
        if isinstance(row, Text):
            parts.append(
                f'<text x="{row.x:.3f}" y="{height - row.y:.3f}" font-family="{FONT}" font-size="{row.size:.2f}" '
                f'text-anchor="{row.anchor}">{escape(row.text)}</text>'
            )
            continue
        _, kind, wide = LAYERS[row.layer]
        pen = f'fill="none" stroke="#000" stroke-width="{wide}"'
        if kind in DASHES:
            pen += f' stroke-dasharray="{DASHES[kind]}"'
        if isinstance(row, Circle):
            parts.append(f'<circle cx="{row.x:.4f}" cy="{height - row.y:.4f}" r="{row.radius:.4f}" {pen}/>')
        else:
            path = "L".join(f"{x:.3f} {height - y:.3f}" for x, y in row.points) + ("Z" if row.closed else "")
            parts.append(f'<path d="M{path}" {pen}/>')
    size = f'width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>' + "".join(parts) + "</svg>"


def as_dxf(rows: Sequence[Entity]) -> str:
    """The drawing as DXF in mm at 1:1."""
    import ezdxf
    from ezdxf.enums import TextEntityAlignment

    align = {
        "start": TextEntityAlignment.LEFT,
        "middle": TextEntityAlignment.CENTER,
        "end": TextEntityAlignment.RIGHT,
    }
    with _fixed_dates():
        document = ezdxf.new("R2010", setup=["linetypes"], units=4)
        document.header["$MEASUREMENT"] = 1
        for name, (colour, kind, wide) in LAYERS.items():
            layer = document.layers.add(name, color=colour, linetype=kind)
            layer.dxf.lineweight = round(100 * wide)
        space = document.modelspace()
        for row in rows:
            if isinstance(row, Text):
                text = space.add_text(row.text, height=0.73 * row.size, dxfattribs={"layer": "TEXT"})
                text.set_placement((row.x, row.y), align=align[row.anchor])
            elif isinstance(row, Circle):
                space.add_circle((row.x, row.y), row.radius, dxfattribs={"layer": row.layer})
            else:
                points = [(float(x), float(y)) for x, y in row.points]
                space.add_lwpolyline(points, close=row.closed, dxfattribs={"layer": row.layer})
        out = io.StringIO()
        document.write(out)
    return out.getvalue()


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
