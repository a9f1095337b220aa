"""Holes from the solid's hollow cylinders and cones: pieces on one axis, stepped, split, interrupted, through."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from palletwright.access.directions import negated, same, vec
from palletwright.access.shapes import Body, rod
from palletwright.solid.model import Face, Floats, Solid
from palletwright.verdict import Vec

SAME_AXIS = 0.02
"""mm between two axes that count as one."""
SAME_RADIUS = 0.01
"""mm between two radii that count as one."""
TOUCH = 0.05
"""mm of gap along the axis that still joins two pieces."""
LEAST_SWEEP = 190.0
"""degrees of wall below which a hollow cylinder is a fillet or a pocket's end, not a hole."""
CLEAR_RADIUS = 0.97
"""share of a radius that must be free of part for a tool of that diameter to pass."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A length of a hole with one cylinder or cone: along the axis from `start` to `end` (mm), radii there."""

    start: float
    end: float
    r_start: float
    r_end: float
    faces: frozenset[int]
    sweep: float

    @property
    def radius(self) -> float:
        return max(self.r_start, self.r_end)

    @property
    def straight(self) -> bool:
        return abs(self.r_start - self.r_end) < 1e-6

    def turned(self) -> Piece:
        return Piece(-self.end, -self.start, self.r_end, self.r_start, self.faces, self.sweep)


@dataclass(frozen=True, eq=False)
class Bore:
    """One hole. `axis` points out of its mouth; `pieces` run from the deepest (least) to the mouth (greatest).

    Coordinates along the axis count from `point`. `mouth` and `far`: whether a tool of the widest piece gets out
    of the part past the mouth, and one of the narrowest past the far end.
    """

    point: Vec
    axis: Vec
    pieces: tuple[Piece, ...]
    mouth: bool
    far: bool
    gaps: tuple[tuple[float, float], ...] = ()
    other_end: bool = False
    """the steps at the far end of a hole whose core is entered from the near one: one hole, two features"""

    @property
    def faces(self) -> frozenset[int]:
        return frozenset().union(*(p.faces for p in self.pieces))

    @property
    def core(self) -> Piece:
        """The narrowest straight piece, the one that is drilled; the widest cone where none is straight."""
        straight = [p for p in self.pieces if p.straight]
        return min(straight, key=lambda p: p.radius) if straight else max(self.pieces, key=lambda p: p.radius)

    @property
    def bottom(self) -> float:
        return self.pieces[0].start

    @property
    def top(self) -> float:
        return self.pieces[-1].end

    @property
    def length(self) -> float:
        return self.top - self.bottom

    @property
    def through(self) -> bool:
        return self.mouth and self.far

    def at(self, t: float) -> Vec:
        p = np.asarray(self.point) + t * np.asarray(self.axis)
        return (float(p[0]), float(p[1]), float(p[2]))


def bores(solid: Solid, part: Body) -> tuple[list[Bore], list[Bore]]:
    """(holes, hollows): every hole of the solid in canonical order, and hollow pieces that no tool gets into."""
    size = float(np.linalg.norm(solid.mesh.bounds[1] - solid.mesh.bounds[0]))
    holes: list[Bore] = []
    shut: list[Bore] = []
    for point, axis, pieces in on_one_axis(solid.faces):
        for chain, gaps in chains(point, axis, pieces, part):
            for bore in accessible(point, axis, chain, gaps, part, size):
                (holes if bore.mouth else shut).append(bore)
    return sorted(holes, key=order), shut


def order(bore: Bore) -> tuple[float, ...]:
    """Widest first, then deepest; the rest of the key only breaks ties."""
    return (-round(bore.core.radius, 3), -round(bore.length, 3), *(round(x, 3) for x in bore.at(bore.top)))


def on_one_axis(faces: Iterable[Face]) -> list[tuple[Floats, Floats, list[Piece]]]:
    """Hollow cylinders and cones grouped by axis: (point, axis, pieces in no order)."""
    groups: list[tuple[Floats, Floats, list[Piece]]] = []
    turned = [f for f in faces if f.hollow and f.kind in ("cylinder", "cone") and f.span[1] > f.span[0]]
    for face in sorted(turned, key=lambda f: (-f.area, f.id)):
        point, axis = np.asarray(face.point), np.asarray(vec(face.axis))
        for at, way, pieces in groups:
            off = point - at
            if abs(abs(way @ axis) - 1.0) < 5e-7 and np.linalg.norm(off - (off @ way) * way) < SAME_AXIS:
                pieces.append(piece_of(face, float(off @ way), float(np.sign(way @ axis))))
                break
        else:
            groups.append((point, axis, [piece_of(face, 0.0, 1.0)]))
    return groups


