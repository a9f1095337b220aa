"""Blocking pins and offset locators against wrong ways, every way tried again; turned carriers on their mounts."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from palletwright.grip.model import Contact, Device
from palletwright.papers.mistakes import INSIDE, WrongWay, wrong_ways
from palletwright.papers.offsetting import Offset, offset_locator
from palletwright.shop.model import Carrier
from palletwright.solid import Mesh, cylinder, intersect

Floats = NDArray[np.float64]

RADIUS = 3.0
"""mm: a pin of 6 mm, ISO 2338 or ISO 8734: common practice, no source."""

AIR = 1.0
"""mm between a pin and the right part, so that it never locates: common practice, no source."""

LEAST, MOST = 3.0, 25.0
"""mm, pin heights worth having and still stiff: common practice, no source."""

STEP = 2.0
"""mm between the places tried."""

PINS = 3
"""Pins of one station at most."""

FELT = 0.5
"""mm by which a wrong part must be kept off: less is not felt; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Pin:
    """A blocking pin in the station frame: place and height (mm), and the wrong ways that it keeps out."""

    x: float
    y: float
    height: float
    blocks: tuple[str, ...]


@dataclass(frozen=True)
class Blocked:
    """What was found for one station: all wrong ways that seat and clamp, pins, and those that still seat and clamp
    after them, tried again with the pins (and the `moved` locator, if any) in place."""

    found: tuple[WrongWay, ...]
    pins: tuple[Pin, ...]
    left: tuple[WrongWay, ...]
    moved: Offset | None = None


def named(way: WrongWay) -> str:
    """The way in words: what it is and how it is turned."""
    return f"{way.shape}, {way.turned}" if way.shape else way.turned


def proofed(
    part: Mesh,
    contacts: Sequence[Contact],
    devices: Sequence[Device],
    strokes: Mapping[str, float],
    others: Mapping[str, Mesh],
    ceiling: float,
    busy: Sequence[tuple[float, float, float]] = (),
) -> Blocked:
    """Every wrong way of a station, pins and at last an offset locator against those that seat, and what they leave.

    Parameters
    ----------
    ceiling : mm over the side below which no tool and no holder passes beside the part
    busy : (x, y, radius) mm where a tool comes down below the ceiling
    """
    ways = wrong_ways(part, contacts, devices, strokes, others)
    found = tuple(w for w in ways if w.clamps)
    pins: list[Pin] = []
    left = list(found)
    while left and len(pins) < PINS:
        pin = _best(part, [w for w in left if w.lying is not None], devices, ceiling, busy, pins)
        if pin is None:
            break
        pins.append(pin)
        body = [Device(f"pin-{k}", "locator", "blocking pin", pin_mesh(p)) for k, p in enumerate(pins)]
        again = wrong_ways(part, contacts, [*devices, *body], strokes, others)
        still = [w for w in again if w.clamps]
        if len(still) >= len(left):
            pins.pop()
            break
        left = still
    if not left:
        return Blocked(found, tuple(pins), ())
    bodies = [Device(f"pin-{k}", "locator", "blocking pin", pin_mesh(p)) for k, p in enumerate(pins)]
    offset = offset_locator(part, contacts, [*devices, *bodies], strokes, others, left)
    if offset is None:
        return Blocked(found, tuple(pins), tuple(left))
    return Blocked(found, tuple(pins), offset.left, offset.offset)


def pin_mesh(pin: Pin, more: float = 0.0) -> Mesh:
    """The pin's body, `more` mm fatter and higher."""
    return cylinder((pin.x, pin.y, 0.0), (0.0, 0.0, 1.0), RADIUS + more, pin.height + more)


def _best(
    part: Mesh,
    wrong: Sequence[WrongWay],
    devices: Sequence[Device],
    ceiling: float,
    busy: Sequence[tuple[float, float, float]],
    have: Sequence[Pin],
) -> Pin | None:
    """The pin that keeps most ways out and leaves the right part, the devices and the tools alone."""
    lyings = [w.lying for w in wrong if w.lying is not None]
    if not lyings:
        return None
    low = np.min([m.bounds[0] for m in lyings], axis=0)[:2]
    high = np.max([m.bounds[1] for m in lyings], axis=0)[:2]
    grid = [
        (float(x), float(y))
        for x in np.arange(low[0], high[0] + STEP, STEP)
        for y in np.arange(low[1], high[1] + STEP, STEP)
    ]
    right = _undersides(part, grid, RADIUS + AIR)
    tops = np.minimum(np.minimum(right - AIR, ceiling), MOST)
    for k, (x, y) in enumerate(grid):
        if any(math.hypot(x - bx, y - by) < r + RADIUS + AIR for bx, by, r in busy):
            tops[k] = 0.0
        if any(_beside(d.mesh, x, y) for d in devices) or any(math.hypot(x - p.x, y - p.y) < 4 * RADIUS for p in have):
            tops[k] = 0.0
    hits = np.stack([_undersides(m, grid, 0.0) + FELT < tops for m in lyings])
    hits &= tops >= LEAST
    for k in np.argsort(-hits.sum(axis=0), kind="stable")[:40]:
        if not hits[:, k].any():
            return None
        height = float(np.floor(tops[k] * 2) / 2)
        pin = Pin(round(grid[k][0], 3), round(grid[k][1], 3), height, ())
        if height < LEAST or intersect([part, pin_mesh(pin, AIR / 2)]).volume > 0:
            continue
        kept = tuple(
            named(w) for w, m in zip(wrong, lyings, strict=True) if intersect([m, pin_mesh(pin)]).volume > INSIDE
        )
        if kept:
            return Pin(pin.x, pin.y, pin.height, kept)
    return None


