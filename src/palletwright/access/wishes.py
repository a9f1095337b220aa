"""What the engineer knows: threads, overrides, operations already fixed. Honoured, or contradicted with a reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from palletwright.access.clampings import Problem, Setting
from palletwright.access.directions import dot, same, square, vec
from palletwright.access.holes import Bore
from palletwright.access.model import Feature
from palletwright.access.threads import Thread, named, suggested
from palletwright.errors import Fault, InputError
from palletwright.job.model import DrawingFact, Job
from palletwright.verdict import Reason, Vec

NEAR = 0.5
"""mm from a hole's wall within which a point in a job's fact means that hole."""


def threads_of(job: Job | None, holes: Sequence[Bore]) -> dict[int, str]:
    """Index of the hole to the drawing's words about its thread.

    Raises InputError where a fact's place means no hole, or several.
    """
    out: dict[int, str] = {}
    faults = []
    for n, fact in enumerate(job.facts if job else ()):
        if fact.kind not in ("thread", "not_threaded"):
            continue
        hits = meant(fact, holes)
        if len(hits) != 1:
            what = "means no hole" if not hits else "means several holes: " + ", ".join(f"hole-{k + 1}" for k in hits)
            allowed = f"hole-1 … hole-{len(holes)}, or a point in one hole" if holes else "no holes were found"
            faults.append(Fault("job", f"facts[{n}].at", str(fact.at), what, allowed))
            continue
        text = fact.value if fact.kind == "thread" else "not_threaded"
        out[hits[0]] = text
    if faults:
        raise InputError(faults)
    return out


def meant(fact: DrawingFact, holes: Sequence[Bore]) -> list[int]:
    """Indices of the holes that a fact's place means: by id, else the holes nearest to a point within reach."""
    if isinstance(fact.at, str):
        return [k for k in range(len(holes)) if fact.at == f"hole-{k + 1}"]
    p = np.asarray(fact.at)
    rows = []
    for k, h in enumerate(holes):
        off = p - np.asarray(h.point)
        t = float(off @ np.asarray(h.axis))
        lateral = float(np.linalg.norm(off - t * np.asarray(h.axis)))
        if h.bottom - NEAR <= t <= h.top + NEAR and lateral <= max(q.radius for q in h.pieces) + NEAR:
            rows.append((max(0.0, lateral - h.core.radius), k))
    least = min((gap for gap, _ in rows), default=0.0)
    return [k for gap, k in rows if gap <= least + 1e-3]


def thread_of(h: Bore, fact: str | None) -> tuple[Thread | None, tuple[str, ...]]:
    """The thread to cut, where the job confirms it, and a suggestion where the diameter alone hints at one."""
    if fact == "not_threaded":
        return None, ()
    if fact is not None:
        thread = named(fact)
        if thread is None:
            return None, (
                f"thread {fact}: not a size that is known here (M2 to M24, G1/8 to G1/2), so no tap is planned",
            )
        sizes = [2 * p.radius for p in h.pieces if p.straight] or [2 * h.core.radius]
        if min(min(abs(d - thread.tap_drill), abs(d - thread.minor)) for d in sizes) > 0.3:
            return thread, (f"{thread.name} asked for; none of Ø{', Ø'.join(f'{d:.2f}' for d in sizes)} is its core",)
        return thread, ()
    hint = suggested(2 * h.core.radius)
    stepped = any(p.straight and p.radius > h.core.radius + 0.01 for p in h.pieces)
    if hint is None or stepped or h.gaps:
        return None, ()
    return None, (f"Ø{2 * h.core.radius:.2f} mm could be {hint.name}: say thread or not_threaded in the job",)


