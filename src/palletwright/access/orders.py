"""From features to the clampings that cut them: what lies in front of what, and which seats there are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from palletwright.access import clampings, wishes
from palletwright.access.clampings import Forbid, Problem, Setting, Task
from palletwright.access.columns import no_crossings, raster_columns
from palletwright.access.directions import dot, same, square, vec
from palletwright.access.model import Feature, on_end
from palletwright.access.model import Sequence as Order
from palletwright.access.tight import Wish
from palletwright.access.workpiece import Workpiece
from palletwright.field.frame import frame_of
from palletwright.job.model import Job
from palletwright.solid.model import Floats
from palletwright.verdict import Reason, Vec

ALTERNATIVES_BY_END = 4
"""sequences kept with a part held by its end, before those on sides alone."""
LEAST_OVER = 0.02
"""share of a region's outline that must be covered for another to lie in front of it."""
CELLS = 2000
"""cells with which a region's outline is looked at."""

Fronts = dict[str, dict[Vec, frozenset[str]]]
"""By feature and direction: the ids of milled features that lie in front of it."""


def fronts_of(features: Sequence[Feature]) -> Fronts:
    """What must be cut before or with each feature, by the direction from which that is cut.

    Two milled features that each reach over the other hold each other back in nothing.
    """
    found: Fronts = {}
    for f in features:
        ways = dict.fromkeys(w for r in f.routes for w in (r.direction, *([r.pair] if r.pair else [])))
        seen = over_mouth if f.kind == "hole" else over_region
        found[f.id] = {d: seen(f, d, features) for d in ways}
    return {
        name: {d: frozenset(g for g in row if name not in found[g].get(d, ())) for d, row in rows.items()}
        for name, rows in found.items()
    }


def with_order(features: Sequence[Feature], fronts: Fronts) -> list[Feature]:
    """The features, each with those that lie in front of it whatever direction it is cut from; never in a ring."""
    after: dict[str, set[str]] = {f.id: set() for f in features}

    def leads_to(a: str, b: str) -> bool:
        return a == b or any(leads_to(c, b) for c in after[a])

    for f in features:
        sets = list(fronts[f.id].values())
        for name in sorted(frozenset.intersection(*sets)) if sets else ():
            if not leads_to(name, f.id):
                after[f.id].add(name)
    return [replace(f, after=tuple(g.id for g in features if g.id in after[f.id])) for f in features]


def over_region(f: Feature, d: Vec, features: Sequence[Feature]) -> frozenset[str]:
    """Milled features of which a piece stands over more than `LEAST_OVER` of the region's outline along `d`."""
    frame = frame_of(d)
    seen = f.removal.corners @ frame.T
    low, high = seen.min(axis=(0, 1)), seen.max(axis=(0, 1))
    pitch = max(float(np.sqrt(np.prod(high[:2] - low[:2]) / CELLS)), 1e-3)
    shape = tuple(int(n) for n in np.ceil((high - low)[1::-1] / pitch) + 1)

    def tops(corners: Floats) -> Floats:
        out = np.full(shape, -np.inf)
        raster_columns(np.ascontiguousarray(corners), low[0], low[1], *shape, pitch, out, *no_crossings())
        return out

    own = tops(seen)
    on = np.isfinite(own)
    found = set()
    for g in features:
        if g is f or g.kind == "hole" or not g.routes:
            continue
        other = g.removal.corners @ frame.T
        most, least = other.max(axis=(0, 1)), other.min(axis=(0, 1))
        if most[2] <= low[2] + 0.05 or (most[:2] <= low[:2]).any() or (least[:2] >= high[:2]).any():
            continue
        if (tops(other)[on] > own[on] + 0.05).sum() > LEAST_OVER * on.sum():
            found.add(g.id)
    return frozenset(found)


