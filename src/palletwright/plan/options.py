"""The ways to hold one operation, certified, as modules that layout can repeat."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray
from shapely.ops import unary_union

from palletwright.cutting.model import Cut, Load
from palletwright.grip.model import Grip
from palletwright.holding.model import HoldingReport
from palletwright.layout.model import Module, ToolSweep
from palletwright.plan.context import Context
from palletwright.plan.gentler import LAST, LEAST, each_eased
from palletwright.plan.gripstock import with_strip
from palletwright.plan.model import CarrierKind, Family
from palletwright.plan.ownpart import meets_itself
from palletwright.shop.model import Carrier, Clamp, Machine
from palletwright.solid.model import Mesh
from palletwright.verdict import Reason, Vec

DRAFTS = 5
"""Grips that are drafted in one round."""

ENOUGH = 2
"""Certified grips of one operation after which no more are asked for; the grip room names the densest first."""

SLOWER = 1.25
"""Times the cutting time of the quickest grip that another may take and still be among those packed."""

TOLD = 4
"""Grips too weak for the fast cuts that are tried with far lighter ones, strongest first, or told of."""

HELD_BY = 0.99
"""Share of what a grip bears to which a cut is eased: the verdicts are found to within a few thousandths."""

Stack = tuple[tuple[float, float, float], ...]


@dataclass(frozen=True, eq=False)
class Option:
    """One certified way to hold one operation."""

    grip: Grip
    module: Module
    holding: HoldingReport
    cuts: tuple[Cut, ...]
    up: Vec
    axis: Vec | None
    kind: CarrierKind

    @property
    def parts(self) -> int:
        return self.module.parts


@dataclass(frozen=True, slots=True)
class OperationKey:
    """Which operation, seated how, on what kind of carrier."""

    machine: str
    family: Family
    sequence: int
    clamping: int
    up: Vec
    kind: CarrierKind
    vise: str = ""


def moved_points(pose: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 3) points under a (4, 4) transform."""
    return np.asarray(points @ pose[:3, :3].T + pose[:3, 3])


def moved_cut(pose: NDArray[np.float64], cut: Cut) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Tips, direction and entry height of a cut under a transform from the part frame."""
    direction = pose[:3, :3] @ np.asarray(cut.direction)
    return moved_points(pose, cut.tips), direction, cut.entry + float(direction @ pose[:3, 3])


def module_of(
    context: Context, key: OperationKey, grip: Grip, cuts: tuple[Cut, ...], axis: Vec | None, before: Mesh
) -> Module:
    """Parts, devices and tool sweeps of one grip in the station frame."""
    from palletwright.solid import footprint

    bodies = [(f"part{i + 1}", before.moved(pose)) for i, pose in enumerate(grip.poses)]
    bodies += [(device.id, device.mesh) for device in grip.devices]
    sweeps: dict[tuple[float, ...], list[tuple[NDArray[np.float64], Stack, int, float]]] = {}
    for pose in grip.poses:
        for cut in cuts:
            tips, direction, entry = moved_cut(pose, cut)
            way = tuple(float(v) for v in np.round(direction, 9) + 0.0)
            sweeps.setdefault(way, []).append((tips, context.tool(cut.tool).stack(), cut.tool, entry))
    outline = unary_union([footprint(mesh, (0.0, 0.0, 1.0)) for _, mesh in bodies])
    lone = {k.id for k in context.shop.locators if k.kind in ("stop", "rail")}
    return Module(
        operation=key.clamping,
        grip=grip.id,
        bodies=tuple(bodies),
        sweeps=tuple(ToolSweep((d[0], d[1], d[2]), tuple(moves)) for d, moves in sorted(sweeps.items())),
        outline=outline,
        parts=len(grip.poses),
        turns=(0, 2) if axis is not None else (0, 1, 2, 3),
        stops=tuple(d.id for d in grip.devices if d.catalogue in lone),
    )


@dataclass(frozen=True, eq=False)
class Burden:
    """What a grip of one operation must bear: its cuts at their places, the part's mass and centre."""

    rows: list[tuple[str, NDArray[np.float64], Vec, Load]]
    mass_kg: float
    centre: Vec


def burden(context: Context, grip: Grip, cuts: tuple[Cut, ...], before: Mesh) -> Burden:
    """The loads of `cuts` on the first part of a grip, in the station frame."""
    rows = []
    for cut in cuts:
        tips, direction, _ = moved_cut(grip.poses[0], cut)
        rows.append((cut.id, tips, _vec(direction), cut.load))
    centre = moved_points(grip.poses[0], before.centroid[None, :])[0]
    return Burden(rows, before.volume * 1e-9 * context.material.density, _vec(centre))


