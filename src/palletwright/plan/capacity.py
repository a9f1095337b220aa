"""How many parts of one operation stand on one side, over all its certified grips."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from shapely.affinity import affine_transform
from shapely.geometry.base import BaseGeometry

from palletwright.layout import pack
from palletwright.layout.model import Packing, Side
from palletwright.plan.context import Context
from palletwright.plan.options import OperationKey, Option, options
from palletwright.verdict import Reason

RASTER = 0.52
"""mm added to the clearance between stations: reach measures on a grid of 0.5 mm and reads short by up to its
half diagonal, the chord error and what a raster's place in its cell may be off."""

MOST = 24
"""Parts on one side beyond which no more are sought: loading one side and the parts at risk grow past use (common
practice, no source)."""

TRIED = 2
"""Grips of one operation that are packed on one side; the grip room gives them densest and simplest first."""


@dataclass(frozen=True, eq=False)
class Filled:
    """The best that one operation does on one side."""

    parts: int
    option: Option
    packing: Packing

    @property
    def bound(self) -> int:
        return self.packing.bound * self.option.parts


@dataclass(frozen=True, eq=False)
class Choice:
    """Which of an operation's options fills a side best (its position), how, and why others don't."""

    at: int | None
    packing: Packing | None
    why: tuple[Reason, ...]


def fill(context: Context, key: OperationKey, side: Side) -> tuple[Filled | None, tuple[Reason, ...]]:
    """The grip and packing with most parts on `side`; among equals the grip named first (simplest)."""
    return context.once(("filled", fill_key(context, key, side)), lambda: _filled(context, key, side))


def fill_key(context: Context, key: OperationKey, side: Side) -> Hashable:
    """Where the run's memory keeps the choice for one operation on one shape of side."""
    minx, miny, maxx, maxy = side.area.bounds
    depth = round(float(np.linalg.norm(side.pose[1:3, 3])), 3) if key.kind == "pallet" else 0.0
    shape = (round(maxx - minx, 3), round(maxy - miny, 3), round(side.area.area, 1), depth)
    work = context.work_key(context.machine(key.machine), key.family, key.sequence, key.clamping)
    return "fill", work, key.up, key.kind, key.vise, shape


def _filled(context: Context, key: OperationKey, side: Side) -> tuple[Filled | None, tuple[Reason, ...]]:
    choice = context.once(fill_key(context, key, side), lambda: chosen(context, key, side))
    if choice.at is None or choice.packing is None:
        return None, choice.why
    option = options(context, key)[0][choice.at]
    return Filled(choice.packing.count * option.parts, option, choice.packing), choice.why


def chosen(context: Context, key: OperationKey, side: Side) -> Choice:
    """The first options packed on a side, and the one that holds most."""
    found, reasons = options(context, key)
    best, most = Choice(None, None, ()), 0
    why = list(reasons)
    for at, option in enumerate(found[:TRIED]):
        stop = _stands_out(context, key, option, side)
        if stop is not None:
            why.append(stop)
            continue
        if most and (_at_most(option, side) <= most or most + option.parts > MOST):
            continue
        packing = centred(_packed(context, key, option, side, most // option.parts + 1), option, side)
        parts = packing.count * option.parts
        why += packing.reasons if not packing.count and not most else ()
        if parts > most:
            best, most = Choice(at, packing, ()), parts
    return replace(best, why=tuple(why))


def _packed(context: Context, key: OperationKey, option: Option, side: Side, at_least: int) -> Packing:
    return context.timed(
        "layout",
        partial(
            pack,
            option.module,
            side,
            clearance=context.clearance(context.machine(key.machine)) + RASTER,
            solid_gap=context.shop.floors.solid_gap,
            seed=context.job.seed,
            most=1 if key.kind == "vise" else MOST // option.parts,
            at_least=at_least,
            effort=context.job.effort - 1,
            explain=False,
        ),
    )


def centred(packing: Packing, option: Option, side: Side) -> Packing:
    """The same stations moved together to the middle of the side, where ends and neighbouring sides are farthest."""
    if not packing.stations:
        return packing
    boxes = []
    for s in packing.stations:
        x0, y0, x1, y1 = placed_outline(option.module.outline, s.x, s.y, s.turn).bounds
        boxes.append((x0, y0, x1, y1))
    rows = np.array(boxes)
    middle = (rows[:, :2].min(axis=0) + rows[:, 2:].max(axis=0)) / 2
    x0, y0, x1, y1 = side.area.bounds
    dx, dy = (x0 + x1) / 2 - middle[0], (y0 + y1) / 2 - middle[1]
    moved = tuple(replace(s, x=float(s.x + dx), y=float(s.y + dy)) for s in packing.stations)
    inside = all(
        side.area.buffer(1e-6).contains(placed_outline(option.module.outline, s.x, s.y, s.turn)) for s in moved
    )
    return replace(packing, stations=moved) if inside else packing


def placed_outline(outline: BaseGeometry, x: float, y: float, turn: int) -> BaseGeometry:
    """An outline after quarter turns and a shift, mm."""
    c, s = ((1, 0), (0, 1), (-1, 0), (0, -1))[turn % 4]
    return affine_transform(outline, [c, -s, s, c, x, y])


def _stands_out(context: Context, key: OperationKey, option: Option, side: Side) -> Reason | None:
    """Why not even one module can stand on the side: too wide for it, or past the swing in the middle of it."""
    minx, miny, maxx, maxy = side.area.bounds
    x0, y0, x1, y1 = option.module.outline.bounds
    size, room = (x1 - x0, y1 - y0), (maxx - minx, maxy - miny)
    short = min(max(size[t % 2] - room[0], size[(t + 1) % 2] - room[1]) for t in option.module.turns)
    if short > 0:
        return Reason(f"grip {option.grip.id}", f"is {short:.1f} mm wider than a side of {side.id}", short, "mm")
    rotary = context.machine(key.machine).rotary
    if key.kind != "pallet" or rotary is None:
        return None
    apothem = float(np.linalg.norm(side.pose[1:3, 3]))
    points = np.concatenate([mesh.vertices for _, mesh in option.module.bodies])
    middle = 0.5 * (y0 + y1)
    out = float(np.hypot(apothem + points[:, 2], points[:, 1] - middle).max()) - rotary.swing_radius
    if all(t % 2 == 0 for t in option.module.turns) and out > 0:
        return Reason(f"grip {option.grip.id}", f"stands {out:.1f} mm past the swing on {side.id}", out, "mm")
    return None


def _at_most(option: Option, side: Side) -> int:
    """Parts by plain area: never below what fits when modules don't share anything."""
    return int(side.area.area / max(option.module.outline.area, 1.0)) * option.parts
