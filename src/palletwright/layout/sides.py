"""Carriers as shapes: their sides as mounting surfaces, and their bodies."""

from __future__ import annotations

import math
from typing import Any

import manifold3d
import numpy as np
import shapely
from numpy.typing import NDArray

from palletwright.errors import Fault, InputError
from palletwright.layout.model import Side
from palletwright.shop.model import Carrier
from palletwright.solid.model import Mesh

LEAST_WEB = 0.25  # least apothem of one- and two-sided pallets over the blank's radius: common practice, no source
ROUND = 128  # corners that stand for a round blank


def flat_width(radius: float, apothem: float, sides: int) -> float:
    """mm, width of each of `sides` flats at `apothem` on a round blank: min(2√(R² − a²), 2a·tan(π/n))."""
    chord = 2.0 * math.sqrt(max(0.0, radius * radius - apothem * apothem))
    return chord if sides <= 2 else min(chord, 2.0 * apothem * math.tan(math.pi / sides))


def apothems(carrier: Carrier, n: int, needed_width: float) -> tuple[float, ...]:
    """Apothems (mm, ascending) worth trying for `n` flats that leave `needed_width` mm between their edges.

    The deepest and the shallowest that are wide enough, the widest, and one between; empty where none is.
    """
    radius = _radius(carrier)
    need = needed_width + 2.0 * carrier.edge
    if need >= 2.0 * radius:
        return ()
    highest = math.sqrt(radius * radius - need * need / 4.0)
    if n <= 2:
        lowest = widest = LEAST_WEB * radius
    else:
        lowest, widest = need / 2.0 / math.tan(math.pi / n), radius * math.cos(math.pi / n)
    if lowest > highest + 1e-9:
        return ()
    tried = {lowest, highest, (lowest + highest) / 2.0, min(max(widest, lowest), highest)}
    return tuple(sorted({round(a, 3) for a in tried if flat_width(radius, round(a, 3), n) >= need - 2e-2}))


def sides_of(carrier: Carrier, sides: int | None = None, apothem: float | None = None) -> tuple[Side, ...]:
    """The mounting surfaces of a carrier, in the carrier frame.

    A plate's and a vise's frame has its origin on the table under the centre; a vise's side is the room between
    its jaws, x along the opening. A pallet's frame has x along the rotary axis and its origin on the axis at the
    faceplate's end; side k's normal is turned by 360·k/n degrees about x from +z.
    """
    if carrier.kind != "pallet":
        along, across = _plan(carrier)
        inset = carrier.edge if carrier.kind == "plate" else 0.0
        area = shapely.box(inset - along / 2, inset - across / 2, along / 2 - inset, across / 2 - inset)
        return (Side(f"{carrier.id}/1", _some(area, carrier, "length"), _lifted(carrier.height)),)
    n, a = _flats(carrier, sides, apothem)
    half = (carrier.length / 2 - carrier.edge, flat_width(_radius(carrier), a, n) / 2 - carrier.edge)
    if min(half) <= 0:
        raise _fault(
            carrier, "edge", carrier.edge, f"leaves no room on {n} flats at apothem {a:g} mm", "a smaller edge"
        )
    area = shapely.box(-half[0], -half[1], half[0], half[1])
    return tuple(
        Side(f"{carrier.id}/{k + 1}", area, _turned_side(2 * math.pi * k / n, carrier.length, a)) for k in range(n)
    )


def carrier_mesh(
    carrier: Carrier, sides: int | None = None, apothem: float | None = None, opening: float | None = None
) -> Mesh:
    """The carrier's body as a closed mesh in the carrier frame. `opening` (mm) is a vise's jaw opening in use."""
    if carrier.kind == "plate":
        along, across = _plan(carrier)
        return _mesh(_box(-along / 2, -across / 2, 0.0, along / 2, across / 2, carrier.height))
    if carrier.kind == "vise":
        return _mesh(_vise(carrier, carrier.opening if opening is None else opening))
    n, a = _flats(carrier, sides, apothem)
    radius = _radius(carrier)
    corner = 2 * math.pi * (np.arange(ROUND) + 0.5) / ROUND
    blank = np.column_stack([np.cos(corner), np.sin(corner)]) * radius / math.cos(math.pi / ROUND)
    section = manifold3d.CrossSection([blank])
    for k in range(n):
        angle = 2 * math.pi * k / n
        slab = manifold3d.CrossSection.square((4 * radius, 4 * radius), True).translate((0.0, a - 2 * radius))
        section = section ^ slab.rotate(math.degrees(angle))
    body = section.extrude(carrier.length)
    # section x, y and extrusion z become carrier y, z and x
    turn = np.array([[0.0, 0.0, 1.0, 0.0], [1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0]])
    return _mesh(body.transform(turn), radius * (1 / math.cos(math.pi / ROUND) - 1))


