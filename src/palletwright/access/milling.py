"""How a region is milled along one direction: tools, tip positions, times."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import minimum_filter

from palletwright.access.columns import Look, no_crossings, raster_columns
from palletwright.access.directions import same
from palletwright.access.model import Route
from palletwright.access.regions import REACHED, Region
from palletwright.access.shapes import face_areas
from palletwright.access.work import Work, cut
from palletwright.cutting import Cut, Stage, mill_seconds
from palletwright.field import dilate
from palletwright.shop.model import Tool
from palletwright.solid.model import Face, Floats
from palletwright.verdict import Vec

TIP_SPACING = 2.0
"""mm between tip positions inside a milled region."""
MOST_TIPS = 2000
STEP_OVER = 0.6
"""share of the cutter's diameter between finishing passes on a floor (common practice, no source)."""
OTHER_TOOL_PAYS = 0.85
"""a second, larger tool for roughing must bring the time below this share (a tool change is paid per start)."""
SLIM_COSTS = 5.0
"""a slimmer tool is offered while it takes at most this many times the fastest one's time."""
LEVELS = 8
ESTIMATE = "time estimated from geometry, ±25 %"


@dataclass(frozen=True, eq=False)
class Ground:
    """A region seen along a direction: `floor` its lowest height per cell, +inf where it isn't, in the part of the
    view's grid that starts at row and column `at`; its top and low."""

    floor: Floats
    at: tuple[int, int]
    top: float
    low: float