def over_mouth(hole: Feature, d: Vec, features: Sequence[Feature]) -> frozenset[str]:
    """Milled features of which a piece stands over the hole's mouth along `d`."""
    assert hole.diameter is not None
    assert hole.position is not None
    axis, at = np.asarray(d), np.asarray(hole.position)
    spread = hole.removal.vertices @ axis
    mouth = float(spread.max()) if len(spread) and len(hole.removal.triangles) else float(at @ axis)
    found = set()
    for g in features:
        if g.kind == "hole" or not g.routes:
            continue
        v = g.removal.corners.mean(axis=1)
        v = np.concatenate([v, g.removal.vertices])
        off = v - at
        up = v @ axis
        lateral = np.linalg.norm(off - np.outer(off @ axis, axis), axis=1)
        touching = lateral <= hole.diameter / 2 + 0.05
        if touching.any() and float(up[touching].max()) > mouth + 0.05 and float(up[touching].min()) > mouth - 0.1:
            found.add(g.id)
    return frozenset(found)


def settings_of(scene: Workpiece, ways: Sequence[Vec]) -> tuple[list[Setting], list[Setting], list[Setting]]:
    """(fixed, rotary on a side, rotary by an end) kinds of clamping that see at least one feature."""
    axes = [vec(s * row) for row in scene.frame for s in (1.0, -1.0)]
    fixed = [Setting(None, d, seat_of(scene, d, axes)) for d in ways]
    rotary = []
    for a in axes[0::2]:
        for u in axes:
            if square(a, u) and any(square(d, a) and dot(d, u) >= -1e-6 for d in ways):
                rotary.append(Setting(a, u, seat_of(scene, u, axes)))
    ends = [
        Setting(a, u, seat_of(scene, u, axes))
        for a in axes[0::2]
        if any(square(d, a) for d in ways)
        for u in axes
        if on_end(a, u)
    ]
    return fixed, rotary, ends


def seat_of(scene: Workpiece, up: Vec, axes: Sequence[Vec]) -> str:
    """'flat' where the finished part rests on -up by itself, 'raw' where only the blank does, else 'none'."""
    down = -np.asarray(up)
    v = scene.solid.mesh.vertices
    low = v[v @ down > float((v @ down).max()) - 0.02]
    spread = low - low.mean(axis=0)
    values = np.linalg.svd(spread, compute_uv=False) if len(low) >= 3 else np.zeros(2)
    if len(values) > 1 and values[1] > 0.5:
        return "flat"
    return "raw" if any(same(up, a) for a in axes) else "none"


@dataclass(frozen=True)
class Orders:
    """Sequences for a fixed spindle and with a rotary axis, remarks, and the families that the job itself orders."""

    fixed: tuple[Order, ...] = ()
    rotary: tuple[Order, ...] = ()
    reasons: tuple[Reason, ...] = ()
    known: tuple[str, ...] = ()


def sequences(
    scene: Workpiece,
    features: Sequence[Feature],
    job: Job | None,
    forbid: tuple[Forbid, ...],
    wishes_read: Sequence[Wish] = (),
) -> Orders:
    """The clampings for a fixed spindle, and with a rotary axis, with what the job and tight tolerances ask for."""
    slender = {t.number: t.stick_out / t.cutter.DC for t in scene.mills}
    fronts = fronts_of(features)
    tasks = tuple(task_of(f, fronts[f.id] if f.kind == "hole" else {}, slender) for f in features if f.routes)
    if not tasks:
        return Orders()
    ways: list[Vec] = []
    for d in (w for t in tasks for r in t.routes for w in (r.direction, *([r.pair] if r.pair else []))):
        if not any(same(d, w) for w in ways):
            ways.append(d)
    fixed, rotary, ends = settings_of(scene, ways)
    wanted = tuple(job.together) if job else ()
    problem = Problem(tasks, tuple(fixed), wanted, forbid)
    flat, reasons, known = answered(problem, job, slender, wishes_read)
    problem = replace(problem, settings=(*rotary, *fixed), need_rotary=True)
    turned, more, known_turned = answered(problem, job, slender, wishes_read)
    if not known_turned and (not turned or len(turned[0].clampings) > 1):
        by_end = replace(
            problem, settings=(*ends, *problem.settings), most=len(turned[0].clampings) - 1 if turned else None
        )
        held = [o for o in answered(by_end, job, slender, wishes_read)[0] if any(c.on_end for c in o.clampings)]
        turned = [*held[:ALTERNATIVES_BY_END], *turned]
    reasons += [r for r in more if r not in reasons]
    for s in fixed:
        if s.seat == "none" and any(s.up in c.directions for o in flat[:1] for c in o.clampings):
            reasons.append(Reason("clampings", f"direction {s.up} needs an angled seat: no flat face opposite it"))
    families = tuple(name for name, is_so in (("fixed", known), ("rotary", known_turned)) if is_so)
    return Orders(tuple(flat), tuple(turned), tuple(reasons), families)


