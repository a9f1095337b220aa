"""Where carriers stand in a machine: free areas of the table, the rotary axis, and the poses that follow."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from palletwright.plan.model import Placing
from palletwright.shop.model import Carrier, Machine

GAP = 10.0
"""mm between carriers on the table, for hands and T-bolts: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Area:
    """A free rectangle of the table, mm in the machine frame."""

    x0: float
    y0: float
    x1: float
    y1: float

    @property
    def size(self) -> tuple[float, float]:
        return self.x1 - self.x0, self.y1 - self.y0


def free_areas(machine: Machine) -> tuple[Area, ...]:
    """The table's rectangles beside the rotary unit, largest first (they may overlap; one is used at a time);
    the whole table where there is none.

    Limited to what the spindle's travel covers. The rotary unit stays on the table, used or not.
    """
    length, width = machine.table
    x0, x1 = max(-length / 2, machine.travel.x[0]), min(length / 2, machine.travel.x[1])
    y0, y1 = max(-width / 2, machine.travel.y[0]), min(width / 2, machine.travel.y[1])
    if machine.rotary is None:
        return (Area(x0, y0, x1, y1),)
    rotary = machine.rotary
    half = max(rotary.housing_width / 2, rotary.swing_radius) + GAP
    along, across = (0, 1) if rotary.axis == "x" else (1, 0)
    start = rotary.faceplate_at[along] - rotary.housing_length
    end = rotary.faceplate_at[along] + rotary.between + (rotary.tailstock_length if rotary.tailstock else 0.0)
    low, high = rotary.faceplate_at[across] - half, rotary.faceplate_at[across] + half
    if along == 0:
        areas = [Area(x0, y0, start, y1), Area(end, y0, x1, y1), Area(x0, y0, x1, low), Area(x0, high, x1, y1)]
    else:
        areas = [Area(x0, y0, x1, start), Area(x0, end, x1, y1), Area(x0, y0, low, y1), Area(high, y0, x1, y1)]
    good = [a for a in areas if min(a.size) > 0]
    return tuple(sorted(good, key=lambda a: -a.size[0] * a.size[1]))


def footprint(carrier: Carrier, turn: int) -> tuple[float, float]:
    """Length and width on the table, mm, after quarter turns."""
    if carrier.width is None:
        raise ValueError(f"carrier {carrier.id} has no width")
    return (carrier.width, carrier.length) if turn % 2 else (carrier.length, carrier.width)


