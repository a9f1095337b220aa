"""From a solid, its blank and the shop to features, the ways to cut them, and the clampings that cut them all."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace

import numpy as np

from palletwright.access import wishes
from palletwright.access.chamfering import chamfered
from palletwright.access.clampings import Forbid
from palletwright.access.columns import one_thread
from palletwright.access.directions import candidates, negated, same, vec
from palletwright.access.drilling import drill
from palletwright.access.forms import forms
from palletwright.access.holes import Bore, bores, profile, sides
from palletwright.access.kinds import kind_of, smallest_inside_radius
from palletwright.access.milling import faces_left
from palletwright.access.milling import routes as milled_routes
from palletwright.access.model import Access, Feature, HoleStep, LeftOver, Route
from palletwright.access.orders import fronts_of, sequences, with_order
from palletwright.access.regions import (
    REACHED,
    Region,
    joined,
    look_at,
    planes_of,
    regions,
    split_up,
    without,
)
from palletwright.access.shapes import Body, body_of, mesh_of, rod, subtract
from palletwright.access.tight import of_form, tight_wishes
from palletwright.access.work import Work
from palletwright.access.workpiece import Workpiece, workpiece_of
from palletwright.job.model import Job
from palletwright.shop.model import Machine, Material, Shop
from palletwright.solid.model import Mesh, Solid
from palletwright.solid.tolerances import Tolerances
from palletwright.verdict import Reason, Vec

LEAST_VOLUME = 0.05
"""mm³ below which a piece of removal is an artefact of the mesh."""
MUCH = 500.0
"""mm³ from which what stays is always named, however large; below, 2 % of a region is within the samples' error."""
MORE_DIRECTIONS = 10
"""directions beyond the part's axes and its holes' that are tried where something isn't reached."""

Progress = Callable[[str, float], None]


def analyse(
    solid: Solid,
    stock: Mesh,
    shop: Shop,
    material: Material,
    machine: Machine,
    job: Job | None = None,
    *,
    pitch: float | None = None,
    forbid: Collection[Forbid] = (),
    progress: Progress | None = None,
    tolerances: Tolerances | None = None,
) -> Access:
    """What must go, which tools reach it from where, and the fewest clampings that cut it all.

    Parameters
    ----------
    solid, stock : the part and its blank, part frame, mm
    job : the engineer's facts, overrides, known operations and wishes
    pitch : mm of the height fields; by default from the part's size
    forbid : (axis, up, feature ids) of clampings that have no grip: none with that axis (None: fixed) and up may cut
        all of these features; ids None: none at all
    progress : called with words and the share done
    tolerances : as `solid.read_tolerances` reads them from the part's file; tight ones between features ask for one
        clamping

    Returns
    -------
    Access
        `error_bound` mm is the most by which an edge of reach may be off: a cell's diagonal and the chord error.

    Raises
    ------
    InputError
        A mesh isn't closed, or the job names a feature that isn't there or is ambiguous.
    """
    tell = progress or (lambda text, share: None)
    scene = workpiece_of(solid, Work(shop, material, machine), pitch)
    with one_thread():
        features, left, reasons = found(scene, stock, job, tell)
        tell("clampings", 0.85)
        asked = tight_wishes(features, tolerances)
        orders = sequences(scene, features, job, tuple(forbid), asked)
    if tolerances is not None:
        reasons += [Reason("tolerances", tolerances.note), *of_form(features, tolerances)]
    able = bool(orders.fixed or orders.rotary or not any(f.routes for f in features))
    return Access(
        solid=solid,
        stock=stock,
        directions=directions_of(scene, features),
        features=tuple(features),
        left_over=tuple(left),
        fixed=orders.fixed,
        rotary=orders.rotary,
        pitch=scene.pitch,
        error_bound=scene.pitch * 2**0.5 / 2 + solid.mesh.chord_error,
        reasons=(*reasons, *orders.reasons),
        status="ok" if able else "infeasible",
        wanted=(*(job.together if job else ()), *(w.features for w in asked)),
        known=orders.known,
    )


def found(
    scene: Workpiece, stock: Mesh, job: Job | None, tell: Progress
) -> tuple[list[Feature], list[LeftOver], list[Reason]]:
    """The features with the job's overrides, what no tool reaches, and what of the job couldn't be met."""
    solid = scene.solid
    tell("holes", 0.1)
    holes, shut = bores(solid, scene.part)
    scene.forms.extend(forms(solid, scene.frame, {k for h in holes for k in h.faces}))
    raw = subtract(body_of(replace(stock, face_of=None)), [scene.part])
    grow = 2 * solid.mesh.chord_error + 0.01
    rods = [rod(h.point, h.axis, profile(h, grow), segments(h)) for h in holes]
    taken, rest = without(raw, rods)
    tell("regions", 0.2)
    rows = regions(rest, solid.mesh, scene.frame, LEAST_VOLUME, solid.mesh.chord_error)
    rows = reached(scene, rows, holes, tell)
    tell("routes", 0.7)
    features, left = made(scene, holes, taken, rows, job)
    left += shut_left(shut, features)
    features, reasons = wishes.honoured(features, job)
    return features, left, reasons


