"""A way under other terms: its operations found again with other clamps, tools or margins; and what may be chosen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from typing import Any

from palletwright.access.model import Clamping
from palletwright.page.near import grips_of, key_of
from palletwright.page.refit import Chosen, Refitted, refit, with_sides
from palletwright.plan.context import Context, Variant
from palletwright.plan.evaluate import examine_design, options_of, parts_per_cycle
from palletwright.plan.model import Design, OperationChoice
from palletwright.plan.options import Option, options
from palletwright.plan.overlap import off_side, overlaps

OTHERS = (
    "With this the part would be cut in other operations, so these stations can't stay. Put it into the job (the "
    "override of a feature's tool, the shop's tools) and plan again."
)


def alike(before: Variant, rows: Sequence[Variant]) -> int | None:
    """Which of the sequences cuts the same features from the same directions in the same order, with grip stock in the
    same place where there was some; the depth of that may differ, the nearest is taken."""

    def told(v: Variant) -> tuple[Any, ...]:
        on = None if v.strip is None else (v.strip.down, v.strip.gone_in)
        return on, [_what(c) for c in v.sequence.clampings]

    fitting = [i for i, v in enumerate(rows) if told(v) == told(before)]
    return min(fitting, key=lambda i: abs(_depth(rows[i]) - _depth(before)), default=None)


def _depth(v: Variant) -> float:
    return 0.0 if v.strip is None else v.strip.depth


def _what(clamping: Clamping) -> tuple[Any, ...]:
    ways = frozenset((name, tuple(round(v, 6) for v in way)) for name, way in clamping.features)
    return ways, clamping.axis


def carried(old: Context, new: Context, design: Design, chosen: Chosen) -> tuple[Design, list[str]]:
    """The design under another context: its sequence and grips found again there; what changed, in words.

    Raises LookupError where the operations would be others, or one of them is no longer held.
    """
    before = old.variants(old.machine(design.machine), design.family)[design.sequence]
    rows = new.variants(new.machine(design.machine), design.family)
    index = alike(before, rows)
    if index is None:
        raise LookupError(OTHERS)
    moved = replace(design, sequence=index)
    made, notes = [], []
    deep, now_deep = _depth(before), _depth(rows[index])
    if abs(deep - now_deep) > 1e-6:
        notes.append(f"the blank has {now_deep:g} mm of grip stock instead of {deep:g} mm")
    for choice in design.operations:
        option = _alike(new, moved, choice, chosen[choice.clamping])
        made.append(replace(choice, grip=option.grip.id))
        was, now = _clamps(chosen[choice.clamping]), _clamps(option)
        if was != now or option.grip.kind != chosen[choice.clamping].grip.kind:
            notes.append(f"operation {choice.number} is held by {now} instead of {was}")
    return replace(moved, operations=tuple(made)), notes


def _alike(context: Context, design: Design, choice: OperationChoice, was: Option) -> Option:
    """The grip most like the one in use: same clamps, else same kind, else as many parts a station."""
    found, reasons = options(context, key_of(design, choice))
    if not found:
        why = "; ".join(f"{r.about}: {r.text}" for r in reasons[:3]) or "no grip of the shop suits it"
        raise LookupError(f"operation {choice.number} isn't held with this ({why})")
    return max(found, key=lambda o: (_clamps(o) == _clamps(was), o.grip.kind == was.grip.kind, o.parts == was.parts))


def _clamps(option: Option) -> str:
    """The catalogue names of a grip's clamps."""
    names = sorted({d.catalogue for d in option.grip.devices if d.kind == "clamp"})
    return ", ".join(names) or option.grip.kind.replace("_", " ")


def adapted(old: Context, new: Context, design: Design, chosen: Chosen, wish: dict[str, Any]) -> dict[str, Any]:
    """The design after a wish: other terms (`new`), another number of `sides` by mount, or `refit` around `locked`.

    Raises LookupError with what stops it.
    """
    before = parts_per_cycle(design)
    clampings = old.sequence(old.machine(design.machine), design.family, design.sequence).clampings
    cut = {name for c in clampings for name, _ in c.features}
    lost = [o["feature"] for o in wish["terms"].get("held_by", ()) if o["feature"] not in cut]
    if lost:
        raise LookupError(f"{lost[0]} isn't cut in any operation of this way; allowed: {', '.join(sorted(cut))}")
    moved, notes = carried(old, new, design, chosen) if new is not old else (design, [])
    held = options_of(new, moved)
    locked = frozenset(wish["locked"])
    odd = [k for k, o in held.items() if o.parts != chosen[k].parts]
    stations = {n for s in moved.stations if s.operation in odd for n in s.parts}
    if stations & locked:
        raise LookupError(
            f"this holds another number of parts a station: unlock {', '.join(sorted(stations & locked))}"
        )
    bound: tuple[int, ...] | None = None
    if wish["sides"]:
        found = _other_sides(new, moved, held, locked, wish["sides"])
    elif wish["refit"] or odd:
        found = refit(new, moved, held, locked)
        if new is old and not odd and _no_better(new, moved, held, found):
            found = replace(found, design=moved, parts=before)
            notes.append("nothing better was found: the stations stay as they are")
    else:
        return {"design": asdict(moved), "notes": notes, "before": before, "parts": before, "bound": bound}
    if min(found.parts, default=0) == 0:
        raise LookupError("no part leaves such a cycle finished: an operation finds no room beside what is locked")
    return {"design": asdict(found.design), "notes": notes, "before": before, "parts": found.parts,
            "bound": found.bound}  # fmt: skip


