"""How far thin walls and spans of the part give under the tool, against the drawing or the general tolerance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from palletwright.cutting.model import Cut
from palletwright.grip.pressing import MODULUS
from palletwright.holding.give import ESTIMATE_LIMIT, Give, span_give, wall_estimate, wall_give
from palletwright.holding.walls import Wall, thin_walls
from palletwright.plan.context import Context
from palletwright.plan.directions import same
from palletwright.plan.model import Design, OperationChoice
from palletwright.plan.options import Option
from palletwright.plan.toleranced import toleranced
from palletwright.solid import footprint
from palletwright.solid.model import Mesh
from palletwright.verdict import Margin, Reason, Vec

GENERAL = ((6.0, 0.1), (30.0, 0.2), (120.0, 0.3), (400.0, 0.5))
"""mm of size up to which, ± mm: ISO 2768-1 class m, from memory, unconfirmed. It stands where the drawing says none."""

BESIDE = 1.5
"""mm past its radius within which a cutter counts as cutting a wall: the tips' own grid, estimated."""

MILLED = ("rough", "finish")


class Gives(NamedTuple):
    """What the drawing limits, as margins; what passes a share of the general tolerance, in words."""

    margins: tuple[Margin, ...]
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class _Pushed:
    """A wall, the cut that pushes it most, and the force (N)."""

    wall: Wall
    cut: Cut
    force: float


def gives_of(context: Context, design: Design, choice: OperationChoice, option: Option) -> Gives:
    """Every thin wall that an operation cuts, and the span between the rests of its seat."""
    machine = context.machine(design.machine)
    _, after = context.in_process(machine, design.family, design.sequence, choice.clamping)
    limits = {p.feature: p.half for p in toleranced(context, machine)[0]}
    modulus = MODULUS[context.material.group]
    margins: list[Margin] = []
    reasons: list[Reason] = []
    for one in _worst(_pushed(context, after, option.cuts), modulus, limits):
        wall, limit = one.wall, _limit(one, limits)
        made = wall_give(one.force, wall.height, wall.width, wall.thickness, modulus, limit)
        told = f"wall {wall.thickness:.1f} mm thick, {wall.height:.0f} high, {wall.width:.0f} long"
        _said(choice, told, one.cut, made, limit, one.cut.feature in limits, margins, reasons)
    span = _span(option, after, modulus)
    if span is not None:
        told, cut, made, limit = span
        _said(choice, told, cut, made, limit, False, margins, reasons)
    return Gives(tuple(margins), tuple(reasons))


def _said(
    choice: OperationChoice,
    what: str,
    cut: Cut,
    made: Give,
    limit: float,
    drawn: bool,
    margins: list[Margin],
    reasons: list[Reason],
) -> None:
    """A margin where the drawing gives the limit; a reason where the general one is passed by its share."""
    about, how = f"operation {choice.number}: {what}", ", ".join(t for t in (made.method, made.note) if t)
    if drawn:
        margins.append(Margin("give", about, cut.id, made.deflection, limit, "mm", frame="part", note=how))
    elif made.deflection > ESTIMATE_LIMIT * limit:
        text = f"gives {made.deflection:.3f} mm under {cut.id} ({how}); ±{limit:g} mm is the general tolerance assumed"
        reasons.append(Reason(about, text, made.deflection, "mm"))


def _pushed(context: Context, after: Mesh, cuts: Sequence[Cut]) -> list[_Pushed]:
    """Each thin wall with the strongest of the cuts that end at it: the finishing ones where there are any."""
    milled = [c for c in cuts if c.stage in MILLED and c.load.side > 0]
    ways: list[Vec] = []
    for cut in milled:
        if not any(same(cut.direction, w) for w in ways):
            ways.append(cut.direction)
    rows = []
    for way in ways:
        own = [c for c in milled if same(c.direction, way)]
        for wall in context.once(("walls", after.key, way), lambda w=way: thin_walls(after, w)):  # type: ignore[misc]
            here = [c for c in own if _beside(context, c, wall)]
            last = [c for c in here if c.stage == "finish"] or here
            if last:
                cut = max(last, key=lambda c: c.load.side * (1.0 + c.load.spread))
                rows.append(_Pushed(wall, cut, cut.load.side * (1.0 + cut.load.spread)))
    return rows


def _beside(context: Context, cut: Cut, wall: Wall) -> bool:
    """Whether a cutter's side comes to a wall's face."""
    d, at = np.asarray(cut.direction), np.asarray(wall.at)
    off = cut.tips - at
    along = off @ d
    across = off - along[:, None] * d
    near = np.linalg.norm(across, axis=1) <= context.tool(cut.tool).cutter.DC / 2.0 + BESIDE
    outside = across @ np.asarray(wall.normal) > 0
    return bool((near & outside & (along <= BESIDE)).any())


def _worst(rows: Sequence[_Pushed], modulus: float, limits: dict[str, float]) -> list[_Pushed]:
    """Of each cut feature the wall whose estimate is the most of its limit."""
    worst: dict[str, tuple[float, _Pushed]] = {}
    for row in rows:
        w = row.wall
        share = wall_estimate(row.force, w.height, w.width, w.thickness, modulus) / _limit(row, limits)
        if row.cut.feature not in worst or share > worst[row.cut.feature][0]:
            worst[row.cut.feature] = (share, row)
    return [row for _, row in worst.values()]


def _limit(row: _Pushed, limits: dict[str, float]) -> float:
    return limits.get(row.cut.feature, general(row.wall.thickness))


def general(size: float) -> float:
    """± mm of the general tolerance for a size in mm."""
    return next((half for most, half in GENERAL if size <= most), GENERAL[-1][1])


def _span(option: Option, after: Mesh, modulus: float) -> tuple[str, Cut, Give, float] | None:
    """The part between the rests of a raised seat under the greatest push; None where it lies on a face.

    A beam as long as the farthest two neighbours of the seat's points are apart, as thick as the part is in the mean.
    """
    rests = [c for c in option.grip.contacts if c.kind == "locator" and c.device.startswith("rest")]
    pushing = [c for c in option.cuts if c.load.push > 0]
    if len(rests) < 3 or not pushing:
        return None
    at = np.array([c.at for c in rests])
    apart = np.linalg.norm(at[:, None] - at[None], axis=2) + np.where(np.eye(len(at)) > 0, np.inf, 0.0)
    span = float(apart.min(axis=1).max())
    shadow = float(footprint(after, option.up).area)
    thick = after.volume / shadow
    width = shadow / max(float(np.ptp(at, axis=0).max()), span)
    cut = max(pushing, key=lambda c: c.load.push * (1.0 + c.load.spread))
    limit = general(thick)
    made = span_give(cut.load.push * (1.0 + cut.load.spread), span, width, thick, modulus, limit)
    return f"span of {span:.0f} mm between rests, {thick:.1f} mm thick", cut, made, limit
