"""What the part stands on: the carrier's face with relief, or raised rests."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from palletwright.grip.patches import Patch
from palletwright.grip.sweeps import hull
from palletwright.grip.work import Work
from palletwright.shop.model import Locator
from palletwright.solid.model import Floats
from palletwright.verdict import Vec

UNDER = 1.0  # mm kept free under a part that reaches below its seat; common practice, no source
DEEPEST_RELIEF = 20.0  # mm: a deeper pocket in the carrier is a margin to be argued; common practice, no source
MOST_POINTS = 8  # points that stand for a flat seat
FEW = 200  # circles that are joined one by one
CELL = (0.2, 1.0)  # mm to which the places of more are rounded, a tenth of the radius between
RUN = 3  # cells that a run of places may skip: far less than any tool's radius
ALIKE = 0.5  # mm by which two lifts have to differ to be two; our own choice
PAD = 3.0  # mm: half-width of a support's contact; common practice, no source


@dataclass(frozen=True, eq=False)
class Seat:
    """Three points (3, 3) of the base, `relief` mm that tools reach below it, `lift` over the carrier's face.

    `rest` is the shop's rest that lifts it, `under` names what does otherwise; not `apart`: a part of the jaws does.
    `more` are further points of the hull of what touches, where the part sits on one flat face. `ground` is the id of
    what the points stand on where that is no rest.
    """

    points: Floats
    relief: float
    lift: float
    rest: Locator | None
    notes: tuple[str, ...] = ()
    under: str = "machined pad"
    apart: bool = True
    more: tuple[Vec, ...] = ()
    ground: str = "carrier"


def relief_depth(work: Work) -> float:
    """mm that the carrier's face has to lie below the base for the tools from above to clear it by their floor."""
    low = min((s.lowest for s in work.swept if s.straight), default=np.inf)
    return max(0.0, work.vertical - low)


def cut_outs(work: Work, level: float, margin: float) -> BaseGeometry:
    """Where tools from above come lower than `level` over the base, grown by a margin; never smaller (mm)."""
    key = (round(level, 6), margin)
    if key not in work.gone:
        shapes: list[BaseGeometry] = []
        for s in work.swept:
            low = s.discs[s.discs[:, 2] < level - 1e-6] if s.straight else s.discs[:0]
            shapes += [_swept(low[low[:, 3] == r][:, :2], float(r) + margin) for r in np.unique(low[:, 3])]
        work.gone[key] = shapely.union_all(shapes) if shapes else shapely.Polygon()
    return work.gone[key]


def unsupported(work: Work) -> BaseGeometry:
    """What of the base nothing may stand under: a tool comes so near that it would meet a rest or needs a relief."""
    return cut_outs(work, work.vertical, work.lateral)


def _swept(at: Floats, radius: float) -> BaseGeometry:
    """Circles about points (n, 2); many points are first gathered into level runs, which makes it a little larger."""
    if len(at) <= FEW:
        return shapely.MultiPoint(at).buffer(radius / np.cos(np.pi / 32), quad_segs=8)
    size = float(np.clip(radius / 10.0, *CELL))
    cells = np.unique(np.round(at[:, ::-1] / size).astype(np.int64), axis=0)
    new = np.ones(len(cells), dtype=bool)
    new[1:] = (cells[1:, 0] != cells[:-1, 0]) | (cells[1:, 1] > cells[:-1, 1] + RUN)
    first = np.flatnonzero(new)
    last = np.append(first[1:], len(cells)) - 1
    ends = np.stack([cells[first][:, ::-1], cells[last][:, ::-1]], axis=1) * size
    ends[ends[:, 0, 0] == ends[:, 1, 0], 1, 0] += 1e-3
    return shapely.MultiLineString(list(ends)).buffer((radius + 0.75 * size) / np.cos(np.pi / 32), quad_segs=8)


def support_points(work: Work) -> Floats | None:
    """(3, 3) mm: three points of the base, the centre of mass as deep inside their triangle as it can be.

    Where no single face carries the part, the points may lie on faces at different heights.
    """
    gone = unsupported(work)
    centre = np.asarray(work.before.centroid[:2])
    if work.base is not None:
        found = _widest(_on_face(work.base, gone, 24), centre)
        if found is not None:
            return found
    faces = sorted(work.bases, key=lambda b: -round(b.area.area, 6))[:6]
    points = [_on_face(b, gone, 8) for b in faces]
    return _widest(np.concatenate(points), centre) if points else None


def patch_points(work: Work, points: Floats) -> tuple[Vec, ...]:
    """Further points about the hull of what touches, where the three points stand on one flat face of the part.

    A face bears all over, not at three points: a push beside the triangle that they span doesn't tip the part.
    """
    if work.base is None or float(np.ptp(points[:, 2])) > 1e-6:
        return ()
    gone = unsupported(work)
    kept = list(points)
    for p in _spread(_on_face(work.base, gone, 24)):
        if min(float(np.hypot(*(p - q)[:2])) for q in kept) > 2.0 * PAD:
            kept.append(p)
        if len(kept) == MOST_POINTS:
            break
    return tuple((float(p[0]), float(p[1]), float(p[2])) for p in kept[3:])