def certified(context: Context, grip: Grip, cuts: tuple[Cut, ...], before: Mesh) -> HoldingReport:
    """Holding of one grip under all cuts of its operation, gravity turned with the index."""
    from palletwright.holding import certify

    borne = burden(context, grip, cuts, before)
    return certify(
        grip,
        borne.rows,
        mass_kg=borne.mass_kg,
        floors=context.shop.floors,
        centre=borne.centre,
        gravity_directions=sorted({_vec(np.round(-np.asarray(d), 6) + 0.0) for _, _, d, _ in borne.rows}),
        clamps=context.shop.clamps,
        yield_strength=context.material.yield_strength,
        advice=False,
        least=False,
    )


def _vec(v: NDArray[np.float64]) -> Vec:
    return float(v[0]), float(v[1]), float(v[2])


def shares_of(context: Context, grip: Grip, cuts: tuple[Cut, ...], before: Mesh) -> tuple[float, ...]:
    """Of each cut the share of its load that a grip bears."""
    from palletwright.holding import bearable

    borne = burden(context, grip, cuts, before)
    shop = context.shop
    shares = bearable(
        grip, borne.rows, mass_kg=borne.mass_kg, floors=shop.floors, centre=borne.centre, clamps=shop.clamps
    )
    return tuple(1.0 if s >= 1.0 else HELD_BY * s for s in shares)


def options(context: Context, key: OperationKey) -> tuple[tuple[Option, ...], tuple[Reason, ...]]:
    """All grips of one operation that hold, best first, and why the others were turned down."""
    return context.once(options_key(context, key), lambda: _options(context, key))


def options_key(context: Context, key: OperationKey) -> Hashable:
    """Where the run's memory keeps the options of one operation."""
    work = context.work_key(context.machine(key.machine), key.family, key.sequence, key.clamping)
    return "options", work, key.up, key.kind, key.vise


def _options(context: Context, key: OperationKey) -> tuple[tuple[Option, ...], tuple[Reason, ...]]:
    """Rounds of grips, each with stronger clamps than the last, until one holds without slow cuts.

    Cuts are eased where a grip doesn't bear the fast ones; far only where nothing else holds.
    """
    machine = context.machine(key.machine)
    met = meets_itself(context, machine, key.family, key.sequence, key.clamping)
    if met is not None:
        return (), (met,)
    cuts = context.cuts(machine, key.family, key.sequence, key.clamping)
    before, _ = context.in_process(machine, key.family, key.sequence, key.clamping)
    good: list[Option] = []
    weak: list[Draft] = []
    turned_down: list[Reason] = []
    for beyond in strengths(context, key.kind):
        found, reasons = drafted(context, machine, key, cuts, beyond)
        if not beyond:
            turned_down += reasons
        for grip in found:
            draft = context.timed("holding", partial(_borne, context, grip, cuts, before))
            lighter = each_eased(cuts, draft.shares, LEAST)
            if lighter is None:
                weak.append(draft)
                continue
            option = _judged(context, key, draft.grip, lighter, before)
            (good if isinstance(option, Option) else turned_down).append(option)  # type: ignore[arg-type]
        if good and min(_seconds(o.cuts) for o in good) <= SLOWER * _seconds(cuts):
            break
    weak.sort(key=lambda d: -min(d.shares, default=0.0))
    for draft in [] if good else weak[:TOLD]:
        lighter = each_eased(cuts, draft.shares, LAST)
        option = _judged(context, key, draft.grip, lighter or cuts, before)
        (good if isinstance(option, Option) else turned_down).append(option)  # type: ignore[arg-type]
        if len(good) == ENOUGH:
            break
    return tuple(_quick(good)[:ENOUGH]), tuple(turned_down)


def _quick(found: list[Option]) -> list[Option]:
    """Those that cut about as fast as the fastest, in their order."""
    times = [_seconds(o.cuts) for o in found]
    return [o for o, t in zip(found, times, strict=True) if t <= SLOWER * min(times)]


def _seconds(cuts: tuple[Cut, ...]) -> float:
    return sum(c.seconds for c in cuts)


SINGLE = ("edge", "wedge", "strap")
"""Kinds of clamps that come in many strengths."""


