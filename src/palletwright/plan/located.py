"""Where each station's features really stand: errors of locators, carrier and index, against the drawing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from palletwright.access.model import Feature
from palletwright.grip.model import Contact, Grip
from palletwright.holding import place_errors
from palletwright.holding.contacts import contacts_of
from palletwright.plan.context import Context
from palletwright.plan.model import Design, OperationChoice
from palletwright.plan.options import Option, moved_points
from palletwright.plan.proved import Proof
from palletwright.plan.stand import Standing, mount_of, standings
from palletwright.plan.toleranced import Placed, toleranced
from palletwright.verdict import Margin, Reason

GROUND = 0.01
"""± mm of a carrier's own face or a jaw as a locator: common practice, no source."""

CARRIER = {"pallet": 0.01, "plate": 0.02, "vise": 0.02}
"""± mm within which a carrier comes back to its mount, by dowels or a key: common practice, no source."""


@dataclass(frozen=True, eq=False)
class Places:
    """By operation number the error of its features at each station; margins of each placed feature's worst station."""

    rows: dict[int, list[dict[str, Any]]] = field(default_factory=dict)
    margins: tuple[Margin, ...] = ()
    reasons: tuple[Reason, ...] = ()


def locations(context: Context, design: Design, chosen: dict[int, Option], proofs: dict[int, Proof]) -> Places:
    """Where the features of a design really stand.

    Where the drawing places nothing in an operation, the feature that stands worst is shown without a limit.
    """
    machine = context.machine(design.machine)
    placed, reasons = toleranced(context, machine)
    told: list[Reason] = [*reasons]
    margins: list[Margin] = []
    rows = [r for c in sorted({p.cycle for p in design.placings}) for r in standings(context, design, chosen, c)]
    result: dict[int, list[dict[str, Any]]] = {}
    for choice in design.operations:
        here = [r for r in rows if r.module.operation == choice.clamping]
        got, why = _operation(context, design, choice, here, placed)
        result[choice.number] = got
        told += why
        lifted = (proofs[choice.clamping].report.elastic_factor or 0.0) < 1.0
        margins += _margins(choice, got, lifted)
        told += _at_worst(choice, got)
    return Places(result, tuple(margins), tuple(told))


def _operation(
    context: Context, design: Design, choice: OperationChoice, here: list[Standing], placed: Sequence[Placed]
) -> tuple[list[dict[str, Any]], list[Reason]]:
    """Rows of one operation, each a station and a feature."""
    machine = context.machine(design.machine)
    clamping = context.sequence(machine, design.family, design.sequence).clampings[choice.clamping]
    cut = dict(clamping.features)
    features = [f for f in context.access(machine).features if f.id in cut]
    wanted = [p for p in placed if p.feature in cut]
    if not here or not features:
        return [], []
    try:
        rows = [r for s in here for r in _station(context, design, s, features, cut, wanted)]
    except ValueError as error:
        return [], [Reason(f"operation {choice.number}", f"place unknown: {error}")]
    if not wanted:
        worst = max(rows, key=lambda r: r["across_worst_mm"])["feature"]
        rows = [r for r in rows if r["feature"] == worst]
    return rows, []


