"""From a job and a shop to a ranked plan."""

from __future__ import annotations

import platform
import time
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np

from palletwright.access.model import Access
from palletwright.errors import Fault, InputError, NoPlan
from palletwright.job.model import Job
from palletwright.plan.by_hand import with_hands
from palletwright.plan.context import Context
from palletwright.plan.evaluate import options_of
from palletwright.plan.hands import Hands, hands
from palletwright.plan.kept import keep
from palletwright.plan.model import Plan, TurnedDown, Way
from palletwright.plan.money import nothing_bought
from palletwright.plan.onemore import one_more
from palletwright.plan.pictures import pictures
from palletwright.plan.running import today_flow
from palletwright.plan.search import candidates, checked, machines_of, queues, too_big
from palletwright.plan.today import today
from palletwright.progress import Progress
from palletwright.shop.model import Material, Shop
from palletwright.verdict import Reason

PICTURED = 3
"""Ways, best first, that carry what pictures need."""

KEPT = 8
"""Ways that a plan keeps."""

ASSUMED = (
    "Cutting times come from geometry and the shop's cutting data: within ±25 % (common practice, no source).",
    "Loading times are built from motion-time elements (half of them from memory, unconfirmed) unless a plan says that "
    "they are measured; the swap is the shop's default.",
    "Tool life after Taylor with constants from memory, unconfirmed: 10 % in the constant are about 46 % in life.",
    "Prove out single-block at reduced rapid. The machine builder's limits on speed, swing and clamping stand above "
    "these numbers; guards closed, every clamp checked; local codes and a qualified person decide.",
)


def material_of(job: Job, shop: Shop) -> Material:
    """The job's material in the shop's list, by id or alias.

    Raises InputError with the known names.
    """
    found = shop.material(job.material)
    if found is not None:
        return found
    known = ", ".join(m.id for m in shop.materials)
    raise InputError([Fault("job", "material", job.material, "isn't a material of the shop", known)])


def prepare(job: Job, shop: Shop, progress: Progress | None = None) -> Context:
    """Read the part and its blank.

    Raises SolidError for a file without a usable solid, InputError for an unknown material or a blank too small.
    """
    from palletwright.solid import read_step, stock_mesh

    material = material_of(job, shop)
    before = time.perf_counter()
    solid = read_step(job.part, job.solid)
    context = Context(
        job=job,
        shop=shop,
        material=material,
        solid=solid,
        stock=stock_mesh(solid, job.blank),
        stock_largest=stock_mesh(solid, job.blank, side="largest"),
        progress=progress or Progress(),
    )
    context.stages["solid"] = time.perf_counter() - before
    return context


def make(job: Job, shop: Shop, progress: Progress | None = None, workers: int = 1) -> Plan:
    """Plan one job in one shop; the plan is the same with any number of `workers` (processes, spawned).

    Raises InputError for bad input, NoPlan with the reasons when nothing workable exists.
    """
    with hands(workers) as helping:
        return _made(job, shop, progress, helping)


def _made(job: Job, shop: Shop, progress: Progress | None, helping: Hands | None) -> Plan:
    started = time.perf_counter()
    context = prepare(job, shop, progress)
    if helping is not None:
        helping.start()
    context.hands = helping
    ways: list[Way] = []
    down: list[TurnedDown] = []
    checked_out: list[TurnedDown] = []
    reasons: list[Reason] = []
    notes: list[Reason] = []
    accesses: dict[str, Access] = {}
    for machine in machines_of(context):
        big = too_big(context, machine)
        if big is not None:
            reasons.append(big)
            continue
        if ways and machine.rotary is None and context.job.effort == 1:
            down.append(TurnedDown(machine.id, "not tried at effort 1: a machine before it makes the part"))
            continue
        context.progress(f"{machine.id}: access", 0, 1)
        accesses[machine.id] = context.access(machine)
        notes += accesses[machine.id].reasons
        found, refused = candidates(context, machine)
        down += refused
        ways, failed = checked(context, queues(context, found), ways)
        checked_out += failed
        if context.stopped_early and ways:
            break
    if not ways:
        raise NoPlan(_why_not(reasons, [*checked_out, *down], notes))
    return _plan(context, accesses, ways, [*checked_out, *down], started)


def _why_not(reasons: list[Reason], down: list[TurnedDown], notes: list[Reason]) -> list[Reason]:
    """Nearest to a plan first: what stopped the arrangements that were checked in full, then the rest; each once."""
    seen = [Reason(d.arrangement, d.stopped_by, d.amount, d.unit) for d in down]
    unique = {r.text: r for r in reversed([*reasons, *seen, *notes])}
    return list(reversed(unique.values()))[:12] or [Reason("plan", "no machine of the shop may be used for this job")]


