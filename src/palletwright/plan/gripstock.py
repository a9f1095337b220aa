"""Grip stock: a strip of blank below the part that the first operation holds and a later one faces away."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from palletwright.access.model import Access, Clamping, Sequence
from palletwright.cutting.model import Cut
from palletwright.plan.directions import negated, same
from palletwright.shop.model import Shop
from palletwright.solid.model import Mesh
from palletwright.verdict import Vec

SLAB = 0.05
"""mm by which a base's removal may reach into the part and still be a slab under it."""

TOUCH = 1e-3
"""mm within which something counts as on the blank's base."""


@dataclass(frozen=True, eq=False)
class GripStock:
    """A slab of `depth` mm under the blank's base in direction `down`, faced away in clamping `gone_in`."""

    depth: float
    down: Vec
    slab: Mesh
    gone_in: int
    feature: str
    volume: float


def depths(shop: Shop, clearance: float) -> tuple[float, ...]:
    """Depths of strip worth trying, mm: room for the shop's edge clamps of middle height under the cutters.

    Clamp height plus the clearance that a cutter keeps, rounded up to half a millimetre.
    """
    heights = sorted({c.height for c in shop.clamps if c.kind == "edge"})
    return tuple(float(np.ceil(2 * (h + clearance + 0.25)) / 2) for h in heights[1:2] or heights[:1])


def grip_stock(access: Access, sequence: Sequence, depth: float) -> GripStock | None:
    """The strip for a sequence's first clamping; None where no later clamping faces it away."""
    first = sequence.clampings[0]
    down = negated(first.ups[0])
    for k, clamping in enumerate(sequence.clampings[1:], start=1):
        if not any(same(d, down) for d in clamping.directions):
            continue
        feature = _facing(access, clamping.features, down)
        if feature is not None:
            slab = _slab(access.stock, down, depth)
            return None if slab is None else GripStock(depth, down, slab, k, feature, slab.volume)
    return None


def turned_over(access: Access, sequence: Sequence) -> Sequence | None:
    """The sequence with the blank's base, which a clamping cuts from beside, faced in a clamping of its own at the end.

    So that grip stock under the first clamping can go: one clamping more, where nothing else leaves a wall to hold.
    None where the base is no slab of its own, or isn't reached from below.
    """
    down = negated(sequence.clampings[0].ups[0])
    way = np.asarray(down)
    base, part = (float((m.vertices @ way).max()) for m in (access.stock, access.solid.mesh))
    for f in access.features:
        heights = f.removal.vertices @ way if len(f.removal.vertices) else np.array([-np.inf])
        slab = heights.max() > base - TOUCH and heights.min() > part - SLAB
        if slab and any(same(r.direction, down) and r.pair is None for r in f.routes):
            rows = [_without(c, f.id) for c in sequence.clampings]
            own = Clamping((down,), ((f.id, down),), None, (down,))
            return replace(sequence, clampings=(*(c for c in rows if c.features), own))
    return None


def _without(clamping: Clamping, feature: str) -> Clamping:
    rows = tuple(row for row in clamping.features if row[0] != feature)
    used = tuple(d for d in clamping.directions if any(same(d, e) for _, e in rows))
    return replace(clamping, features=rows, directions=used)


def _facing(access: Access, rows: tuple[tuple[str, Vec], ...], down: Vec) -> str | None:
    """The feature of those cut from `down` that takes the blank's base off."""
    base = float((access.stock.vertices @ np.asarray(down)).max())
    names = {f for f, d in rows if same(d, down)}
    for f in access.features:
        if f.id in names and len(f.removal.vertices):
            heights = f.removal.vertices @ np.asarray(down)
            if heights.max() > base - TOUCH and f.kind in ("face", "step", "profile", "region"):
                return f.id
    return None


def _slab(stock: Mesh, down: Vec, depth: float) -> Mesh | None:
    """The blank's base face carried `depth` mm further down, overlapping it by a hair so that they join.

    None where the blank doesn't end in a flat face there.
    """
    from scipy.spatial import ConvexHull

    from palletwright.solid import prism
    from palletwright.solid.bodies import frame_along

    way = np.asarray(down)
    heights = stock.vertices @ way
    flat = stock.vertices[heights > heights.max() - TOUCH] @ frame_along(way)[:, :2]
    if len(flat) < 3 or np.linalg.svd(flat - flat.mean(axis=0), compute_uv=False)[-1] < TOUCH:
        return None
    outline = flat[ConvexHull(flat).vertices]
    start = float(heights.max()) - 0.01
    return prism(outline, way * start, way, depth + 0.01)


def with_strip(mesh: Mesh, strip: GripStock | None, present: bool) -> Mesh:
    """The in-process shape with the strip still on it."""
    from palletwright.solid import union

    return union([mesh, strip.slab]) if strip is not None and present else mesh


def faced(cut: Cut, strip: GripStock | None, clamping: int) -> Cut:
    """The cut that faces the strip away: it starts higher and takes longer by the strip's volume."""
    if strip is None or clamping != strip.gone_in or cut.feature != strip.feature:
        return cut
    if cut.stage == "finish" or not same(cut.direction, strip.down):
        return cut
    c = cut.conditions
    rate = max(c.ap * c.ae * c.feed / 60.0, 1.0)
    return replace(
        cut,
        entry=cut.entry + strip.depth,
        seconds=cut.seconds + strip.volume / rate,
        notes=(*cut.notes, f"faces {strip.depth:g} mm of grip stock away"),
    )