def _beside(mesh: Mesh, x: float, y: float) -> bool:
    """Whether a pin would stand in or against a device."""
    (x0, y0, _), (x1, y1, _) = mesh.bounds
    reach = RADIUS + AIR
    return bool(x0 - reach < x < x1 + reach and y0 - reach < y < y1 + reach)


def _undersides(mesh: Mesh, grid: Sequence[tuple[float, float]], radius: float) -> Floats:
    """(n,) mm, least height of a part over each place; inf where nothing is above it.

    With a radius the least over the disc, by nine rays: places are checked again with the pin's body.
    """
    spots = np.array(grid)
    if radius > 0:
        angle = np.linspace(0, 2 * np.pi, 8, endpoint=False)
        ring = np.vstack([[0.0, 0.0], radius * np.column_stack([np.cos(angle), np.sin(angle)])])
        spots = (spots[:, None, :] + ring[None, :, :]).reshape(-1, 2)
    heights = np.full(len(spots), np.inf)
    order = np.argsort(spots[:, 0], kind="stable")
    xs = spots[order, 0]
    for a, b, c in mesh.corners:
        twice = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
        if abs(twice) < 1e-12:
            continue
        x0, x1 = min(a[0], b[0], c[0]), max(a[0], b[0], c[0])
        here = order[np.searchsorted(xs, x0 - 1e-9) : np.searchsorted(xs, x1 + 1e-9)]
        p = spots[here]
        u = ((p[:, 0] - a[0]) * (c[1] - a[1]) - (p[:, 1] - a[1]) * (c[0] - a[0])) / twice
        v = ((b[0] - a[0]) * (p[:, 1] - a[1]) - (b[1] - a[1]) * (p[:, 0] - a[0])) / twice
        ok = (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9)
        z = a[2] + u[ok] * (b[2] - a[2]) + v[ok] * (c[2] - a[2])
        heights[here[ok]] = np.minimum(heights[here[ok]], z)
    return np.asarray(heights.reshape(len(grid), -1).min(axis=1))


def mount_turns(carrier: Carrier, sides: int) -> tuple[list[float], str]:
    """Degrees by which a carrier can be turned on its mount and still go over dowels and screws, and what is known.

    A plate is tried at quarter turns, a pallet at the turns of its sides and at quarter turns. The second value is ""
    where the shop describes no holes that could tell.
    """
    holes = [h for h in carrier.mount_holes if carrier.kind != "pallet" or h.end == "faceplate"]
    if not holes:
        return [], ""
    steps = {90.0 * k for k in range(1, 4)}
    if carrier.kind == "pallet":
        steps |= {round(360.0 * k / sides, 6) for k in range(1, sides)}
    square = carrier.kind == "pallet" or abs(carrier.length - (carrier.width or carrier.length)) < 1e-6
    rows = []
    for angle in sorted(steps):
        if not square and angle != 180.0:
            continue
        c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
        turned = [(c * h.x - s * h.y, s * h.x + c * h.y, h.kind, h.size) for h in holes]
        if all(any(_same_hole(t, h) for h in holes) for t in turned):
            rows.append(angle)
    return rows, "dowels" if any(h.kind == "dowel" for h in holes) else "screws"


def _same_hole(turned: tuple[float, float, str, str], hole) -> bool:  # type: ignore[no-untyped-def]
    x, y, kind, size = turned
    return math.hypot(x - hole.x, y - hole.y) < SAME_PLACE and (kind, size) == (hole.kind, hole.size)


SAME_PLACE = 0.2
"""mm within which a hole still goes over a dowel or screw: common practice, no source."""


def interchanged(carriers: Sequence[Carrier]) -> list[tuple[str, str]]:
    """Pairs of different carriers that go onto each other's mounts: same size of interface, same holes."""
    rows = []
    for k, a in enumerate(carriers):
        for b in carriers[k + 1 :]:
            same = {(h.x, h.y, h.kind, h.size, h.end) for h in a.mount_holes} == {
                (h.x, h.y, h.kind, h.size, h.end) for h in b.mount_holes
            }
            if a.id != b.id and a.kind == b.kind and a.mount_holes and same:
                rows.append((a.id, b.id))
    return rows