def segments(h: Bore) -> int:
    """Facets of a hole's room: fine enough that the mesh's own facets stay inside the grown radius."""
    return int(np.clip(np.ceil(np.pi / np.arccos(1 - 0.005 / max(max(p.radius for p in h.pieces), 0.1))), 24, 256))


def reached(scene: Workpiece, rows: list[Region], holes: Sequence[Bore], tell: Progress) -> list[Region]:
    """The regions with their reach along every direction worth trying, split where that is needed."""
    if not scene.mills or not rows:
        return rows
    axes = [d for h in holes for d in sides(h)]
    ways = candidates(scene.solid.faces, scene.frame, axes)
    first = [d for k, d in enumerate(ways) if k < 6 or any(same(d, a) or same(d, negated(a)) for a in axes)]
    for k, d in enumerate(first):
        look_at(rows, scene.look(d), scene.mills)
        tell("reach", 0.2 + 0.4 * (k + 1) / len(first))
    lost = sum((1 - r.union_share()) * r.volume for r in rows if r.outward is None)
    if lost > 0.01 * sum(r.volume for r in rows):
        for d in [d for d in ways if d not in first][:MORE_DIRECTIONS]:
            look_at(rows, scene.look(d), scene.mills)
    planes = planes_of(scene.solid.faces, scene.frame)
    slabs = [r for r in rows if r.outward is not None]
    pieces = split_up([r for r in rows if r.outward is None], planes, scene.frame, LEAST_VOLUME)
    return slabs + joined(pieces)


def made(
    scene: Workpiece, holes: Sequence[Bore], taken: Sequence[Body], rows: Sequence[Region], job: Job | None
) -> tuple[list[Feature], list[LeftOver]]:
    """All features with their routes, ids in canonical order, and what no tool reaches."""
    features: list[Feature] = []
    left: list[LeftOver] = []
    facts = wishes.threads_of(job, holes)
    for k, (h, body) in enumerate(zip(holes, taken, strict=True), start=1):
        feature, stays = hole_feature(scene, f"hole-{k}", h, body, facts.get(k - 1))
        features.append(feature)
        left += stays
    counts: dict[str, int] = {}
    for r in rows:
        kind = kind_of(r, scene.faces, scene.frame)
        counts[kind] = counts.get(kind, 0) + 1
        feature, stays = milled_feature(scene, f"{kind}-{counts[kind]}", kind, r)
        features.append(feature)
        left += stays
    return with_order(features, fronts_of(features)), left


def hole_feature(scene: Workpiece, name: str, h: Bore, body: Body, fact: str | None) -> tuple[Feature, list[LeftOver]]:
    """One hole as a feature. `fact`: a drawing's thread, 'not_threaded', or None where nothing is said."""
    thread, notes = wishes.thread_of(h, fact)
    volume = max(float(body.volume()), 0.0)
    answer = drill(scene.work, name, h, volume, thread, opens_inside(scene, h), scene.clear)
    core = h.core
    steps = tuple(HoleStep(2 * p.r_end, 2 * p.r_start, h.top - p.end, h.top - p.start) for p in reversed(h.pieces))
    at = h.at(h.top)
    text = f"hole Ø{2 * core.radius:.3f}x{h.length:.2f} at {at[0]:.2f},{at[1]:.2f},{at[2]:.2f}"
    if h.other_end:
        notes += ("steps at the other end of a hole that is stepped at both",)
    if h.gaps:
        notes += (f"interrupted by {len(h.gaps)} cavity",)
    feature = Feature(
        id=name,
        kind="hole",
        signature=text,
        removal=mesh_of(body, scene.solid.mesh.chord_error) if not body.is_empty() else empty(at),
        volume=volume,
        faces=h.faces,
        routes=answer.routes,
        diameter=2 * core.radius,
        depth=h.length,
        through=h.through,
        axis=h.axis,
        position=at,
        steps=steps,
        thread=thread.name if thread else None,
        notes=notes + answer.notes,
    )
    return feature, list(answer.left_over)


def empty(at: Vec) -> Mesh:
    return Mesh(np.array([at] * 3, dtype=np.float64), np.empty((0, 3), dtype=np.int32))


def opens_inside(scene: Workpiece, h: Bore) -> bool:
    """Whether a blind hole ends in a cavity: hardly any part stands just below its bottom."""
    if h.through or h.pieces[0].r_start < 1e-3:
        return False
    radius = 0.9 * h.pieces[0].r_start
    disc = rod(h.point, h.axis, [(h.bottom - 0.3, radius), (h.bottom - 0.05, radius)], 24)
    return bool((disc ^ scene.part).volume() < 0.05 * disc.volume())


