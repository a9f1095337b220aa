"""Pictures in paper millimetres: the machine with its carriers from three sides, and a side as the operator sees it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from typing import Any

import numpy as np
from numpy.typing import NDArray

from palletwright.papers.facts import Facts
from palletwright.papers.typeset import FONT
from palletwright.solid import Mesh, footprint

Floats = NDArray[np.float64]
Ring = Sequence[Sequence[float]]

VIEWS: dict[str, tuple[tuple[float, float, float], tuple[float, float, float]]] = {
    "above": ((0.0, 0.0, 1.0), (1.0, 0.0, 0.0)),
    "front": ((0.0, -1.0, 0.0), (1.0, 0.0, 0.0)),
    "right": ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0)),
}
"""Towards the viewer, and to the right on the sheet, in the machine frame."""

GREYS = {
    "table": "#f4f4f4",
    "carrier": "#e2e2e2",
    "vise": "#e2e2e2",
    "rotary": "#cfcfcf",
    "tailstock": "#cfcfcf",
    "part": "#ffffff",
    "clamp": "#9a9a9a",
    "locator": "#5c5c5c",
}
SMALLEST = 2.7
"""mm, least letter height of a picture's labels (7.6 pt)."""


def machine_view(facts: Facts, cycle: int, view: str, width: float, height: float) -> str:
    """All bodies of a cycle at angle zero as SVG within `width` × `height` mm; nearer ones cover farther ones.

    From the right the rotary unit and its tailstock are left out: they would hide the carrier's end.
    """
    towards, right = (np.asarray(v) for v in VIEWS[view])
    frame = np.stack([right, np.cross(towards, right), towards], axis=1)
    shapes: dict[tuple[str, bytes], tuple[list[Floats], float]] = {}
    drawn = []
    for body in facts.bodies(cycle):
        if view == "right" and body["kind"] in ("rotary", "tailstock"):
            continue
        pose = np.reshape(body["pose"], (4, 4))
        turn = np.round(pose[:3, :3], 6) + 0.0
        key = (body["mesh"], turn.tobytes())
        if key not in shapes:
            shapes[key] = _shadow(facts.meshes[body["mesh"]], frame, pose[:3, :3])
        rings, near = shapes[key]
        shift = frame.T @ pose[:3, 3]
        drawn.append((near + float(shift[2]), body["kind"], [r + shift[:2] for r in rings]))
    drawn.sort(key=lambda row: (row[1] != "table", row[0]))
    points = np.concatenate([p for _, kind, rings in drawn for p in rings if kind != "table" or view == "above"])
    scale, place = _fit(points, width, height)
    parts = [
        f'<path d="{_path(rings, place)}" fill="{GREYS[kind]}" fill-rule="evenodd" stroke="#000" '
        f'stroke-width="{0.25 if kind in ("part", "carrier", "vise") else 0.15}"/>'
        for _, kind, rings in drawn
    ]
    return _svg(parts, points, scale)


def side_view(side: dict[str, Any], order: dict[str, int], width: float, height: float) -> str:
    """A side seen against its normal as SVG: parts white with their place in the order of loading, clamps hatched
    by grey, locators dark; scale as large as `width` × `height` mm allows."""
    rings = [np.asarray(r, np.float64) for r in side["area"]]
    bodies = [
        (s, b["id"], [np.asarray(r, np.float64) for r in b["rings"]]) for s in side["stations"] for b in s["bodies"]
    ]
    points = np.concatenate([*rings, *(r for _, _, group in bodies for r in group)])
    scale, place = _fit(points, width, height)
    parts = [f'<path d="{_path(rings, place)}" fill="#efefef" stroke="#000" stroke-width="0.35"/>']
    labels = []
    for station, name, group in sorted(bodies, key=lambda row: row[1].startswith("part")):
        kind = _kind(name)
        parts.append(
            f'<path d="{_path(group, place)}" fill="{GREYS[kind]}" fill-rule="evenodd" stroke="#000" '
            f'stroke-width="{0.5 if kind == "part" else 0.2}"/>'
        )
        if kind == "part":
            part = station["parts"][int(name.removeprefix("part")) - 1]
            middle = (np.concatenate(group).min(axis=0) + np.concatenate(group).max(axis=0)) / 2
            labels.append((place(middle[None])[0], part, order[part], _room(group, scale)))
    for at, part, number, room in labels:
        size = min(7.0, max(SMALLEST, 0.42 * room))
        parts.append(_text(at[0], at[1] + 0.1 * size, str(number), size, bold=True))
        parts.append(_text(at[0], at[1] + 0.1 * size + SMALLEST * 1.25, part, SMALLEST))
    return _svg(parts, points, scale)


def _kind(name: str) -> str:
    """Part, locator or clamp by the device's name in its grip (locators: stops, rails, pins, rests, fixed jaws)."""
    if name.startswith("part"):
        return "part"
    return "locator" if any(w in name for w in ("stop", "rail", "pin", "rest", "seat", "fixed", "locator")) else "clamp"


def _room(group: list[Floats], scale: float) -> float:
    span = np.ptp(np.concatenate(group), axis=0) * scale
    return float(min(span))


def _shadow(mesh: Mesh, frame: Floats, turn: Floats) -> tuple[list[Floats], float]:
    """Outline rings of a turned mesh in the view's plane about its own origin, and how near it comes."""
    local = turn.T @ frame
    shape = footprint(mesh, local[:, 2], local)
    rings = [np.asarray(r.coords) for g in shape.geoms for r in (g.exterior, *g.interiors)]
    return rings, float((mesh.vertices @ local[:, 2]).max())


def _fit(points: Floats, width: float, height: float) -> tuple[float, Any]:
    """Paper mm per mm, and the map from drawing to paper (y down)."""
    low, high = points.min(axis=0), points.max(axis=0)
    scale = min((width - 1.0) / (high[0] - low[0]), (height - 1.0) / (high[1] - low[1]))

    def place(p: Floats) -> Floats:
        return np.column_stack([(p[:, 0] - low[0]) * scale + 0.5, (high[1] - p[:, 1]) * scale + 0.5])

    return scale, place


def _path(rings: Iterable[Floats], place: Any) -> str:
    return " ".join("M" + "L".join(f"{x:.3f} {y:.3f}" for x, y in place(r)) + "Z" for r in rings)


def _text(x: float, y: float, text: str, size: float, bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-family="{FONT}" font-size="{size:.2f}" text-anchor="middle"{weight}>'
        f"{escape(text)}</text>"
    )


def _svg(parts: list[str], points: Floats, scale: float) -> str:
    w, h = np.ptp(points, axis=0) * scale + 1.0
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w:.3f}mm" height="{h:.3f}mm" viewBox="0 0 {w:.3f} {h:.3f}">'
    )
    return head + "".join(parts) + "</svg>"