def standing(machine: Machine, carrier: Carrier, most: int) -> tuple[tuple[tuple[float, float], int], ...]:
    """Up to `most` places (centre, quarter turns) for copies of one carrier on the free areas, in rows."""
    best: tuple[tuple[tuple[float, float], int], ...] = ()
    for turn in (0, 1):
        places: list[tuple[tuple[float, float], int]] = []
        dx, dy = footprint(carrier, turn)
        for area in free_areas(machine)[:1]:
            nx, ny = int((area.size[0] + GAP) // (dx + GAP)), int((area.size[1] + GAP) // (dy + GAP))
            mid_x, mid_y = (area.x0 + area.x1) / 2, (area.y0 + area.y1) / 2
            for j in range(ny):
                for i in range(nx):
                    places.append(
                        ((mid_x + (i - (nx - 1) / 2) * (dx + GAP), mid_y + (j - (ny - 1) / 2) * (dy + GAP)), turn)
                    )
        places.sort(key=lambda p: (round(np.hypot(*p[0]), 6), p[0]))
        if len(places[:most]) > len(best):
            best = tuple(places[:most])
    return best


def vise_rows(machine: Machine, carriers: Iterable[Carrier]) -> tuple[tuple[Placing, ...], ...]:
    """Choices of the shop's own vises that stand on the table together: every kind alone, and all kinds mixed.

    Each choice is as many as find room in rows, with hands' room between them; no capital is needed. Choices with
    fewer vises of the same kinds aren't listed: stations that the balance doesn't need are left empty.
    """
    own = [c for c in carriers if c.kind == "vise" and c.owned and c.width is not None]
    rows = [side_by_side(machine, [c] * c.how_many) for c in own]
    if len(own) > 1:
        rows.append(side_by_side(machine, [c for c in own for _ in range(c.how_many)]))
    found: dict[tuple[str, ...], tuple[Placing, ...]] = {}
    for placings in rows:
        if placings:
            found.setdefault(tuple(p.mount for p in placings), placings)
    return tuple(found.values())


def side_by_side(machine: Machine, vises: Sequence[Carrier]) -> tuple[Placing, ...]:
    """As many of these vises as stand on one free area of the table in rows, all turned alike, narrow ones first."""
    best: tuple[Placing, ...] = ()
    for turn in (0, 1):
        order = sorted(vises, key=lambda c: (footprint(c, turn)[0], footprint(c, turn)[1], c.id))
        for area in free_areas(machine):
            placed = _rows(area, order, turn)
            if len(placed) > len(best):
                best = placed
    return best


def _rows(area: Area, vises: Sequence[Carrier], turn: int) -> tuple[Placing, ...]:
    """Rows along x in the middle of the area, each as deep as its deepest vise; what finds no room is left out."""
    placed: list[Placing] = []
    count: Counter[str] = Counter()
    x, y, deep = area.x0, area.y0, 0.0
    right, top = area.x0, area.y0
    for vise in vises:
        dx, dy = footprint(vise, turn)
        if x + dx > area.x1 + 1e-9:
            x, y, deep = area.x0, y + deep + GAP, 0.0
        if x + dx > area.x1 + 1e-9 or y + dy > area.y1 + 1e-9:
            continue
        count[vise.id] += 1
        name = f"{vise.id}#{count[vise.id]}"
        placed.append(Placing(name, "vise", vise.id, 1, None, (x + dx / 2, y + dy / 2), turn))
        x, deep = x + dx + GAP, max(deep, dy)
        right, top = max(right, x - GAP), max(top, y + dy)
    shift = (area.x1 - right) / 2, (area.y1 - top) / 2
    return tuple(replace(p, at=(p.at[0] + shift[0], p.at[1] + shift[1])) for p in placed)


def pallet_fits(machine: Machine, carrier: Carrier) -> str:
    """Empty if the pallet can be mounted on the machine's rotary axis, else what stops it."""
    rotary = machine.rotary
    if rotary is None:
        return f"{machine.id} has no rotary axis"
    if carrier.length > rotary.between:
        return f"{carrier.id} is {carrier.length - rotary.between:.0f} mm longer than the room on {machine.id}'s rotary"
    if carrier.blank_diameter is not None and carrier.blank_diameter / 2 > rotary.swing_radius:
        return f"{carrier.id} is wider than the swing of {machine.id}'s rotary"
    return ""


def carrier_pose(machine: Machine, placing: Placing) -> NDArray[np.float64]:
    """T_machine_carrier (4, 4) at angle zero."""
    pose = np.eye(4)
    if placing.kind == "pallet":
        rotary = machine.rotary
        if rotary is None:
            raise ValueError(f"{machine.id} has no rotary axis for {placing.carrier}")
        if rotary.axis == "y":
            pose[:3, :3] = [[0, -1, 0], [1, 0, 0], [0, 0, 1]]
        pose[:3, 3] = (*rotary.faceplate_at, rotary.centre_height)
        return pose
    c, s = ((1, 0), (0, 1), (-1, 0), (0, -1))[placing.turn % 4]
    pose[:2, :2] = [[c, -s], [s, c]]
    pose[:2, 3] = placing.at
    return pose


def station_pose(x: float, y: float, turn: int) -> NDArray[np.float64]:
    """T_side_station (4, 4): quarter turns about z, then the shift."""
    pose = np.eye(4)
    c, s = ((1, 0), (0, 1), (-1, 0), (0, -1))[turn % 4]
    pose[:2, :2] = [[c, -s], [s, c]]
    pose[:2, 3] = (x, y)
    return pose
