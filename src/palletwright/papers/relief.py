"""Relief in a carrier where a tool runs out below the part, with room for its chips."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from palletwright.cutting.model import Cut
from palletwright.grip.model import Grip
from palletwright.plan.options import moved_cut
from palletwright.shop.model import Tool
from palletwright.solid.primitives import Cut as Without
from palletwright.solid.primitives import Extrusion, Rod, Shape, placed

Floats = NDArray[np.float64]

GAP = 0.5
"""mm between a tool and the wall of its relief: common practice, no source."""

CHIPS = 2.0
"""mm below the deepest tip that a closed relief keeps for chips: common practice, no source."""

SMOOTH = 0.05
"""mm that a milled relief's outline may stand outside the tool's true way."""


@dataclass(frozen=True, eq=False)
class Pocket:
    """One relief: outline and islands on the side (mm, side frame), `depth` mm; `diameter` where it is one round hole
    about `centre`; `cuts` name what runs out into it."""

    label: str
    side: str
    outline: Floats
    islands: tuple[Floats, ...]
    depth: float
    diameter: float | None
    centre: tuple[float, float]
    station: str
    cuts: tuple[str, ...]

    @property
    def area(self) -> float:
        """mm² at the mouth."""
        if self.diameter is not None:
            return float(np.pi * self.diameter**2 / 4)
        return float(Polygon(self.outline, self.islands).area)


@dataclass(frozen=True, eq=False)
class RunOut:
    """What one cut takes below the seat: region in the station frame, lowest tip (mm, negative), `round` about one
    axis: centre and radius."""

    region: Polygon
    low: float
    cut: str
    round: tuple[float, float, float] | None


def run_outs(grip: Grip, cuts: Sequence[Cut], tools: dict[int, Tool]) -> tuple[list[RunOut], list[tuple[str, float]]]:
    """Every cut of an operation that reaches below the side's face, station frame, and what can't be relieved.

    A tool along the side's normal gets relief; one that lies across the side and reaches below its face is named with
    its radius (mm).
    """
    rows: list[RunOut] = []
    notes: list[tuple[str, float]] = []
    for pose in grip.poses:
        for cut in cuts:
            tips, direction, _ = moved_cut(pose, cut)
            stack = tools[cut.tool].stack()
            if direction[2] < 1.0 - 1e-6:
                radius = max(r for r, _, _ in stack)
                if abs(direction[2]) < 1e-6 and float(tips[:, 2].min()) - stack[0][0] < -1e-6:
                    notes.append((cut.id, radius))
                continue
            rows += _below(cut, tips, stack)
    return rows, notes


def _below(cut: Cut, tips: Floats, stack: Sequence[tuple[float, float, float]]) -> list[RunOut]:
    """One cut's region under the face, from each disc of its stack that gets there."""
    rows = []
    for radius, start, _ in stack:
        low = tips[tips[:, 2] + start < -1e-6]
        if not len(low):
            continue
        spots = np.unique(low[:, :2].round(4), axis=0)
        bottom = float(low[:, 2].min()) + start
        if len(spots) == 1:
            x, y = (float(v) for v in spots[0])
            region = shapely.Point(x, y).buffer(radius + GAP, quad_segs=32)
            rows.append(RunOut(region, bottom, cut.id, (x, y, radius + GAP)))
        else:
            region = shapely.MultiPoint(spots).buffer((radius + GAP) / np.cos(np.pi / 32), quad_segs=8)
            parts = getattr(region, "geoms", [region])
            rows += [RunOut(p, bottom, cut.id, None) for p in parts]
    return rows


def pockets(side: str, station: str, pose: Floats, outs: Sequence[RunOut], first: int) -> list[Pocket]:
    """Reliefs of one station; run-outs that meet are one pocket.

    Parameters
    ----------
    pose : T_side_station, plane moves only
    first : number of the first label
    """
    rows: list[Pocket] = []
    for group in _joined(outs):
        depth = round(CHIPS - min(o.low for o in group), 3)
        names = tuple(dict.fromkeys(o.cut for o in group))
        widest = max(group, key=lambda o: o.region.area)
        label = f"P{first + len(rows)}"
        if widest.round is not None and all(_within(o, widest) for o in group):
            x, y, radius = widest.round
            centre = _moved(np.array([[x, y]]), pose)[0].round(6)
            ring = np.asarray(widest.region.exterior.coords)[:-1]
            at = float(centre[0]), float(centre[1])
            rows.append(Pocket(label, side, _moved(ring, pose), (), depth, 2 * radius, at, station, names))
            continue
        region = shapely.unary_union([o.region for o in group]).buffer(SMOOTH / 2).simplify(SMOOTH / 2)
        for part in getattr(region, "geoms", [region]):
            ring = _moved(np.asarray(part.exterior.coords)[:-1], pose)
            islands = tuple(_moved(np.asarray(i.coords)[:-1], pose) for i in part.interiors)
            at = tuple(ring.mean(axis=0))
            label = f"P{first + len(rows)}"
            rows.append(Pocket(label, side, ring, islands, depth, None, (float(at[0]), float(at[1])), station, names))
    return rows


def _within(out: RunOut, widest: RunOut) -> bool:
    if out.round is None or widest.round is None:
        return False
    away = np.hypot(out.round[0] - widest.round[0], out.round[1] - widest.round[1])
    return bool(away + out.round[2] <= widest.round[2] + 1e-6)


def _joined(outs: Sequence[RunOut]) -> list[list[RunOut]]:
    """Run-outs whose regions meet, together."""
    groups: list[list[RunOut]] = []
    for out in outs:
        near = [g for g in groups if any(o.region.intersects(out.region) for o in g)]
        groups = [g for g in groups if g not in near] + [[*(o for g in near for o in g), out]]
    return groups


def _moved(points: Floats, pose: Floats) -> Floats:
    return np.asarray(points @ pose[:2, :2].T + pose[:2, 3])


def milled(pocket: Pocket, side: Floats) -> Shape:
    """What a relief takes away, in the carrier frame; `side` is T_carrier_side."""
    if pocket.diameter is not None:
        x, y = pocket.centre
        rod = Rod((x, y, -pocket.depth), (0.0, 0.0, 1.0), pocket.diameter / 2, pocket.depth + 1.0)
        return placed(rod, side)
    body: Shape = Extrusion(_ring(pocket.outline), -pocket.depth, 1.0)
    if pocket.islands:
        body = Without(body, tuple(Extrusion(_ring(i), -pocket.depth - 1.0, 2.0) for i in pocket.islands))
    return placed(body, side)


def _ring(points: Floats) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in points)
