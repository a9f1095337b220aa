"""The ways to hold one operation, certified, as modules that layout can repeat."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray
from shapely.ops import unary_union

from palletwright.cutting.model import Cut
from palletwright.grip.model import Grip
from palletwright.holding.model import HoldingReport
from palletwright.layout.model import Module, ToolSweep
from palletwright.plan.context import Context
from palletwright.plan.gentler import all_eased, weight
from palletwright.plan.gripstock import with_strip
from palletwright.plan.model import CarrierKind, Family
from palletwright.shop.model import Carrier, Machine
from palletwright.solid.model import Mesh
from palletwright.verdict import Reason, Vec

DRAFTS = 5
"""Grips that are drafted in one round."""

ENOUGH = 2
"""Certified grips of one operation after which no more are asked for; the grip room names the densest first."""

EASINGS = 4
"""Times that the cuts are made lighter before a grip counts as too weak."""

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
    return Module(
        operation=key.clamping,
        grip=grip.id,
        bodies=tuple(bodies),
        sweeps=tuple(ToolSweep((d[0], d[1], d[2]), tuple(moves)) for d, moves in sorted(sweeps.items())),
        outline=outline,
        parts=len(grip.poses),
        turns=(0, 2) if axis is not None else (0, 1, 2, 3),
    )


def certified(
    context: Context, machine: Machine, key: OperationKey, grip: Grip, cuts: tuple[Cut, ...]
) -> HoldingReport:
    """Holding of one grip under all cuts of its operation, gravity turned with the index."""
    from palletwright.holding import certify

    before, _ = context.in_process(machine, key.family, key.sequence, key.clamping)
    rows = []
    for cut in cuts:
        tips, direction, _ = moved_cut(grip.poses[0], cut)
        rows.append((cut.id, tips, _vec(direction), cut.load))
    centre = moved_points(grip.poses[0], before.centroid[None, :])[0]
    return certify(
        grip,
        rows,
        mass_kg=before.volume * 1e-9 * context.material.density,
        floors=context.shop.floors,
        centre=_vec(centre),
        gravity_directions=sorted({_vec(np.round(-np.asarray(d), 6) + 0.0) for _, _, d, _ in rows}),
        clamps=context.shop.clamps,
        yield_strength=context.material.yield_strength,
        advice=False,
        least=False,
    )


def _vec(v: NDArray[np.float64]) -> Vec:
    return float(v[0]), float(v[1]), float(v[2])


def eased_to_hold(
    context: Context, machine: Machine, key: OperationKey, grip: Grip, cuts: tuple[Cut, ...]
) -> tuple[HoldingReport, tuple[Cut, ...]]:
    """The report of a grip under the fast cuts or, where it would not bear those, under lighter ones that it does."""
    report, borne = certified(context, machine, key, grip, cuts), cuts
    greatest = max(weight(c.load) for c in cuts)
    for _ in range(EASINGS):
        if report.passed or not report.located or not report.holding_factor:
            break
        greatest *= max(0.4, 0.97 * report.holding_factor / report.floor)
        lighter = all_eased(cuts, greatest)
        if lighter is None:
            break
        report, borne = certified(context, machine, key, grip, lighter), lighter
    return report, borne


def options(context: Context, key: OperationKey) -> tuple[tuple[Option, ...], tuple[Reason, ...]]:
    """All grips of one operation that hold, best first, and why the others were turned down."""
    return context.once(options_key(context, key), lambda: _options(context, key))


def options_key(context: Context, key: OperationKey) -> Hashable:
    """Where the run's memory keeps the options of one operation."""
    work = context.work_key(context.machine(key.machine), key.family, key.sequence, key.clamping)
    return "options", work, key.up, key.kind, key.vise


def _options(context: Context, key: OperationKey) -> tuple[tuple[Option, ...], tuple[Reason, ...]]:
    """Rounds of grips, each with stronger clamps than the last, until enough hold."""
    machine = context.machine(key.machine)
    cuts = context.cuts(machine, key.family, key.sequence, key.clamping)
    good: list[Option] = []
    turned_down: list[Reason] = []
    for beyond in _strengths(context):
        found, reasons = _drafts(context, machine, key, cuts, beyond)
        if not beyond:
            turned_down += reasons
        for draft in found:
            option = _judged(context, machine, key, draft, cuts)
            if isinstance(option, Reason):
                turned_down.append(option)
            else:
                good.append(option)
            if len(good) == ENOUGH:
                return tuple(good), tuple(turned_down)
        if len(good) >= 2:
            break
    return tuple(good), tuple(turned_down)


def _strengths(context: Context) -> tuple[float, ...]:
    """Forces (N) past which clamps are asked for, round by round: any, then the stronger half, then the strongest."""
    forces = sorted({c.force for c in context.shop.clamps if c.kind in ("edge", "wedge", "strap")})
    steps = [0.0, *(forces[min(len(forces) * q // 4, len(forces) - 1)] * 0.999 for q in (2,))]
    return tuple(dict.fromkeys(steps))


def _drafts(
    context: Context, machine: Machine, key: OperationKey, cuts: tuple[Cut, ...], beyond: float
) -> tuple[tuple[Grip, ...], tuple[Reason, ...]]:
    """Grips from geometry, with clamps stronger than `beyond` N only (screws and jaws always)."""
    from palletwright.grip import grips

    clamping = context.sequence(machine, key.family, key.sequence).clampings[key.clamping]
    before, after = context.in_process(machine, key.family, key.sequence, key.clamping)
    clamps = tuple(c for c in context.shop.clamps if c.force > beyond or (not beyond and c.kind in ("screw", "jaw")))
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


def _judged(
    context: Context, machine: Machine, key: OperationKey, draft: Grip, cuts: tuple[Cut, ...]
) -> Option | Reason:
    """A grip that holds as an option with the cuts that it bears, or why it doesn't."""
    clamping = context.sequence(machine, key.family, key.sequence).clampings[key.clamping]
    before, _ = context.in_process(machine, key.family, key.sequence, key.clamping)
    judged = [
        (grip, *context.timed("holding", partial(eased_to_hold, context, machine, key, grip, cuts)))
        for grip in regimes(draft)
    ]
    passed = [row for row in judged if row[1].passed]
    if not passed:
        return _too_weak(draft, max((r for _, r, _ in judged), key=lambda r: r.holding_factor or 0.0))
    grip, report, borne = min(passed, key=lambda row: sum(c.seconds for c in row[2]))
    axis = clamping.axis if key.kind == "pallet" else None
    module = context.timed("modules", partial(module_of, context, key, grip, cuts, axis, before))
    return Option(grip, module, report, borne, key.up, axis, key.kind)


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
    text = f"holds {have:.2f} where {report.floor:.1f} is asked" if have is not None else "does not locate the part"
    return Reason(
        about=f"grip {grip.id}",
        text=f"{text}: {report.worst_load}, first {report.gives_first}" if report.worst_load else text,
        amount=None if have is None else report.floor - have,
        unit="" if have is None else "holding factor",
    )