def ground(r: Region, view: Look) -> Ground:
    seen = r.mesh.corners @ view.frame.T
    flat = seen.reshape(-1, 3)
    j, i, _ = view.cells(np.stack([flat.min(axis=0), flat.max(axis=0)]))
    (j0, j1), (i0, i1) = j, i
    upside = np.ascontiguousarray(seen * np.array([1.0, 1.0, -1.0]))
    top = np.full((int(j1 - j0) + 1, int(i1 - i0) + 1), -np.inf)
    ny, nx = top.shape
    ox, oy = view.origin[0] + i0 * view.pitch, view.origin[1] + j0 * view.pitch
    raster_columns(upside, ox, oy, ny, nx, view.pitch, top, *no_crossings())
    if not np.isfinite(top).any():
        top[ny // 2, nx // 2] = -float(flat[:, 2].min())
    return Ground(-top, (int(j0), int(i0)), float(flat[:, 2].max()), float(flat[:, 2].min()))


def tip_positions(view: Look, tool: Tool, g: Ground) -> Floats:
    """(n, 3) tip positions, part frame, with which the tool covers the region as far as it can.

    Inside the region wherever the tool fits; along walls and past open edges only where that is needed to cover
    the rest. Cells on the border of these positions are all kept, those inside every `TIP_SPACING`.
    """
    whole = view.fields(tool)
    cells = max(tool.cutter.DC / 2 / view.pitch, 0.51)
    window, floor = padded(view, g, int(cells) + 3)
    tip, swept = (f[window] + view.lift for f in whole)
    swept = minimum_filter(swept, size=3, mode="nearest")
    floor = np.where(np.isfinite(floor), np.maximum(floor, swept), np.inf)
    depth = np.full(floor.shape, np.inf)
    for low, high in bands(floor[np.isfinite(floor)], max(0.05, 0.25 * view.pitch)):
        here = (floor >= low) & (floor <= high)
        free = tip <= high + 1e-3
        inner = free & here
        bare = here & ~grown(inner, cells)
        outer = free & ~inner & grown(bare, cells) & grown(~free, 1.5)
        chosen = inner | outer
        depth[chosen] = np.minimum(depth[chosen], np.maximum(tip, low)[chosen])
    return sampled(view, depth, (window[0].start, window[1].start))


def padded(view: Look, g: Ground, cells: int) -> tuple[tuple[slice, slice], Floats]:
    """The window of the view's grid that holds the region with `cells` around it, and its floor there."""
    ny, nx = view.height.shape
    (j0, i0), (rows, cols) = g.at, g.floor.shape
    window = (
        slice(max(0, j0 - cells), min(ny, j0 + rows + cells)),
        slice(max(0, i0 - cells), min(nx, i0 + cols + cells)),
    )
    before = (j0 - window[0].start, i0 - window[1].start)
    after = (window[0].stop - j0 - rows, window[1].stop - i0 - cols)
    floor = np.pad(g.floor, tuple(zip(before, after, strict=True)), constant_values=np.inf)
    return window, floor


def bands(heights: Floats, step: float) -> list[tuple[float, float]]:
    """Heights as at most `LEVELS` bands, so that each floor is one."""
    if not len(heights):
        return []
    levels = np.unique(np.round(heights / step).astype(np.int64)) * step
    if len(levels) <= LEVELS:
        return [(float(v) - step, float(v) + step) for v in levels]
    edges = np.linspace(float(heights.min()), float(heights.max()), LEVELS + 1)
    return [(float(a), float(b)) for a, b in pairwise(edges)]


def grown(mask: NDArray[np.bool_], cells: float) -> NDArray[np.bool_]:
    """Cells nearer than `cells` to the mask."""
    return np.asarray(dilate(mask.astype(np.float32), cells, 0.0) > 0.5) if mask.any() else mask


def sampled(view: Look, depth: Floats, at: tuple[int, int]) -> Floats:
    """Tip positions of the cells with a finite depth: borders in full, the inside thinned out, part frame.

    `depth` is the part of the view's grid that starts at row and column `at`.
    """
    on = np.isfinite(depth)
    if not on.any():
        return np.empty((0, 3))
    inner = on & ~grown(~np.pad(on, 1), 1.1)[1:-1, 1:-1]
    level = np.where(on, depth, 0.0)
    flat = np.abs(np.diff(level, axis=0, append=level[-1:])) < 0.01
    inner &= flat
    jj, ii = np.nonzero(on & ~inner)
    every = max(1, int(TIP_SPACING / view.pitch))
    thin = 1
    while True:
        deep, wide = (np.arange(-a % every, n, every) for a, n in zip(at, on.shape, strict=True))
        kj, ki = np.nonzero(inner[np.ix_(deep, wide)])
        if len(kj) + len(jj[::thin]) <= MOST_TIPS or (thin * view.pitch > 4 * TIP_SPACING):
            break
        thin, every = thin + 1, every + max(1, every // 3)
    j, i = np.concatenate([jj[::thin], deep[kj]]), np.concatenate([ii[::thin], wide[ki]])
    order = np.lexsort((i, j))
    j, i = j[order], i[order]
    x = view.origin[0] + (at[1] + i + 0.5) * view.pitch
    y = view.origin[1] + (at[0] + j + 0.5) * view.pitch
    return np.stack([x, y, depth[j, i]], axis=1) @ view.frame


@dataclass(frozen=True, slots=True)
class Skin:
    """mm² of the part's surface that the region leaves: floors square to the direction, and walls."""

    floor: float
    wall: float


def skin(r: Region, direction: Vec) -> Skin:
    """Floor and wall area of the region along a direction; slanted faces count as floors."""
    mesh = r.mesh
    if mesh.face_of is None:
        return Skin(0.0, 0.0)
    c = mesh.corners[mesh.face_of >= 0]
    n = np.cross(c[:, 1] - c[:, 0], c[:, 2] - c[:, 0])
    area = np.linalg.norm(n, axis=1)
    steep = np.abs(n @ np.asarray(direction)) <= 0.1 * area
    return Skin(float(area[~steep].sum() / 2), float(area[steep].sum() / 2))


def finishing_seconds(work: Work, tool: Tool, s: Skin) -> float:
    """Path over floors at `STEP_OVER` and along walls at the flutes' length, at the finishing feed."""
    conditions, _ = work.rates(tool, "finish")
    path = s.floor / (STEP_OVER * tool.cutter.DC) + s.wall / max(0.8 * tool.cutter.LCF, 1.0)
    return 60.0 * path / conditions.feed


def roughing_seconds(work: Work, tool: Tool, volume: float) -> float:
    conditions, _ = work.rates(tool, "rough")
    return mill_seconds(volume, 0.0, conditions)


def routes(
    work: Work, feature: str, r: Region, view: Look, tools: Sequence[Tool], faces: Sequence[Face], complete: bool
) -> list[Route]:
    """The ways to mill the region along the view's direction: the fastest, and a slimmer one where that differs."""
    if r.outward is not None and same(r.outward, view.direction):
        found = faced(work, feature, r, view)
        if found:
            return found
    rows = r.reach[view.direction]
    total = float(r.weights.sum())
    shares = rows @ r.weights / total if total > 0 else np.zeros(len(tools))
    most = float(shares.max(initial=0.0))
    if most < 0.02:
        return []
    g, s = ground(r, view), skin(r, view.direction)
    if complete and most < REACHED:
        return shared(work, feature, r, view, g, s, tools)
    fit = [k for k in range(len(tools)) if shares[k] >= most - 0.005]
    plans = sorted(
        (plan(work, r, tools, shares, k, s) for k in fit), key=lambda p: (p[0], -tools[p[1]].cutter.DC, p[1])
    )
    chosen = plans[:1]
    slim = [p for p in plans if slimmer(tools[p[1]], tools[plans[0][1]]) and p[0] <= SLIM_COSTS * plans[0][0] + 5.0]
    if slim:
        chosen.append(min(slim, key=lambda p: (width(tools[p[1]]), p[0], p[1])))
    out = []
    for _, finisher, rougher in chosen:
        left = max(0.0, 1.0 - shares[finisher]) * r.volume
        cuts = cuts_of(work, feature, r, view, g, s, tools[rougher], tools[finisher])
        if cuts:
            out.append(Route(view.direction, cuts, float(shares[finisher]), left, notes=notes_of(r, left)))
    return out


def shared(work: Work, feature: str, r: Region, view: Look, g: Ground, s: Skin, tools: Sequence[Tool]) -> list[Route]:
    """The route where no tool alone reaches the region: the one that reaches most, then the one that adds most."""
    rows = r.reach[view.direction]
    total = float(r.weights.sum())
    first = int(np.argmax(rows @ r.weights))
    added = (rows & ~rows[first]) @ r.weights / total
    second = int(np.argmax(added))
    more = float(added[second])
    share = float(rows[first] @ r.weights / total) + more
    cuts = cuts_of(work, feature, r, view, g, s, tools[first], tools[first])
    tips = tip_positions(view, tools[second], g)
    if not cuts or not len(tips):
        return []
    rest = tools[second]
    seconds = roughing_seconds(work, rest, more * r.volume) + more * finishing_seconds(work, rest, s)
    notes = (f"{tools[first].id} doesn't reach {100 * more:.1f} % of it", ESTIMATE)
    extra = cut(work, feature, rest, "finish", view.direction, tips, g.top, max(seconds, 1.0), notes=notes)
    left = max(0.0, 1.0 - share) * r.volume
    return [Route(view.direction, (*cuts, extra), share, left, notes=notes_of(r, left))]


def plan(
    work: Work, r: Region, tools: Sequence[Tool], shares: Floats, finisher: int, s: Skin
) -> tuple[float, int, int]:
    """(seconds, finisher, rougher): the rougher is another tool only where it pays."""
    f = tools[finisher]
    finish = finishing_seconds(work, f, s)
    alone = roughing_seconds(work, f, r.volume) + finish
    best = (alone, finisher, finisher)
    for k, t in enumerate(tools):
        if t.cutter.DC > f.cutter.DC and shares[k] > 0.4:
            both = roughing_seconds(work, t, shares[k] * r.volume) + finish
            both += roughing_seconds(work, f, max(0.0, shares[finisher] - shares[k]) * r.volume)
            if both < OTHER_TOOL_PAYS * alone - 3.0 and both < best[0]:
                best = (both, finisher, k)
    return best


def slimmer(a: Tool, b: Tool) -> bool:
    return width(a) < 0.8 * width(b)


def width(t: Tool) -> float:
    return t.cutter.DC


def cuts_of(
    work: Work, feature: str, r: Region, view: Look, g: Ground, s: Skin, rougher: Tool, finisher: Tool
) -> tuple[Cut, ...]:
    """Roughing and finishing; one pass where the layer is thinner than a roughing cut."""
    d = view.direction
    tips = tip_positions(view, finisher, g)
    if not len(tips):
        return ()
    finish = max(finishing_seconds(work, finisher, s), 1.0)
    out = []
    if rougher.number != finisher.number:
        rough_tips = tip_positions(view, rougher, g)
        if len(rough_tips):
            seconds = roughing_seconds(work, rougher, r.volume)
            out.append(cut(work, feature, rougher, "rough", d, rough_tips, g.top, seconds, notes=(ESTIMATE,)))
    if not out:
        seconds = roughing_seconds(work, finisher, r.volume)
        out.append(cut(work, feature, finisher, "rough", d, tips, g.top, seconds, notes=(ESTIMATE,)))
    out.append(cut(work, feature, finisher, "finish", d, tips, g.top, finish, notes=(ESTIMATE,)))
    return tuple(out)


def notes_of(r: Region, left: float) -> tuple[str, ...]:
    return (f"{left:.1f} mm³ stay (corners, floor fillets)",) if left > 0.002 * r.volume + 0.5 else ()


def faced(work: Work, feature: str, r: Region, view: Look) -> list[Route]:
    """A slab cut along its own direction: the widest face mill, and an end mill as the slim way."""
    g = ground(r, view)
    on = np.isfinite(g.floor)
    area = float(on.sum()) * view.pitch**2
    level = float(np.median(g.floor[on]))
    depth = np.where(on, np.maximum(level, g.low), np.inf)
    tips = sampled(view, depth, g.at)
    out: list[Route] = []
    narrow = np.sqrt(area)
    mills = work.tools("face_mill", "end_mill")
    wanted = [t for t in mills if max(1.6 * narrow, 16.0) >= t.cutter.DC]
    timed = sorted(
        ((face_seconds(work, t, area, g.top - level), k, t) for k, t in enumerate(wanted)), key=lambda x: x[:2]
    )
    if not timed:
        return []
    chosen = [timed[0]]
    slim = [x for x in timed if slimmer(x[2], timed[0][2]) and x[0] <= SLIM_COSTS * timed[0][0]]
    if slim:
        chosen.append(min(slim, key=lambda x: (width(x[2]), x[0])))
    for seconds, _, tool in chosen:
        stage: Stage = "face"
        notes = ("enters by a ramp inside the face", ESTIMATE)
        made = cut(work, feature, tool, stage, view.direction, tips, g.top, seconds, notes=notes)
        out.append(Route(view.direction, (made,), 1.0, 0.0))
    return out


def face_seconds(work: Work, tool: Tool, area: float, thickness: float) -> float:
    conditions, _ = work.rates(tool, "face")
    passes = max(1, int(np.ceil(thickness / max(conditions.ap, 0.05) - 1e-6)))
    path = area / max(conditions.ae, 0.1) + 2 * tool.cutter.DC
    return mill_seconds(0.0, path, conditions, passes=passes)


def faces_left(r: Region) -> frozenset[int]:
    return frozenset(face_areas(r.mesh))