def _spread(points: Floats) -> Floats:
    """The points in an order in which each is the farthest from those before it, the outermost first."""
    if not len(points):
        return points
    order = [int(np.argmax(np.round(np.linalg.norm(points - points.mean(axis=0), axis=1), 6)))]
    away = np.full(len(points), np.inf)
    while len(order) < len(points):
        away = np.minimum(away, np.linalg.norm(points - points[order[-1]], axis=1))
        away[order] = -1.0
        order.append(int(np.argmax(np.round(away, 6))))
    return np.asarray(points[order])


def _on_face(face: Patch, gone: BaseGeometry, most: int) -> Floats:
    """(n, 3) points of a face that can carry a support."""
    free = face.area.difference(gone)
    inner = free.buffer(-PAD)
    if inner.is_empty:
        inner = free.buffer(-0.3)
    flat = _candidates(inner, most) if not inner.is_empty else np.zeros((0, 2))
    return np.column_stack([flat, np.full(len(flat), float(face.origin[2]))])


def _widest(points: Floats, centre: Floats) -> Floats | None:
    best: Floats | None = None
    most = 1e-3
    for triple in combinations(range(len(points)), 3):
        corners = points[list(triple)]
        depth = round(_depth(corners[:, :2], centre), 6)
        if depth > most:
            best, most = corners, depth
    return best


def _candidates(area: BaseGeometry, most: int) -> Floats:
    """At most `most` points of the hull's boundary that lie on the area itself."""
    ring = hull(np.asarray(shapely.get_coordinates(area)))
    if len(ring) < 3:
        return np.zeros((0, 2))
    ring = np.asarray(shapely.Polygon(ring).simplify(0.05).exterior.coords)[:-1]
    middles = (ring + np.roll(ring, -1, axis=0)) / 2.0
    points = np.concatenate([ring, middles]) if len(ring) <= 12 else ring
    on = shapely.covers(area.buffer(1e-6), shapely.points(points))
    points = np.asarray(points[on])
    return points[:: max(1, -(-len(points) // most))]


def _depth(corners: Floats, centre: Floats) -> float:
    """Least distance (mm) of the centre from the triangle's sides, negative outside."""
    a, b, c = corners
    area = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    if abs(area) < 1e-9:
        return -1.0
    sign = 1.0 if area > 0 else -1.0
    result = np.inf
    for p, q in ((a, b), (b, c), (c, a)):
        edge = q - p
        side = edge[0] * (centre[1] - p[1]) - edge[1] * (centre[0] - p[0])
        result = min(result, sign * side / float(np.hypot(*edge)))
    return float(result)


def seats(work: Work) -> tuple[Seat, ...]:
    """The ways to seat the part: the carrier's face with relief where a tool comes near it, and raised rests.

    Rests lift the part over what reaches below its base and over the tools from above; where tools come from beside,
    also high enough for those to pass over the carrier.
    """
    points = support_points(work)
    if points is None:
        return ()
    depth = relief_depth(work)
    rests = [r for r in work.shop.locators if r.kind == "rest"]
    rest = min(rests, key=lambda r: (r.footprint[0] * r.footprint[1], r.id), default=None)
    protrusion = work.below_base
    more = patch_points(work, points)
    result = []
    if protrusion <= 1e-6:
        note: tuple[str, ...] = (f"relief {depth:.1f} mm deep in the carrier below the part",) if depth > 0 else ()
        if float(points[:, 2].max()) > 1e-6:
            note += ("no single face carries the part: supports of different heights",)
        result.append(Seat(points, depth, 0.0, None, note, more=more))
    beside = work.lateral - _lowest_aside(work)
    low = max(depth, protrusion + UNDER if protrusion else 0.0)
    lifts = {round(max(low, rest.height if rest else 0.0), 6)} if depth > 0 or protrusion > 0 else set()
    if beside > max(lifts, default=0.0) + ALIKE:
        lifts.add(round(max(low, beside), 6))
    for lift in sorted(lifts):
        told = (f"part stands on rests {lift:.1f} mm over the carrier",)
        result.append(Seat(points, depth, lift, rest, told, more=more))
    return tuple(result)


def _lowest_aside(work: Work) -> float:
    """mm over the base: the lowest that a tool from beside reaches; infinite without one."""
    least = np.inf
    for s in work.swept:
        if not s.straight and len(s.discs):
            middle = s.discs[:, :2] @ s.basis[:, 2] + s.discs[:, 2] * s.direction[2]
            least = min(least, float((middle - s.discs[:, 3] * np.linalg.norm(s.basis[:, 2])).min()))
    return least
