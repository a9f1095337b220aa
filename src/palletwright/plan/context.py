"""What one planning run knows: job, shop, part, blank; and what it has worked out so far."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, TypeVar, cast

import numpy as np

from palletwright.access.model import Access, Clamping, Feature, Route, Sequence
from palletwright.cutting.model import Cut
from palletwright.job.model import Job
from palletwright.shop.model import Machine, Material, Shop, Tool
from palletwright.solid.model import Mesh, Solid
from palletwright.verdict import Vec

T = TypeVar("T")

SAME = 1 - 1e-6
"""Cosine from which two directions count as one."""


@dataclass(eq=False)
class Context:
    """One run. `memo` keeps what is worked out once: access by machine, in-process shapes, grips, packings."""

    job: Job
    shop: Shop
    material: Material
    solid: Solid
    stock: Mesh
    stock_largest: Mesh
    progress: Callable[[str, int, int], None]
    memo: dict[Any, Any] = field(default_factory=dict)
    stages: dict[str, float] = field(default_factory=dict)
    stopped_early: bool = False

    def once(self, key: Any, make: Callable[[], T]) -> T:
        """`make()` the first time that `key` is asked for, its answer ever after."""
        if key not in self.memo:
            self.memo[key] = make()
        return cast(T, self.memo[key])

    def timed(self, stage: str, make: Callable[[], T]) -> T:
        """`make()` with its seconds added to the stage's."""
        before = time.perf_counter()
        try:
            return make()
        finally:
            self.stages[stage] = self.stages.get(stage, 0.0) + time.perf_counter() - before

    def machine(self, id: str) -> Machine:
        return next(m for m in self.shop.machines if m.id == id)

    def tool(self, number: int) -> Tool:
        return next(t for t in self.shop.tools if t.number == number)

    def access(self, machine: Machine) -> Access:
        from palletwright.access import analyse

        return self.once(
            ("access", machine.id),
            lambda: self.timed(
                "access",
                lambda: analyse(
                    self.solid, self.stock_largest, self.shop, self.material, machine, self.job, progress=None
                ),
            ),
        )

    def sequence(self, machine: Machine, family: str, index: int) -> Sequence:
        access = self.access(machine)
        return (access.rotary if family == "rotary" else access.fixed)[index]

    def in_process(self, machine: Machine, family: str, index: int, clamping: int) -> tuple[Mesh, Mesh]:
        from palletwright.access import in_process

        sequence = self.sequence(machine, family, index)
        key = ("in-process", machine.id, cut_so_far(sequence, clamping))
        return self.once(
            key, lambda: self.timed("in-process shapes", lambda: in_process(self.access(machine), sequence, clamping))
        )


def cut_so_far(sequence: Sequence, clamping: int) -> tuple[frozenset[str], frozenset[str]]:
    """Features cut before this clamping, and in it."""
    before = frozenset(f for c in sequence.clampings[:clamping] for f, _ in c.features)
    return before, frozenset(f for f, _ in sequence.clampings[clamping].features)


def route_of(feature: Feature, direction: Vec, slim: bool = False) -> Route:
    """The feature's route from `direction`: the fastest, or with `slim` the one with the thinnest tools."""
    routes = [r for r in feature.routes if np.dot(r.direction, direction) > SAME]
    if not routes:
        raise LookupError(f"{feature.id} has no route from {direction}")
    return routes[-1] if slim else routes[0]


def cuts_of(access: Access, clamping: Clamping) -> list[Cut]:
    """All cuts of one clamping, in the order of its features and of each feature's own route."""
    features = {f.id: f for f in access.features}
    return [cut for name, direction in clamping.features for cut in route_of(features[name], direction).cuts]