def milled_feature(scene: Workpiece, name: str, kind: str, r: Region) -> tuple[Feature, list[LeftOver]]:
    """One milled region as a feature, with what stays of it."""
    share, best = r.best()
    found: list[Route] = []
    for d in r.reach:
        complete = r.share(d) >= REACHED
        if complete or (d == best and share > 0.02) or (r.outward is not None and same(d, r.outward)):
            flank = chamfered(scene.work, name, r, scene.look(d)) if kind == "chamfer" else []
            if flank:
                found += flank
                continue
            whole = complete or d == best
            found += milled_routes(
                scene.work, name, r, scene.look(d), scene.mills, scene.solid.faces, whole and complete
            )
    radius = smallest_inside_radius(r, scene.faces)
    notes = (f"smallest inside radius {radius:.2f} mm",) if radius is not None else ()
    c = r.mesh.centroid
    feature = Feature(
        id=name,
        kind=kind,  # type: ignore[arg-type]
        signature=f"{kind} {r.volume:.1f} mm³ at {c[0]:.2f},{c[1]:.2f},{c[2]:.2f}",
        removal=r.mesh,
        volume=r.volume,
        faces=faces_left(r),
        routes=tuple(found),
        position=(float(c[0]), float(c[1]), float(c[2])),
        notes=notes,
        forms=tuple(f.kind for f in scene.forms if f.faces & faces_left(r)),
    )
    stays = min((x.left_over for x in found), default=r.volume)
    if not found or stays > max(2.0, min(0.02 * r.volume, MUCH)):
        return feature, [LeftOver(name, stays, *why_left(scene, r, radius, bool(found)))]
    return feature, []


def why_left(scene: Workpiece, r: Region, radius: float | None, some: bool) -> tuple[str, str]:
    """Why material stays, and what would do: seen but too narrow or deep for the tools, or not seen at all."""
    if not scene.mills:
        return "the shop has no mill", "an end mill"
    seen = np.zeros(len(r.weights), dtype=bool)
    for d in r.reach:
        view = scene.look(d)
        points = r.points @ view.frame.T
        j, i, inside = view.cells(points)
        seen |= ~inside | (points[:, 2] >= view.height[j, i] - 1e-6)
    visible = float(r.weights[seen].sum() / max(r.weights.sum(), 1e-12))
    smallest = min(t.cutter.DC for t in scene.mills)
    if visible < 0.5 * max(1 - r.union_share(), 1e-9) or visible < 0.3:
        return "undercut or cavity: no direction looks at it", "a slot cutter from the side, or another process"
    depth = float(np.ptp(r.points @ scene.frame.T, axis=0).max()) if len(r.points) else 0.0
    if radius is not None and 2 * radius < smallest:
        would = f"a mill under Ø{2 * radius:.2f} mm with {depth:.0f} mm usable length, or eroding"
        return f"inside corner radius {radius:.2f} mm, smallest mill Ø{smallest:g} mm", would
    if some:
        return "sharp inside corners or too deep for the mills that fit", "a longer or smaller mill, or eroding"
    return f"too narrow or too deep for the shop's mills (up to {depth:.0f} mm)", "a longer, slimmer mill, or eroding"


def shut_left(shut: Sequence[Bore], features: Sequence[Feature]) -> list[LeftOver]:
    """Hollow round pieces with no way in that no other feature makes."""
    made_by = frozenset().union(*(f.faces for f in features if f.routes)) if features else frozenset()
    out = []
    for h in shut:
        if not h.faces <= made_by:
            volume = sum(np.pi * p.radius**2 * (p.end - p.start) for p in h.pieces)
            text = f"groove or chamber Ø{2 * h.core.radius:.2f} mm inside: no round tool gets in along its axis"
            out.append(LeftOver("shut hole", float(volume), text, "a slot or boring cutter that opens inside"))
    return out


def directions_of(scene: Workpiece, features: Sequence[Feature]) -> tuple[tuple[Vec, float], ...]:
    """Every direction that some route uses, and the part's own axes, with mm³ reachable, most first."""
    reach: dict[Vec, float] = {vec(s * row): 0.0 for row in scene.frame for s in (1.0, -1.0)}
    for f in features:
        for d in {w for r in f.routes for w in (r.direction, *([r.pair] if r.pair else []))}:
            key = next((k for k in reach if same(k, d)), d)
            share = max((r.reached for r in f.routes if d in (r.direction, r.pair)), default=0.0)
            reach[key] = reach.get(key, 0.0) + share * f.volume
    return tuple(sorted(reach.items(), key=lambda row: (-round(row[1], 3), *(-x for x in row[0]))))