def _plan(
    context: Context, accesses: dict[str, Access], ways: list[Way], down: list[TurnedDown], started: float
) -> Plan:
    from dataclasses import replace

    from palletwright.plan.search import ranked

    ordered = ranked(ways)
    kept = [_pictured(context, w, i == 0) if i < PICTURED else w for i, w in enumerate(_kept(ordered))]
    best = kept[0]
    assert best.design is not None
    access = accesses[best.design.machine]
    left = tuple({"feature": x.feature, "mm3": x.mm3, "why": x.why, "would_do": x.would_do} for x in access.left_over)
    if left and not context.job.allow_left_over:
        raise NoPlan([Reason(str(x["feature"]), f"stays uncut ({x['mm3']:.0f} mm³): {x['why']}") for x in left])
    more = one_more(context, best)
    return Plan(
        title=_title(context, best, left),
        makeable=not left,
        part=_part(context),
        job=context.job.model_dump(mode="json"),
        shop=context.shop.model_dump(mode="json"),
        today=replace(today(context, best.cost["tools"] if best.cost else None), flow=today_flow(context)),
        plans=tuple(replace(w, name=f"plan {i + 1}") for i, w in enumerate(kept)),
        left_over=left,
        turned_down=tuple(_distinct(down))[:60],
        one_more=more,
        assumptions=(*ASSUMED, *_assumed(context)),
        access=_access(access),
        seed=context.job.seed,
        stopped_early=context.stopped_early,
        versions=versions(),
        seconds=time.perf_counter() - started,
        stages=dict(context.stages),
    )


def _pictured(context: Context, w: Way, best: bool) -> Way:
    """The way with its pictures; the best one also with its loading, chips and stick-outs."""
    from dataclasses import replace

    design = w.design
    assert design is not None
    chosen = options_of(context, design)
    scene = context.timed("pictures", lambda: pictures(context, design, chosen))
    if best:
        scene = context.timed("by hand", lambda: with_hands(context, design, chosen, scene))
    return replace(w, scene=scene, kept=keep(context, design, chosen))


def _kept(ordered: list[Way]) -> list[Way]:
    """The first ways, always with the best that buys nothing (today's means used well) among them."""
    kept = ordered[:KEPT]
    free = [w for w in ordered if nothing_bought(w.bill)]
    if free and not any(nothing_bought(w.bill) for w in kept):
        kept = [*kept[: KEPT - 1], free[0]]
    return kept


def _distinct(down: list[TurnedDown]) -> list[TurnedDown]:
    return list({(d.arrangement, d.stopped_by): d for d in down}.values())


def _title(context: Context, best: Way, left: tuple[dict[str, Any], ...]) -> str:
    name = context.job.name or context.job.part.stem
    text = f"{name}: {best.parts_per_start:g} finished parts a start"
    if left:
        volume = sum(x["mm3"] for x in left)
        text += f", {len(left)} feature{'s' if len(left) > 1 else ''} left over ({volume:.0f} mm³ that no tool reaches)"
    return text


def _part(context: Context) -> dict[str, Any]:
    solid = context.solid
    low, high = solid.mesh.bounds
    blank = np.ptp(context.stock.vertices, axis=0)
    return {
        "name": solid.name,
        "file": Path(context.job.part).name,
        "unit": solid.unit,
        "size_mm": (high - low).tolist(),
        "volume_mm3": solid.volume,
        "blank_mm": blank.tolist(),
        "blank_kg": context.stock.volume * 1e-9 * context.material.density,
        "material": context.material.id,
        "faces": len(solid.faces),
        "notes": list(solid.notes),
    }


def _access(access: Access) -> dict[str, Any]:
    from palletwright.access import to_json

    return to_json(access)


def _assumed(context: Context) -> list[str]:
    rows = [f"{context.material.id}: kc1.1 {context.material.kc11:.0f} N/mm², {context.material.source}."]
    if not any(f.kind == "datum" for f in context.job.facts):
        rows.append("Locating faces are assumed: the job names no datums.")
    else:
        rows.append("Locating faces are assumed: the job's datums are not yet taken into account by the grips.")
    blank = context.job.blank
    if blank.price is None:
        rows.append(f"Blank price from mass at {context.material.price:.2f} {context.shop.rates.currency}/kg.")
    return rows


def versions() -> dict[str, str]:
    """Versions that an answer depends on."""
    names = ("palletwright", "numpy", "scipy", "ortools", "clarabel", "manifold3d", "shapely", "numba")
    return {n: metadata.version(n) for n in names} | {"python": platform.python_version()}
