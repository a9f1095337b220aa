"""Whether anything that is drawn on a carrier stands in something else: carrier, parts, clamps and locators."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from palletwright.papers.carriers import CarrierModel
from palletwright.papers.facts import Facts
from palletwright.papers.live import Live
from palletwright.solid import Mesh, intersect

TOUCH = 0.01
"""mm by which two boxes round bodies must overlap each way before the bodies are looked at: faces that meet don't."""

SHARED = 1.0
"""mm³ above which two bodies stand in one another; below it are facets of round faces that touch flat ones."""

INTO_PARTS = ("stud", "dovetail", "expander")
"""Kinds of clamps that reach into the part that they hold."""


@dataclass(frozen=True, eq=False)
class Standing:
    """One body in the carrier's frame: name, its module's first part, whether it reaches into that module's parts."""

    name: str
    module: str
    mesh: Mesh
    part: bool
    inside: bool = False


def interferences(facts: Facts, cycle: int, model: CarrierModel, live: Live) -> list[tuple[str, str, float]]:
    """Pairs of bodies of one carrier that share room, with the mm³ that they share; the greatest first."""
    rows = standing(facts, cycle, model, live)
    found = []
    for a, b in combinations(rows, 2):
        if not _near(a.mesh, b.mesh) or _allowed(a, b):
            continue
        shared = float(intersect([a.mesh, b.mesh]).volume)
        if shared > SHARED:
            found.append((a.name, b.name, shared))
    return sorted(found, key=lambda row: -row[2])


def standing(facts: Facts, cycle: int, model: CarrierModel, live: Live) -> list[Standing]:
    """The carrier and everything on it."""
    mount = model.placing.mount
    inverse = np.linalg.inv(facts.mounts(cycle)[mount].pose)
    kinds = {c.id: c.kind for c in facts.shop.clamps}
    modules = {name: s.parts[0] for s in facts.design.stations for name in s.parts}
    shapes = {b["owner"]: facts.meshes[b["mesh"]] for b in facts.bodies(cycle) if b["kind"] == "part"}
    rows = []
    for body in facts.bodies(cycle):
        if body["kind"] == "carrier" and body["id"] == f"{mount}/{model.carrier.id}":
            moved = facts.meshes[body["mesh"]].moved(inverse @ np.reshape(body["pose"], (4, 4)))
            rows.append(Standing(model.carrier.id, "", moved, False))
    for s in facts.stations(cycle):
        if s.mount != mount:
            continue
        pose, module = inverse @ s.pose, modules[s.name]
        rows.append(Standing(s.name, module, shapes[s.name].moved(pose), True))
        if s.within == 0:
            rows += [
                Standing(f"{module}/{d.id}", module, d.mesh.moved(pose), False, kinds.get(d.catalogue) in INTO_PARTS)
                for d in live.options[s.operation].grip.devices
            ]
    return rows


def _allowed(a: Standing, b: Standing) -> bool:
    """Whether one of the two is meant to reach into the other: a stud into the part that it holds."""
    return a.module == b.module and ((a.inside and b.part) or (b.inside and a.part))


def _near(a: Mesh, b: Mesh) -> bool:
    (low, high), (l2, h2) = a.bounds, b.bounds
    return bool((low + TOUCH < h2).all() and (l2 + TOUCH < high).all())
