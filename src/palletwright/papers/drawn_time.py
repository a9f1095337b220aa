"""A cycle as a time bar in SVG: rows of equal length, a lane for each kind of second."""

from __future__ import annotations

from collections.abc import Callable
from math import ceil

from palletwright.papers.report_words import Data, Html

Place = Callable[[float], float]
LEFT, WIDE, LEAST = 74.0, 740.0, 1.3
ROW_SECONDS, MOST_ROWS, ROW_HIGH = 660.0, 8, 98.0
LANES = {"cut": (20.0, 16.0), "rapid": (38.0, 10.0), "tool change": (50.0, 10.0), "index": (62.0, 10.0)}
"""y and height of each lane in its row; other kinds share the lane of tool changes."""
STEPS = (10, 15, 30, 60, 120, 300, 600, 1200, 3600)


def time_bar(cycle: Data) -> Html:
    """The cycle from left to right, row after row; lanes tell the kinds apart, colour only helps."""
    total = cycle["seconds"]
    if not cycle["events"] or total <= 0:
        return Html("")
    rows = min(MOST_ROWS, max(1, ceil(total / ROW_SECONDS)))
    span = total / rows
    high = rows * ROW_HIGH
    shapes = "".join(_row(cycle["events"], r * span, (r + 1) * span, r * ROW_HIGH, total) for r in range(rows))
    said = f"time bar of the cycle, {rows} rows of {span / 60:.1f} minutes"
    return Html(
        f'<div class="wide"><svg class="time" viewBox="0 0 {LEFT + WIDE + 16:.0f} {high:.0f}" role="img" '
        f'aria-label="{said}">{shapes}</svg></div>'
    )


def _row(events: list[Data], start: float, end: float, top: float, total: float) -> str:
    scale = WIDE / (end - start)
    seen = [e for e in events if e["start"] < end and e["start"] + e["seconds"] > start]

    def at(seconds: float) -> float:
        return LEFT + (min(max(seconds, start), end) - start) * scale

    shapes = [f'<text x="0" y="{top + y + h - 1:.0f}" class="soft">{kind}</text>' for kind, (y, h) in LANES.items()]
    shapes.append(f'<text x="0" y="{top + 82:.0f}" class="soft">angle</text>')
    shapes.append(f'<text x="0" y="{top + 14:.0f}" class="soft">tool</text>')
    for kind, (y, h) in LANES.items():
        path = "".join(
            f"M{at(e['start']):.1f} {top + y:.0f}h{max(at(e['start'] + e['seconds']) - at(e['start']), LEAST):.1f}"
            f"v{h:.0f}H{at(e['start']):.1f}z"
            for e in seen
            if (e["what"] if e["what"] in LANES else "tool change") == kind
        )
        shapes.append(f'<path d="{path}" class="lane-{kind.replace(" ", "-")}"/>')
    shapes += _spans(seen, "tool", "T", at, top + 14, top + 17)
    shapes += _spans(seen, "angle", "", at, top + 82, top + 72)
    return "".join(shapes) + _marks(start, end, at, top, total)


def _spans(seen: list[Data], key: str, before: str, at: Place, text: float, line: float) -> list[str]:
    """Runs of one tool or one angle: a line under or over the lanes, named where there is room."""
    runs: list[list[float]] = []
    for e in seen:
        if runs and runs[-1][0] == e[key]:
            runs[-1][2] = e["start"] + e["seconds"]
        else:
            runs.append([e[key], e["start"], e["start"] + e["seconds"]])
    shapes = []
    for value, a, b in runs:
        x0, x1 = at(a), at(b)
        name = f"{before}{value:g}{'' if before else '°'}"
        shapes.append(f'<path d="M{x0:.1f} {line - 3:.0f}v3H{x1:.1f}" class="span-line"><title>{name}</title></path>')
        if x1 - x0 > 7 * len(name) + 3:
            shapes.append(f'<text x="{(x0 + x1) / 2:.1f}" y="{text:.0f}" class="ink mid">{name}</text>')
    return shapes


def _marks(start: float, end: float, at: Place, top: float, total: float) -> str:
    step = next((s for s in STEPS if (end - start) / s <= 12), 7200)
    first = ceil(start / step)
    marks = []
    while first * step <= end + 1e-9:
        t = first * step
        first += 1
        if t >= end - 1e-9 and end < total - 1e-9:
            continue
        label = f"{t / 60:g}"
        marks.append(
            f'<path d="M{at(t):.1f} {top + 20:.0f}v68" class="grid"/>'
            f'<text x="{at(t):.1f}" y="{top + 95:.0f}" class="soft mid small">{label} min</text>'
        )
    return "".join(marks)