def _vise(carrier: Carrier, opening: float | None) -> Any:
    """Base, fixed jaw at +x and moving jaw at `opening` from it (proportions: common practice, no source)."""
    along, across = carrier.length, carrier.width or carrier.jaw_width or carrier.length / 2
    jaw_wide, gap = carrier.jaw_width or across, opening if opening is not None else _plan(carrier)[0]
    top = carrier.height + (carrier.jaw_height or 0.0)
    thick = max(10.0, min(0.12 * along, (along - gap) / 2 if along > gap else 10.0))
    base = _box(-along / 2, -across / 2, 0.0, along / 2, across / 2, carrier.height)
    if top <= carrier.height:
        return base
    fixed = _box(gap / 2, -jaw_wide / 2, 0.0, gap / 2 + thick, jaw_wide / 2, top)
    moving = _box(-gap / 2 - thick, -jaw_wide / 2, 0.0, -gap / 2, jaw_wide / 2, top)
    return base + fixed + moving


def _radius(carrier: Carrier) -> float:
    if carrier.blank_diameter is None:
        raise _fault(carrier, "blank_diameter", None, "a pallet needs its blank's diameter", "mm > 0")
    return carrier.blank_diameter / 2.0


def _flats(carrier: Carrier, sides: int | None, apothem: float | None) -> tuple[int, float]:
    n = sides if sides is not None else (carrier.sides[0] if carrier.sides else 4)
    if not 1 <= n <= 8:
        raise _fault(carrier, "sides", n, "can't be cut", "1 to 8")
    radius = _radius(carrier)
    a = apothem if apothem is not None else radius * (math.cos(math.pi / n) if n > 2 else 0.5)
    if not 0 < a < radius:
        raise _fault(carrier, "apothem", a, "is outside the blank", f"more than 0 and less than {radius:g} mm")
    return n, a


def _plan(carrier: Carrier) -> tuple[float, float]:
    if carrier.kind == "vise":
        return carrier.opening or carrier.length, carrier.jaw_width or carrier.width or carrier.length
    if carrier.width is None:
        raise _fault(carrier, "width", None, "a plate needs its width", "mm > 0")
    return carrier.length, carrier.width


def _some(area: Any, carrier: Carrier, key: str) -> Any:
    if area.is_empty or area.area <= 0 or carrier.edge * 2 >= min(_plan(carrier)):
        raise _fault(carrier, "edge", carrier.edge, "leaves no room on the carrier", "less than half the least side")
    return area


def _fault(carrier: Carrier, key: str, value: object, problem: str, allowed: str) -> InputError:
    return InputError([Fault("shop", f"carriers.{carrier.id}.{key}", str(value), problem, allowed)])


def _lifted(height: float) -> NDArray[np.float64]:
    pose = np.eye(4)
    pose[2, 3] = height
    return pose


def _turned_side(angle: float, length: float, apothem: float) -> NDArray[np.float64]:
    cos, sin = math.cos(angle), math.sin(angle)
    pose = np.array([[1.0, 0.0, 0.0, length / 2], [0.0, cos, -sin, 0.0], [0.0, sin, cos, 0.0], [0.0, 0.0, 0.0, 1.0]])
    pose[:3, 3] += pose[:3, 2] * apothem
    return pose


def _box(x0: float, y0: float, z0: float, x1: float, y1: float, z1: float) -> Any:
    return manifold3d.Manifold.cube((x1 - x0, y1 - y0, z1 - z0)).translate((x0, y0, z0))


def _mesh(solid: Any, chord_error: float = 0.0) -> Mesh:
    raw = solid.to_mesh64()
    return Mesh(
        np.ascontiguousarray(np.asarray(raw.vert_properties)[:, :3], dtype=np.float64),
        np.ascontiguousarray(raw.tri_verts, dtype=np.int32),
        chord_error=chord_error,
    )
