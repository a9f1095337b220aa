"""What must go besides holes: slabs over the part's extreme faces, then connected regions, split where one
direction doesn't reach all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from palletwright.access.columns import Look, inside_points
from palletwright.access.directions import vec
from palletwright.access.shapes import Body, mesh_of, subtract, unite
from palletwright.shop.model import Tool
from palletwright.solid.model import Face, Floats, Mesh
from palletwright.verdict import Vec

REACHED = 0.98
"""share of a region's volume from which one direction counts as reaching it."""
SKIN = 1e-4
"""mm by which a slab goes below the part's extreme face, so that no film joins the pockets under it."""
POINTS = 3000
"""sample points per region: a share of volume is then known within about 1 %."""
GREATEST_PIECES = 60
"""pieces that one part's regions are split into at most."""

Reach = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Region:
    """A connected piece of removal. `points` (n, 3) part frame stand for `weights` mm³ each.

    `reach[d]` (tools, n): which points each tool reaches along direction d. `outward`: a slab's own direction.
    """

    body: Body
    mesh: Mesh
    points: Floats
    weights: Floats
    outward: Vec | None = None
    reach: dict[Vec, Reach] = field(default_factory=dict)

    @property
    def volume(self) -> float:
        return self.mesh.volume

    def share(self, direction: Vec) -> float:
        """Share of the volume that the tools together reach along a direction."""
        rows = self.reach.get(direction)
        if rows is None or not len(self.weights):
            return 0.0
        return float(self.weights[rows.any(axis=0)].sum() / self.weights.sum())

    def best(self) -> tuple[float, Vec | None]:
        rows = [(round(self.share(d), 4), -k, d) for k, d in enumerate(self.reach)]
        if not rows:
            return 0.0, None
        share, _, direction = max(rows, key=lambda row: row[:2])
        return share, direction

    def union_share(self) -> float:
        if not self.reach or not len(self.weights):
            return 0.0
        anyhow = np.any([rows.any(axis=0) for rows in self.reach.values()], axis=0)
        return float(self.weights[anyhow].sum() / self.weights.sum())


def region(body: Body, frame: Floats, outward: Vec | None = None, error: float = 0.0) -> Region:
    mesh = mesh_of(body, error)
    points, weights = inside_points(mesh.corners, frame, POINTS)
    return Region(body, mesh, points, weights, outward)


def regions(rest: Body, part: Mesh, frame: Floats, least: float, error: float) -> list[Region]:
    """Slabs and components of what is left after the holes; pieces under `least` mm³ are dropped."""
    seen = part.vertices @ frame.T
    low, high = seen.min(axis=0), seen.max(axis=0)
    size = high - low
    slabs: list[Region] = []
    ways = [(k, s) for k in range(3) for s in (1.0, -1.0)]
    for k, s in sorted(ways, key=lambda row: (-round(float(np.prod(np.delete(size, row[0]))), 2), row[0], -row[1])):
        normal = tuple(float(x) for x in s * frame[k])
        limit = (float(high[k]) if s > 0 else -float(low[k])) - SKIN
        over, rest = rest.split_by_plane(normal, limit)
        if not over.is_empty() and over.volume() > max(least, SKIN * 20 * float(np.prod(np.delete(size, k)))):
            slabs.append(region(over, frame, vec(normal), error))
    pieces = [region(b, frame, None, error) for b in rest.decompose() if b.volume() > least]
    pieces = [p for p in pieces if p.volume / max(surface(p.mesh), 1e-9) > 2 * SKIN]
    return slabs + sorted(pieces, key=place)


def surface(mesh: Mesh) -> float:
    c = mesh.corners
    return float(np.linalg.norm(np.cross(c[:, 1] - c[:, 0], c[:, 2] - c[:, 0]), axis=1).sum() / 2)


def place(r: Region) -> tuple[float, ...]:
    """Greatest first; position only breaks ties."""
    return (-round(r.volume, 2), *(round(float(x), 2) for x in r.mesh.centroid))


def look_at(regions_: Sequence[Region], view: Look, tools: Sequence[Tool]) -> None:
    """Fill in each region's reach along one direction."""
    points = [r.points @ view.frame.T for r in regions_]
    rows = [np.empty((len(tools), len(p)), dtype=bool) for p in points]
    for k, t in enumerate(tools):
        for row, p in zip(rows, points, strict=True):
            row[k] = view.reached(t, p)
    for r, row in zip(regions_, rows, strict=True):
        r.reach[view.direction] = row
    view.forget()


