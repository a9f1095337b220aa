"""What one planning run knows: job, shop, part, blank; and what it has worked out so far."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import Any, NamedTuple, TypeVar, cast

from palletwright.access.model import Access, Feature, Route, Sequence
from palletwright.cutting.model import Cut
from palletwright.job.model import Job
from palletwright.plan.directions import same
from palletwright.plan.engaged import engaged
from palletwright.plan.gripstock import GripStock, depths, faced, grip_stock, turned_over, with_strip
from palletwright.plan.hands import Hands
from palletwright.plan.model import Design
from palletwright.plan.overrun import base_level, kept_above
from palletwright.plan.sequences import sequences
from palletwright.plan.thinned import thinned
from palletwright.progress import Progress
from palletwright.shop.model import Machine, Material, Shop, Tool
from palletwright.solid.model import Mesh, Solid
from palletwright.verdict import Vec

T = TypeVar("T")


@dataclass(eq=False)
class Context:
    """One run. `memo` keeps what is worked out once: access by machine, in-process shapes, grips, packings."""

    job: Job
    shop: Shop
    material: Material
    solid: Solid
    stock: Mesh
    stock_largest: Mesh
    progress: Progress
    memo: dict[Any, Any] = field(default_factory=dict)
    stages: dict[str, float] = field(default_factory=dict)
    hands: Hands | None = None

    @property
    def stopped_early(self) -> bool:
        """Whether the work was told to stop before its end."""
        return self.progress.stopped

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
        from palletwright.solid import read_tolerances

        def make() -> Access:
            read = self.once("tolerances", lambda: read_tolerances(self.job.part, self.job.solid))
            return analyse(self.solid, self.stock_largest, self.shop, self.material, machine, self.job, tolerances=read)

        return self.once(("access", machine.id), lambda: self.timed("access", make))

    def variants(self, machine: Machine, family: str) -> tuple[Variant, ...]:
        """Sequences of clampings for a machine, each without and with grip stock under the first clamping."""
        return self.once(("variants", machine.id, family), lambda: self._variants(machine, family))

    def _variants(self, machine: Machine, family: str) -> tuple[Variant, ...]:
        from palletwright.plan.cleared import in_the_way

        access = self.access(machine)
        rows = []
        for sequence in self.timed("sequences", lambda: sequences(access, family, in_the_way(self, machine))):
            own = self.job.blank.kind == "file" or self.job.blank.size is not None
            for depth in () if own else depths(self.shop, self.clearance(machine)):
                strip = grip_stock(access, sequence, depth)
                if strip is not None:
                    rows.append(Variant(sequence, strip))
            rows.append(Variant(sequence, None))
        return (*rows, *self._turned_over(machine, access, rows))

    def _turned_over(self, machine: Machine, access: Access, rows: list[Variant]) -> list[Variant]:
        """Sequences whose base is cut from beside, with grip stock that a clamping of its own faces away: one more."""
        made: list[Variant] = []
        if self.job.blank.kind == "file" or self.job.blank.size is not None:
            return made
        held = [v.sequence for v in rows if v.strip is not None]
        for sequence in (v.sequence for v in rows if v.strip is None and v.sequence not in held):
            longer = turned_over(access, sequence)
            if longer is None:
                continue
            for depth in depths(self.shop, self.clearance(machine)):
                strip = grip_stock(access, longer, depth)
                if strip is not None:
                    made.append(Variant(longer, strip))
        return made

    def sequence(self, machine: Machine, family: str, index: int) -> Sequence:
        return self.variants(machine, family)[index].sequence

    def clearance(self, machine: Machine) -> float:
        """mm between a tool and what it doesn't cut: the floor, with setting error where nothing measures tools."""
        floors = self.shop.floors
        return floors.cutter / 2 if machine.tool_setter else floors.cutter + floors.tool_setting_error

    def in_process(self, machine: Machine, family: str, index: int, clamping: int) -> tuple[Mesh, Mesh]:
        """The part before and after one clamping, closed meshes in the part frame, grip stock included."""
        from palletwright.access import in_process

        sequence, strip = self.variants(machine, family)[index]
        plain = self.once(
            ("in-process", machine.id, cut_so_far(sequence, clamping)),
            lambda: self.timed("in-process shapes", lambda: in_process(self.access(machine), sequence, clamping)),
        )
        if strip is None:
            return plain
        key = ("in-process", machine.id, cut_so_far(sequence, clamping), strip.depth, strip.down, strip.gone_in)
        return self.once(
            key,
            lambda: (
                with_strip(plain[0], strip, clamping <= strip.gone_in),
                with_strip(plain[1], strip, clamping < strip.gone_in),
            ),
        )

    def cuts(self, machine: Machine, family: str, index: int, clamping: int) -> tuple[Cut, ...]:
        """All cuts of one clamping in order, with the facing of grip stock where it falls."""
        sequence, strip = self.variants(machine, family)[index]
        chosen = sequence.clampings[clamping]
        base = base_level(self.solid.mesh, chosen.ups[0])
        access = self.access(machine)
        features = {f.id: f for f in access.features}
        rows = []
        for cut in cuts_of(access, sequence, clamping):
            tool = self.tool(cut.tool)
            loaded = engaged(cut, features[cut.feature], tool, self.material)
            rows.append(thinned(faced(kept_above(loaded, chosen.ups[0], base, tool), strip, clamping), tool))
        return tuple(rows)

    def work_key(self, machine: Machine, family: str, index: int, clamping: int) -> Hashable:
        """What one clamping's work depends on: equal keys, equal shapes and cuts, whatever the sequence."""
        sequence, strip = self.variants(machine, family)[index]
        chosen = sequence.clampings[clamping]
        on = None if strip is None else (strip.depth, strip.down, clamping <= strip.gone_in, clamping < strip.gone_in)
        return machine.id, cut_so_far(sequence, clamping), chosen.features, chosen.axis, on

    def stock_volume(self, design: Design) -> float:
        """mm³ of blank that a design needs, its grip stock included."""
        strip = self.variants(self.machine(design.machine), design.family)[design.sequence].strip
        return self.stock.volume + (strip.volume if strip else 0.0)


class Variant(NamedTuple):
    """A sequence of clampings, and the grip stock that its first one holds."""

    sequence: Sequence
    strip: GripStock | None


def cut_so_far(sequence: Sequence, clamping: int) -> tuple[frozenset[str], frozenset[str]]:
    """Features cut before this clamping, and in it."""
    before = frozenset(f for c in sequence.clampings[:clamping] for f, _ in c.features)
    return before, frozenset(f for f, _ in sequence.clampings[clamping].features)


def route_of(feature: Feature, direction: Vec, both_ends: bool) -> Route:
    """The feature's fastest route from `direction`: the one that needs the other end too, if both are used.

    Raises LookupError where there is none.
    """
    routes = [r for r in feature.routes if same(r.direction, direction)]
    fitting = [r for r in routes if (r.pair is not None) == both_ends]
    if not fitting:
        raise LookupError(f"{feature.id} has no route from {direction}")
    return fitting[0]


def cuts_of(access: Access, sequence: Sequence, clamping: int) -> list[Cut]:
    """All cuts of one clamping, in the order of its features and of each feature's own route."""
    features = {f.id: f for f in access.features}
    uses: Counter[str] = Counter(name for c in sequence.clampings for name, _ in c.features)
    rows = sequence.clampings[clamping].features
    return [cut for name, d in rows for cut in route_of(features[name], d, uses[name] > 1).cuts]