def strengths(context: Context, kind: CarrierKind) -> tuple[float, ...]:
    """Forces (N) past which clamps are asked for, round by round: any, then the stronger half; a vise has its own."""
    forces = sorted({c.force for c in context.shop.clamps if c.kind in SINGLE})
    if kind == "vise" or len(forces) < 2:
        return (0.0,)
    return 0.0, forces[len(forces) // 2] * 0.999


def drafted(
    context: Context, machine: Machine, key: OperationKey, cuts: tuple[Cut, ...], beyond: float
) -> tuple[tuple[Grip, ...], tuple[Reason, ...]]:
    """Grips from geometry, with clamps of many strengths stronger than `beyond` N only where that isn't 0."""
    from palletwright.grip import grips

    clamping = context.sequence(machine, key.family, key.sequence).clampings[key.clamping]
    before, after = context.in_process(machine, key.family, key.sequence, key.clamping)
    clamps = tuple(c for c in _allowed(context, clamping.features) if not beyond or _stronger(c, beyond))
    return context.timed(
        "grips",
        lambda: grips(
            before,
            after,
            _whole_stock(context, machine, key),
            context.solid.mesh,
            key.up,
            clamping.directions,
            [(c.direction, c.tips, context.tool(c.tool).stack(), c.entry) for c in cuts],
            context.shop.model_copy(update={"clamps": clamps}),
            context.material,
            tolerance=context.job.blank.tolerance,
            floors=context.shop.floors,
            carrier_kind=key.kind,
            axis=clamping.axis if key.kind == "pallet" else None,
            vise=_vise(context, key),
            most=DRAFTS,
        ),
    )


def _allowed(context: Context, features: Sequence[tuple[str, Vec]]) -> tuple[Clamp, ...]:
    """The shop's clamps, or those to which the job limits the operation that cuts these features."""
    cut = {name for name, _ in features}
    only = [set(w.clamps) for w in context.job.held_by if w.feature in cut]
    return tuple(c for c in context.shop.clamps if all(c.id in names for names in only))


def _stronger(clamp: Clamp, beyond: float) -> bool:
    """Whether a clamp that comes in many strengths has more than `beyond` N."""
    return clamp.kind in SINGLE and clamp.force > beyond


@dataclass(frozen=True, eq=False)
class Draft:
    """A grip, judged by stops or by friction, and the share of each cut's load that it bears."""

    grip: Grip
    shares: tuple[float, ...]


def _borne(context: Context, grip: Grip, cuts: tuple[Cut, ...], before: Mesh) -> Draft:
    """The grip in the regime in which it bears most."""
    best = Draft(grip, shares_of(context, grip, cuts, before))
    for other in regimes(grip)[1:] if min(best.shares, default=1.0) < 1.0 else ():
        row = Draft(other, shares_of(context, other, cuts, before))
        best = max(best, row, key=lambda d: min(d.shares))
    return best


def _judged(context: Context, key: OperationKey, grip: Grip, cuts: tuple[Cut, ...], before: Mesh) -> Option | Reason:
    """A grip that holds under these cuts as an option, or why it doesn't."""
    report = context.timed("holding", partial(certified, context, grip, cuts, before))
    if not report.passed:
        return _too_weak(grip, report)
    clamping = context.sequence(context.machine(key.machine), key.family, key.sequence).clampings[key.clamping]
    axis = clamping.axis if key.kind == "pallet" else None
    module = context.timed("modules", partial(module_of, context, key, grip, cuts, axis, before))
    return Option(grip, module, report, cuts, key.up, axis, key.kind)


def regimes(grip: Grip) -> tuple[Grip, ...]:
    """The grip judged by its stops and, if that isn't enough, by friction at every contact with the higher floor."""
    return (grip, replace(grip, regime="friction")) if grip.regime == "stop" else (grip,)


def _whole_stock(context: Context, machine: Machine, key: OperationKey) -> Mesh:
    """The blank with its grip stock, so that raw faces are known as raw."""
    strip = context.variants(machine, key.family)[key.sequence].strip
    return with_strip(context.stock_largest, strip, strip is not None)


def _vise(context: Context, key: OperationKey) -> Carrier | None:
    return next((c for c in context.shop.carriers if c.id == key.vise), None)


def _too_weak(grip: Grip, report: HoldingReport) -> Reason:
    have = report.holding_factor
    if have is None or not report.located:
        return Reason(f"grip {grip.id}", "does not locate the part")
    short = next((m for m in report.margins if not m.passed and m.check != "holding"), None)
    if have >= report.floor and short is not None:
        text = f"{short.check} of {short.subject}: needs {short.need:.3g}, has {short.have:.3g} {short.unit}"
        return Reason(f"grip {grip.id}", text, -short.spare, short.unit)
    text = f"holds {have:.2f} where {report.floor:.1f} is asked: {report.worst_load}, first {report.gives_first}"
    return Reason(f"grip {grip.id}", text, report.floor - have, "holding factor")
