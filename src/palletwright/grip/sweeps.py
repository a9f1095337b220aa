"""What the tools sweep in one operation, asked about boxes: exact discs, no raster."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from palletwright.solid.model import Floats
from palletwright.verdict import Vec

_CHUNK = 1024
Sweep = tuple[Vec, Floats, Sequence[tuple[float, float, float]], float]


@dataclass(frozen=True, eq=False)
class Swept:
    """All tool discs of one direction: `discs` (m, 4) holds u, v, least height and radius, lowest first (mm).

    A disc sweeps everything above its least height, since the tool comes in and goes out along the direction:
    so what is reported free is free in the approach as well. `basis` (2, 3) spans the view plane.
    """

    direction: Floats
    basis: Floats
    discs: Floats

    @property
    def lowest(self) -> float:
        """mm along the direction; +inf without tools."""
        return float(self.discs[0, 2]) if len(self.discs) else float("inf")

    @property
    def straight(self) -> bool:
        """Whether the tools come from straight above."""
        return float(self.direction[2]) > 1.0 - 1e-6

    def lowest_near(self, ring: Floats, lateral: float) -> float:
        """mm: the least height of the discs within `lateral` mm of a convex counter-clockwise outline (k, 2)."""
        low, high = ring.min(axis=0) - lateral, ring.max(axis=0) + lateral
        for start in range(0, len(self.discs), _CHUNK):
            discs = self.discs[start : start + _CHUNK]
            reach = discs[:, 3:]
            discs = discs[np.all((discs[:, :2] > low - reach) & (discs[:, :2] < high + reach), axis=1)]
            if len(discs):
                hit = discs[distance_to_hull(discs[:, :2], ring) < discs[:, 3] + lateral]
                if len(hit):
                    return float(hit[0, 2])
        return float("inf")


def swept(sweeps: Sequence[Sweep], rotation: Floats, shift: Floats) -> tuple[Swept, ...]:
    """The sweeps in the operation frame (p' = rotation·p + shift), one `Swept` for every direction."""
    groups: list[tuple[Floats, list[Floats]]] = []
    for direction, tips, rows, _entry in sweeps:
        d = rotation @ np.asarray(direction, dtype=np.float64)
        d = np.where(np.abs(d) < 1e-12, 0.0, d / np.linalg.norm(d))
        found = next((g for g in groups if float(g[0] @ d) > 1.0 - 1e-9), None)
        if found is None:
            found = (d, [])
            groups.append(found)
        basis = view_basis(found[0])
        points = np.asarray(tips, dtype=np.float64).reshape(-1, 3) @ rotation.T + shift
        found[1].append(_discs(points, found[0], basis, rows))
    return tuple(Swept(d, view_basis(d), _sorted(np.concatenate(rows))) for d, rows in groups if rows)


def view_basis(direction: Floats) -> Floats:
    """(2, 3): two unit vectors that span the plane seen along the direction."""
    if abs(direction[2]) > 1.0 - 1e-9:
        return np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    u = np.cross([0.0, 0.0, 1.0], direction)
    u /= np.linalg.norm(u)
    return np.stack([u, np.cross(direction, u)])


def _discs(points: Floats, d: Floats, basis: Floats, rows: Sequence[tuple[float, float, float]]) -> Floats:
    flat = np.round(points @ basis.T, 6)
    height = points @ d
    order = np.lexsort((height, flat[:, 1], flat[:, 0]))
    flat, height = flat[order], height[order]
    first = np.ones(len(flat), dtype=bool)
    first[1:] = np.any(flat[1:] != flat[:-1], axis=1)
    flat, height = flat[first], height[first]  # the deepest tip over a point sweeps all that the others do
    stacks, widest = [], 0.0
    for radius, start, _end in rows:
        if radius <= widest:
            continue  # a slimmer row above a wider one sweeps nothing new
        widest = radius
        stacks.append(np.column_stack([flat, height + start, np.full(len(flat), radius)]))
    return np.concatenate(stacks) if stacks else np.zeros((0, 4))


def _sorted(discs: Floats) -> Floats:
    return np.ascontiguousarray(discs[np.argsort(discs[:, 2], kind="stable")])


def shortfall(what: Swept, corners: Floats, lateral: float, vertical: float) -> float:
    """How far (mm) a convex body with these (k, 3) corners stands above what the tools leave it, at most 0 if clear.

    Clear means: at every tool disc, either `lateral` mm beside it or `vertical` mm below it. The true distance is
    then never below the smaller of the two. The body counts up to its greatest height all over its outline, which
    is exact for a box along the direction and careful for others.
    """
    top = float((corners @ what.direction).max())
    m = int(np.searchsorted(what.discs[:, 2], top + vertical))
    if m == 0:
        return min(0.0, top + vertical - what.lowest)
    discs = what.discs[:m]
    flat = corners @ what.basis.T
    low, high = flat.min(axis=0), flat.max(axis=0)
    reach = discs[:, 3] + lateral
    near = np.all((discs[:, :2] > low - reach[:, None]) & (discs[:, :2] < high + reach[:, None]), axis=1)
    discs = discs[near]
    if not len(discs):
        return 0.0
    gap = distance_to_hull(discs[:, :2], hull(flat))
    hit = discs[gap < discs[:, 3] + lateral]
    return top + vertical - float(hit[0, 2]) if len(hit) else 0.0


def hull(points: Floats) -> Floats:
    """Convex hull of (n, 2) points, counter-clockwise (monotone chain)."""
    p = np.unique(np.round(points, 9), axis=0)
    if len(p) < 3:
        return p

    def chain(q: Floats) -> list[Floats]:
        out: list[Floats] = []
        for x in q:
            while len(out) > 1 and _turn(out[-2], out[-1], x) <= 1e-12:
                out.pop()
            out.append(x)
        return out[:-1]

    return np.array(chain(p) + chain(p[::-1]))


def _turn(a: Floats, b: Floats, c: Floats) -> float:
    return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))


def distance_to_hull(points: Floats, ring: Floats) -> Floats:
    """(n,) mm from (n, 2) points to a convex counter-clockwise polygon; 0 inside."""
    a, b = ring, np.roll(ring, -1, axis=0)
    edge = b - a
    length2 = np.maximum((edge**2).sum(axis=1), 1e-18)
    rel = points[:, None, :] - a[None]
    t = np.clip((rel * edge).sum(axis=2) / length2, 0.0, 1.0)
    away = np.linalg.norm(rel - t[..., None] * edge, axis=2).min(axis=1)
    cross = edge[None, :, 0] * rel[..., 1] - edge[None, :, 1] * rel[..., 0]
    inside = np.all(cross >= -1e-12, axis=1) if len(ring) > 2 else np.zeros(len(points), dtype=bool)
    return np.where(inside, 0.0, away)