def piece_of(face: Face, at: float, sense: float) -> Piece:
    """The face as a piece in its group's coordinate; `at` is the face's point there, `sense` its axis' sign."""
    slope = math.tan(math.radians(face.half_angle)) if face.kind == "cone" else 0.0
    r0, r1 = face.radius + slope * face.span[0], face.radius + slope * face.span[1]
    t0, t1 = at + sense * face.span[0], at + sense * face.span[1]
    around = face.sweep
    if around <= 0:
        slant = math.hypot(face.span[1] - face.span[0], r1 - r0)
        around = min(360.0, math.degrees(face.area / max(slant * (r0 + r1) / 2, 1e-9)))
    if sense < 0:
        t0, t1, r0, r1 = t1, t0, r1, r0
    return Piece(t0, t1, r0, r1, frozenset((face.id,)), around)


def joined(pieces: Sequence[Piece]) -> list[Piece]:
    """Faces of one cylinder or cone as one piece, kept where together they go round far enough."""
    rows: list[list[Piece]] = []
    for p in sorted(pieces, key=lambda p: (p.start, p.end)):
        for row in rows:
            if one_surface(row[-1], p) and p.start <= max(q.end for q in row) + TOUCH:
                row.append(p)
                break
        else:
            rows.append([p])
    out = []
    for row in rows:
        start, end = min(p.start for p in row), max(p.end for p in row)
        inner = np.linspace(start, end, 33)[1:-1]
        around = max(sum(p.sweep for p in row if p.start - 1e-6 <= t <= p.end + 1e-6) for t in inner)
        if around >= LEAST_SWEEP:
            first, last = min(row, key=lambda p: p.start), max(row, key=lambda p: p.end)
            faces = frozenset().union(*(p.faces for p in row))
            out.append(Piece(start, end, first.r_start, last.r_end, faces, min(around, 360.0)))
    return out


def one_surface(a: Piece, b: Piece) -> bool:
    """Whether two pieces lie on one cylinder or cone."""
    if a.straight != b.straight:
        return False
    if a.straight:
        return abs(a.r_start - b.r_start) < SAME_RADIUS
    slope_a, slope_b = ((p.r_end - p.r_start) / (p.end - p.start) for p in (a, b))
    return abs(slope_a - slope_b) < 1e-3 and abs(a.r_start + slope_a * (b.start - a.start) - b.r_start) < SAME_RADIUS


def chains(
    point: Floats, axis: Floats, pieces: Sequence[Piece], part: Body
) -> list[tuple[list[Piece], tuple[tuple[float, float], ...]]]:
    """Pieces that touch end to end, or face each other across a cavity that the tool passes, with the gaps."""
    out: list[tuple[list[Piece], tuple[tuple[float, float], ...]]] = []
    for p in sorted(joined(pieces), key=lambda p: (p.start, p.end)):
        if out:
            chain, gaps = out[-1]
            last = max(chain, key=lambda q: q.end)
            if p.start <= last.end + TOUCH:
                chain.append(p)
                continue
            alike = last.straight and p.straight and abs(last.radius - p.radius) < SAME_RADIUS
            if alike and clear(point, axis, last.end - TOUCH, p.start + TOUCH, p.radius, part):
                out[-1] = ([*chain, p], (*gaps, (last.end, p.start)))
                continue
        out.append(([p], ()))
    return out


def clear(point: Floats, axis: Floats, start: float, end: float, radius: float, part: Body) -> bool:
    """Whether a round tool passes along the axis from `start` to `end` without the part."""
    tool = rod(tuple(point), tuple(axis), [(start, radius * CLEAR_RADIUS), (end, radius * CLEAR_RADIUS)], 24)
    hit = tool ^ part
    return bool(hit.is_empty() or hit.volume() < 1e-4 * tool.volume() + 1e-6)