def planes_of(faces: Sequence[Face], frame: Floats) -> list[tuple[Floats, float]]:
    """(unit normal, offset) of the part's planar faces, each plane once, by area."""
    rows: list[tuple[Floats, float]] = []
    for f in sorted((f for f in faces if f.kind == "plane"), key=lambda f: (-f.area, f.id)):
        n = np.asarray(vec(f.axis))
        at = float(n @ np.asarray(f.point))
        if not any(abs(abs(n @ m) - 1) < 1e-6 and abs(at - float(np.sign(n @ m)) * o) < 1e-3 for m, o in rows):
            rows.append((n, at))
    return rows


def split_up(
    rows: Sequence[Region], planes: Sequence[tuple[Floats, float]], frame: Floats, least: float
) -> list[Region]:
    """Regions cut along the part's own planes until one direction reaches each, or nothing more is to be gained."""
    done: list[Region] = []
    waiting = list(rows)
    while waiting:
        r = waiting.pop(0)
        share, _ = r.best()
        gain = r.union_share() - share
        full = len(done) + len(waiting) >= GREATEST_PIECES
        if share >= REACHED or gain * r.volume < max(least, 0.005 * r.volume) or full or len(r.weights) < 20:
            done.append(r)
            continue
        plane = best_plane(r, planes, frame)
        parts = cut_by(r, plane, least) if plane is not None else []
        if len(parts) < 2:
            done.append(r)
        else:
            waiting = parts + waiting
    return done


def best_plane(r: Region, planes: Sequence[tuple[Floats, float]], frame: Floats) -> tuple[Floats, float] | None:
    """The plane after which the two halves' best directions reach most in sum; None where no plane gains 1 %."""
    reached = np.stack([rows.any(axis=0) for rows in r.reach.values()])
    weighted = reached * r.weights
    total = weighted.sum(axis=1)
    before, whole = float(total.max()), float(r.weights.sum())
    seen = r.points @ frame.T
    middles = [(frame[k], float(np.quantile(seen[:, k], q))) for k in range(3) for q in (0.5, 0.25, 0.75, 0.125, 0.875)]
    best: tuple[float, tuple[Floats, float] | None] = (0.01 * whole, None)
    for own, rows in ((True, planes), (False, middles)):
        if not own and best[1] is not None:
            break
        for normal, offset in rows:
            over = r.points @ normal > offset
            if not over.any() or over.all():
                continue
            above = weighted[:, over].sum(axis=1)
            gain = float(above.max() + (total - above).max()) - before
            if gain > best[0] + 1e-9 * whole:
                best = (gain, (normal, offset))
    return best[1]


def cut_by(r: Region, plane: tuple[Floats, float], least: float) -> list[Region]:
    """The region's connected pieces on both sides of a plane, each with its own points."""
    normal, offset = plane
    over, under = r.body.split_by_plane(tuple(float(x) for x in normal), float(offset))
    side = r.points @ normal > offset
    out: list[Region] = []
    for body, mine in ((over, side), (under, ~side)):
        if body.is_empty() or body.volume() < least:
            continue
        out.append(
            replace(
                r,
                body=body,
                mesh=mesh_of(body, r.mesh.chord_error),
                points=r.points[mine],
                weights=r.weights[mine],
                reach={d: rows[:, mine] for d, rows in r.reach.items()},
            )
        )
    return out


def joined(rows: Sequence[Region]) -> list[Region]:
    """Neighbours that one direction reaches together become one region again."""
    out = list(rows)
    k = 0
    while k < len(out):
        for m in range(k + 1, len(out)):
            a, b = out[k], out[m]
            if (a.outward is None) != (b.outward is None) or a.outward != b.outward:
                continue
            if not any(a.share(d) >= REACHED and b.share(d) >= REACHED for d in a.reach):
                continue
            if not boxes_meet(a.mesh, b.mesh):
                continue
            body = unite([a.body, b.body])
            if len(body.decompose()) == 1:
                reach = {d: np.concatenate([a.reach[d], b.reach[d]], axis=1) for d in a.reach}
                points, weights = np.concatenate([a.points, b.points]), np.concatenate([a.weights, b.weights])
                out[k] = Region(body, mesh_of(body, a.mesh.chord_error), points, weights, a.outward, reach)
                del out[m]
                k -= 1
                break
        k += 1
    return out


def boxes_meet(a: Mesh, b: Mesh) -> bool:
    return bool((a.bounds[0] <= b.bounds[1] + 1e-3).all() and (b.bounds[0] <= a.bounds[1] + 1e-3).all())


def without(raw: Body, rods: Sequence[Body]) -> tuple[list[Body], Body]:
    """(each rod's own share of the removal, first come first served; the removal without all of them)."""
    taken: list[Body] = []
    used: list[Body] = []
    for r in rods:
        taken.append(subtract(r ^ raw, [u for u in used if not (u ^ r).is_empty()]))
        used.append(r)
    return taken, subtract(raw, rods)