def answered(
    problem: Problem, job: Job | None, slender: dict[int, float], wanted: Sequence[Wish]
) -> tuple[list[Order], list[Reason], bool]:
    """The sequences of one family (fixed or rotary), what couldn't be met, and whether they are the job's own."""
    reasons: list[Reason] = []
    known = wishes.known_problem(problem, job, problem.need_rotary)
    found = solved(known, slender) if known else []
    if known and found:
        return found, reasons, True
    if known:
        reasons.append(wishes.contradicted(known, problem.need_rotary))
    problem, found, refused = kept_together(problem, slender)
    reasons += refused
    reasons += clampings.reasons_of_more(found)
    if wanted and found:
        found, asked = tightened(problem, found, wanted, slender)
        reasons += asked
    return [replace(o, reasons=()) for o in found], reasons, False


def solved(problem: Problem, slender: dict[int, float]) -> list[Order]:
    """The problem's sequences without their remarks."""
    return [replace(o, reasons=()) for o in clampings.solve(problem, slender)]


def kept_together(problem: Problem, slender: dict[int, float]) -> tuple[Problem, list[Order], list[Reason]]:
    """The problem with those of the job's groups that one clamping can cut, its sequences, and the groups refused."""
    found = clampings.solve(problem, slender)
    if found or not problem.together:
        return problem, found, []
    kept: tuple[tuple[str, ...], ...] = ()
    reasons = []
    for group in problem.together:
        if clampings.solve(replace(problem, together=(*kept, group)), slender):
            kept = (*kept, group)
        else:
            text = f"{', '.join(group)}: the job wants them in one clamping, but none sees them all"
            reasons.append(Reason("together", text))
    problem = replace(problem, together=kept)
    found = clampings.solve(problem, slender)
    return problem, found, reasons if found else []


def tightened(
    problem: Problem, found: list[Order], wanted: Sequence[Wish], slender: dict[int, float]
) -> tuple[list[Order], list[Reason]]:
    """Sequences that keep what tight tolerances tie in one clamping come first where that takes one more at most."""
    reasons: list[Reason] = []
    kept: list[Wish] = []
    least = len(found[0].clampings)
    best: list[Order] = []
    for wish in wanted:
        groups = problem.together + tuple(w.features for w in (*kept, wish))
        again = [replace(o, reasons=()) for o in clampings.solve(replace(problem, together=groups), slender)]
        names = ", ".join(wish.features)
        if not again or len(again[0].clampings) > least + 1:
            text = f"{wish.text} ties {names}: no sequence with at most one clamping more cuts them in one clamping"
            reasons.append(Reason("tolerance", text))
            continue
        kept.append(wish)
        best = again
        more = len(again[0].clampings) - least
        cost = "one clamping more than the least" if more else "no clamping more"
        reasons.append(Reason("tolerance", f"{wish.text}: {names} are cut in one clamping, with {cost}", float(more)))
    others = [o for o in found if all(o.clampings != b.clampings for b in best)]
    return (best + others)[: clampings.ALTERNATIVES], reasons


def task_of(f: Feature, front: dict[Vec, frozenset[str]], slender: dict[int, float]) -> Task:
    outward = outward_of(f)
    return Task(f.id, clampings.cheapest(f, slender), front, (outward,) if outward else (), outward, f.after)


def outward_of(f: Feature) -> Vec | None:
    """The direction that a face slab looks at: the one whose route faces it."""
    if f.kind != "face":
        return None
    ways = [r.direction for r in f.routes if any(c.stage == "face" for c in r.cuts)]
    return ways[0] if ways else None