def accessible(
    point: Floats,
    axis: Floats,
    chain: Sequence[Piece],
    gaps: tuple[tuple[float, float], ...],
    part: Body,
    size: float,
) -> list[Bore]:
    """The chain as holes, each entered from one mouth (and the narrowest from either end where both are open)."""
    rows = sorted(chain, key=lambda p: (p.start + p.end, p.start))
    middle = float(np.asarray(part.bounding_box()).reshape(2, 3).mean(axis=0) @ axis - point @ axis)
    low, high = middle - size, middle + size
    up = [clear(point, axis, p.end - TOUCH, high, p.radius, part) for p in rows]
    down = [clear(point, axis, low, p.start + TOUCH, p.radius, part) for p in rows]
    both = [k for k in range(len(rows)) if up[k] and down[k]]
    only_up = [k for k in range(len(rows)) if up[k] and not down[k]]
    only_down = [k for k in range(len(rows)) if down[k] and not up[k]]
    none = [k for k in range(len(rows)) if not up[k] and not down[k]]
    out = []
    volume = [sum(rows[k].radius ** 2 * (rows[k].end - rows[k].start) for k in ks) for ks in (only_up, only_down)]
    upper = volume[0] >= volume[1]
    with_up, with_down = (both + only_up, only_down) if upper else (only_up, both + only_down)
    at = vec_of(point)
    if with_up:
        out.append(bore(at, vec(axis), [rows[k] for k in with_up], bool(both) and upper, gaps))
    if with_down:
        flipped = [rows[k].turned() for k in with_down]
        turned = tuple((-b, -a) for a, b in gaps)
        out.append(bore(at, negated(vec(axis)), flipped, bool(both) and not upper, turned))
    if both and with_up and with_down:
        second = 1 if upper else 0
        out[second] = replace(out[second], other_end=True)
    if none and sum(p.sweep for p in (rows[k] for k in none)) > 0:
        out.append(Bore(at, vec(axis), tuple(rows[k] for k in none), mouth=False, far=False))
    return out


def bore(at: Vec, axis: Vec, rows: Sequence[Piece], far: bool, gaps: tuple[tuple[float, float], ...]) -> Bore:
    ordered = tuple(sorted(rows, key=lambda p: (p.start + p.end, p.start)))
    inside = tuple(g for g in gaps if g[0] >= ordered[0].start and g[1] <= ordered[-1].end)
    return canonical(Bore(at, axis, ordered, mouth=True, far=far, gaps=inside))


def canonical(hole: Bore) -> Bore:
    """A plain through hole has no mouth of its own: its axis is given the sense that the frame's order prefers."""
    if not hole.through or any(abs(p.radius - hole.core.radius) > SAME_RADIUS for p in hole.pieces):
        return hole
    a = np.asarray(hole.axis)
    if a[int(np.argmax(np.abs(np.round(a, 6))))] > 0:
        return hole
    turned = tuple(p.turned() for p in reversed(hole.pieces))
    gaps = tuple((-b, -a) for a, b in reversed(hole.gaps))
    return replace(hole, axis=negated(hole.axis), pieces=turned, gaps=gaps)


def vec_of(p: Floats) -> Vec:
    return (float(p[0]), float(p[1]), float(p[2]))


def profile(hole: Bore, grow: float) -> list[tuple[float, float]]:
    """(along the axis, radius) rows of the hole's own room, grown sideways so that the mesh's facets fit in."""
    rows: list[tuple[float, float]] = []
    for p in hole.pieces:
        start = max(p.start, rows[-1][0]) if rows else p.start
        if rows and start - rows[-1][0] > 1e-6:
            rows.append((start, rows[-1][1]))
        end = max(p.end, start)
        rows += [(start, p.r_start + grow if p.r_start > 1e-6 else 0.0), (end, p.r_end + grow)]
    return rows


def sides(hole: Bore) -> tuple[Vec, ...]:
    """Directions from which the hole is open."""
    return (hole.axis, negated(hole.axis)) if hole.through else (hole.axis,)


def is_coaxial(a: Bore, b: Bore) -> bool:
    if not (same(a.axis, b.axis) or same(a.axis, negated(b.axis))):
        return False
    off = np.asarray(a.point) - np.asarray(b.point)
    way = np.asarray(a.axis)
    return bool(np.linalg.norm(off - (off @ way) * way) < SAME_AXIS)