def _no_better(context: Context, design: Design, chosen: Chosen, found: Refitted) -> bool:
    """Whether the design as it stands passes and is at least as good as the one found."""
    if min(parts_per_cycle(design), default=0) == 0 or min(found.parts, default=0) > min(parts_per_cycle(design)):
        return False
    cycles = sorted({p.cycle for p in design.placings})
    if off_side(context, design, chosen) or any(overlaps(context, design, chosen, c) for c in cycles):
        return not found.passed
    return examine_design(context, design, chosen, measured=False).passed or not found.passed


def _other_sides(
    context: Context, design: Design, chosen: Chosen, locked: frozenset[str], sides: dict[str, int]
) -> Refitted:
    """The best of the flats that each pallet may have with its new number of sides, filled again."""
    best: Refitted | None = None
    for mount, number in sides.items():
        here = sorted(n for s in design.stations if s.mount == mount for n in s.parts if n in locked)
        if here:
            raise LookupError(f"stations {', '.join(here)} are locked on the pallet whose sides change: unlock them")
        best = None
        for placing in with_sides(context, design, chosen, mount, number):
            placings = tuple(placing if p.mount == mount else p for p in design.placings)
            found = refit(context, replace(design, placings=placings), chosen, locked)
            if best is None or (found.passed, min(found.parts)) > (best.passed, min(best.parts)):
                best = found
        assert best is not None
        design = best.design
    assert best is not None
    return best


def choices(context: Context, design: Design, chosen: Chosen) -> dict[str, Any]:
    """What may be chosen for a way: grips and clamps by operation, sides by pallet, tools by feature, margins."""
    machine = context.machine(design.machine)
    clampings = context.sequence(machine, design.family, design.sequence).clampings
    used = {c.tool for o in chosen.values() for c in o.cuts}
    return {
        "operations": [_held(context, design, c, chosen[c.clamping], clampings[c.clamping]) for c in design.operations],
        "clamps": [{"id": c.id, "kind": c.kind, "force": c.force} for c in context.shop.clamps],
        "pallets": [_pallet(context, p.mount, p.carrier, p.sides) for p in design.placings if p.kind == "pallet"],
        "floors": context.shop.floors.model_dump(),
        "features": [_cut_by(context, design, chosen, name, way, choice.clamping)
                     for choice in design.operations for name, way in clampings[choice.clamping].features],
        "tools": [
            {"number": t.number, "name": t.name or t.cutter.id, "stick_out": t.stick_out, "longest": t.cutter.OAL}
            for t in context.shop.tools
            if t.number in used
        ],
    }  # fmt: skip


def _held(context: Context, design: Design, choice: OperationChoice, now: Option, clamping: Clamping) -> dict[str, Any]:
    """An operation's grips, and the feature by which the job names it."""
    rows = [
        {
            "id": o.grip.id,
            "kind": o.grip.kind,
            "clamps": _clamps(o),
            "notes": list(o.grip.notes),
            "holding": o.holding.holding_factor,
            "seconds": sum(c.seconds for c in o.cuts),
            "used": o.grip.id == now.grip.id,
        }
        for o in grips_of(context, design, choice)
        if o.parts == now.parts
    ]
    return {"number": choice.number, "clamping": choice.clamping, "feature": clamping.features[0][0], "grips": rows,
            "clamps": sorted({d.catalogue for d in now.grip.devices if d.kind == "clamp"})}  # fmt: skip


def _pallet(context: Context, mount: str, carrier: str, sides: int) -> dict[str, Any]:
    found = next(c for c in context.shop.carriers if c.id == carrier)
    return {"mount": mount, "carrier": carrier, "sides": sides, "allowed": list(found.sides or (2, 3, 4, 5, 6))}


def _cut_by(context: Context, design: Design, chosen: Chosen, feature: str, way: Any, clamping: int) -> dict[str, Any]:
    """The tools that cut a feature, and every tool that could begin or end it from the same direction."""
    access = context.access(context.machine(design.machine))
    routes = [r for f in access.features if f.id == feature for r in f.routes if _near(r.direction, way)]
    now = list(dict.fromkeys(c.tool for c in chosen[clamping].cuts if c.feature == feature))
    could = sorted({c.tool for r in routes for c in r.cuts} | set(now))
    return {"feature": feature, "clamping": clamping, "now": now, "could": could}


def _near(a: Any, b: Any) -> bool:
    return all(abs(p - q) < 1e-6 for p, q in zip(a, b, strict=True))