def _station(
    context: Context,
    design: Design,
    row: Standing,
    features: Sequence[Feature],
    cut: dict[str, tuple[float, float, float]],
    wanted: Sequence[Placed],
) -> list[dict[str, Any]]:
    """The errors of one station: across the tool and along it, worst case and spread, mm."""
    machine, grip = context.machine(design.machine), row.option.grip
    asked: list[tuple[Feature, Placed | None]] = [(f, p) for p in wanted for f in features if f.id == p.feature]
    asked = asked or [(f, None) for f in features]
    points = np.array([_place(f) for f, _ in asked])
    contacts = contacts_of(grip.contacts)
    locator = [_repeats(context, grip, c) for c in _locators(grip)]
    mount = mount_of(machine, row.mount)
    arc = machine.rotary.repeatability if machine.rotary and mount.rotary else 0.0
    away = moved_points(row.machine_part, points) - np.asarray(mount.axis_point)
    axis = np.asarray(mount.axis)
    radius = np.linalg.norm(away - np.outer(away @ axis, axis), axis=1) if mount.rotary else np.zeros(len(points))
    in_station = moved_points(grip.poses[0], points)
    full = place_errors(
        contacts, in_station, locator=locator, carrier=CARRIER[row.mount.kind], index_arc=arc, radius=list(radius)
    )
    rows = []
    for k, (feature, limit) in enumerate(asked):
        way = grip.poses[0][:3, :3] @ np.asarray(cut[feature.id])
        to = limit.to if limit is not None else ()
        same = bool(to) and set(to) <= set(cut)
        turned = arc if same and any(cut[t] != cut[feature.id] for t in to) else 0.0
        own = np.radians(turned / 3600.0) * radius[k]
        worst, spread = (
            (np.full(3, own), np.full(3, own)) if same else (np.asarray(full[k].worst), np.asarray(full[k].spread))
        )
        rows.append(
            {
                "station": row.name,
                "feature": feature.id,
                "across_worst_mm": _across(worst, way),
                "across_spread_mm": _across(spread, way),
                "along_worst_mm": float(worst @ np.abs(way)),
                "along_spread_mm": float(np.sqrt((spread**2) @ (way**2))),
                "limit_mm": None if limit is None else limit.half,
                "drawing": "" if limit is None else limit.text,
                "with": list(to) if same else [],
                "raw": any(c.raw for c in _locators(grip)),
            }
        )
    return rows


def _across(error: NDArray[np.float64], way: NDArray[np.float64]) -> float:
    """mm square to the tool: the length of the components' figures that are left without those along it."""
    return float(np.sqrt(max(0.0, float((error**2).sum() - (error**2) @ (way**2)))))


def _place(feature: Feature) -> NDArray[np.float64]:
    if feature.position is not None:
        return np.asarray(feature.position, dtype=float)
    return np.asarray(feature.removal.centroid if len(feature.removal.triangles) else feature.removal.vertices[0])


def _locators(grip: Grip) -> list[Contact]:
    return [c for c in grip.contacts if c.kind == "locator"]


def _repeats(context: Context, grip: Grip, contact: Contact) -> float:
    """± mm of one locator: the catalogue's, or a ground face's."""
    name = {d.id: d.catalogue for d in grip.devices}.get(contact.device, contact.device)
    return next((k.repeatability for k in context.shop.locators if k.id == name), GROUND)


def _margins(choice: OperationChoice, rows: Sequence[dict[str, Any]], lifted: bool) -> list[Margin]:
    """The worst station of each placed feature; nothing is placed from a raw face, so no limit holds there.

    The spread decides (all errors at their worst at once are rare); `_at_worst` tells where the worst case is more.
    """
    made = []
    limited = [r for r in rows if r["limit_mm"] is not None and (not r["raw"] or r["with"])]
    for name in dict.fromkeys((r["feature"], r["drawing"]) for r in limited):
        worst = max(
            (r for r in limited if (r["feature"], r["drawing"]) == name), key=lambda r: float(r["across_worst_mm"])
        )
        have = 0.0 if lifted else worst["limit_mm"]
        note = f"{worst['drawing']}; as a spread; at worst {worst['across_worst_mm']:.3f} mm; locators, carrier, index"
        made.append(
            Margin(
                "location",
                f"operation {choice.number}: {name[0]}",
                "a locator lifts off" if lifted else f"station {worst['station']}",
                worst["across_spread_mm"],
                have,
                "mm",
                note=note,
            )
        )
    return made


def _at_worst(choice: OperationChoice, rows: Sequence[dict[str, Any]]) -> list[Reason]:
    """Placed features whose worst case is past what the drawing allows, though their spread may not be."""
    made: dict[str, Reason] = {}
    for r in sorted(rows, key=lambda r: -float(r["across_worst_mm"])):
        over = 0.0 if r["limit_mm"] is None else float(r["across_worst_mm"]) - float(r["limit_mm"])
        if over > 0 and (not r["raw"] or r["with"]) and r["feature"] not in made:
            text = f"at worst {over:.3f} mm past what the drawing allows at station {r['station']}: measure there first"
            made[r["feature"]] = Reason(f"operation {choice.number}", f"{r['feature']} {text}", over, "mm")
    return list(made.values())