def honoured(features: Sequence[Feature], job: Job | None) -> tuple[list[Feature], list[Reason]]:
    """Features with the job's overrides applied; an override that can't be met is named and left out.

    Raises InputError where an override, an operation or a group names a feature that isn't there.
    """
    if job is None:
        return list(features), []
    by_id = {f.id: f for f in features}
    by_id |= {f.signature: f for f in features}
    ids = ", ".join(f.id for f in features)
    named_in = [(f"together[{k}]", name) for k, group in enumerate(job.together) for name in group]
    named_in += [(f"held_by[{k}].feature", w.feature) for k, w in enumerate(job.held_by)]
    named_in += [(f"operations[{k}].features", name) for k, op in enumerate(job.operations) for name in op.features]
    unknown = [
        Fault("job", where, name, "isn't a feature of this part", ids)
        for where, name in named_in
        if not any(name == f.id for f in features)
    ]
    unknown += [
        Fault(
            "job",
            f"overrides[{k}].feature",
            o.feature,
            "isn't a feature of this part",
            ids,
        )
        for k, o in enumerate(job.overrides)
        if o.feature not in by_id
    ]
    if unknown:
        raise InputError(unknown)
    reasons: list[Reason] = []
    out = {f.id: f for f in features}
    for o in job.overrides:
        f = out[by_id[o.feature].id]
        if not o.in_cycle:
            out[f.id] = replace(f, routes=(), notes=(*f.notes, "not in the cycle: the job says so"))
            continue
        rows = f.routes
        if o.direction is not None:
            rows = tuple(r for r in rows if same(r.direction, vec(o.direction)))
        if o.tool is not None:
            rows = tuple(r for r in rows if any(c.tool == o.tool for c in r.cuts))
        if not rows:
            reasons.append(Reason(f.id, f"the job's override (tool {o.tool}, direction {o.direction}) can't cut it"))
            continue
        if o.seconds is not None:
            rows = tuple(
                replace(
                    r,
                    cuts=tuple(
                        replace(c, seconds=c.seconds * o.seconds / max(r.seconds, 1e-9), measured=True) for c in r.cuts
                    ),
                )
                for r in rows
            )
        out[f.id] = replace(f, routes=rows)
    return [out[f.id] for f in features], reasons


def known_problem(problem: Problem, job: Job | None, rotary: bool) -> Problem | None:
    """The problem with exactly the job's operations as its clampings; None where the job fixes none of this kind."""
    if job is None or not job.operations:
        return None
    settings = []
    for op in job.operations:
        ways = [vec(d) for d in op.directions]
        setting = setting_for(ways, problem.settings)
        if setting is None or (setting.axis is not None and not rotary):
            return None
        settings.append(setting)
    if rotary and all(s.axis is None for s in settings):
        return None
    pinned = {name: k for k, op in enumerate(job.operations) for name in op.features}
    return replace(problem, settings=tuple(settings), exactly=True, pinned=pinned, need_rotary=False)


def setting_for(ways: Sequence[Vec], settings: Sequence[Setting]) -> Setting | None:
    """The first kind of clamping that sees all of these directions, a fixed one where one direction is asked."""
    for s in sorted(settings, key=lambda s: s.axis is not None):
        if all(s.sees(d) for d in ways):
            return s
    if len(ways) == 1:
        return Setting(None, ways[0], "none")
    for a in (vec(np.cross(ways[0], w)) for w in ways[1:] if not square_to_none(ways[0], w)):
        if all(square(a, w) and dot(ways[0], w) >= -1e-6 for w in ways):
            return Setting(a, ways[0], "none")
    return None


def square_to_none(a: Vec, b: Vec) -> bool:
    return abs(dot(a, b)) > 1 - 1e-9


def contradicted(problem: Problem, rotary: bool) -> Reason:
    """Which features the job's own operations leave uncut."""
    lost = []
    for t in problem.tasks:
        rows = [problem.settings[problem.pinned[t.id]]] if t.id in problem.pinned else problem.settings
        if not any(s.sees(r.direction) for r in t.routes for s in rows):
            lost.append(t.id)
    kind = "rotary" if rotary else "fixed"
    text = f"the job's operations ({kind}) can't cut everything" + (f": {', '.join(lost)} not reached" if lost else "")
    return Reason("operations", text, float(len(lost)), "features")
