"""Blocked displacements between modules: the table that all packing looks up."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from palletwright.layout.model import Module, ToolSweep
from palletwright.layout.polygons import joined, mirrored, shifted, turned
from palletwright.layout.swept import Rows, outline_shifts, swept_shifts

BODIES = "bodies"
TOUCH = 1e-5  # mm by which contact may be undershot by rounding; the outer sets are larger than needed by more
JOINED = 1e-4  # mm within which a displacement is one at which a stop is shared
_kept: dict[str, Table] = {}


@dataclass(frozen=True, eq=False)
class Table:
    """Blocked displacements of module B's origin from module A's, in A's frame at turn 0, by relative turn.

    `outer` holds every blocked displacement (what stands outside it is clear), `inner` only blocked ones (what
    stands in it is certain to collide), so packing uses the first and bounds the second. `causes` are the outer
    sets by what blocks: the bodies, or the tools of a direction.
    """

    outer: dict[int, Any]
    inner: dict[int, Any]
    causes: dict[str, dict[int, Any]]
    kept: dict[Any, Any] = field(default_factory=dict)
    """What the search works out from the sets alone, for further sides."""
    joints: dict[int, NDArray[np.float64]] = field(default_factory=dict)
    """By relative turn, displacements (n, 2) that are allowed all the same: two modules share a stop there."""

    @cached_property
    def _tests(self) -> dict[int, Any]:
        tests = {k: s.buffer(-TOUCH) for k, s in self.outer.items()}
        for shape in tests.values():
            shapely.prepare(shape)
        return tests

    def blocked(self, turn_a: int, turn_b: int, shift: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Whether B at turn `turn_b`, displaced by `shift` (n, 2) mm from A at `turn_a`, is blocked."""
        local = _back(shift, turn_a)
        turn = (turn_b - turn_a) % 4
        hit = np.asarray(shapely.contains_xy(self._tests[turn], local[:, 0], local[:, 1]))
        for d in self.joints.get(turn, ()):
            hit &= np.abs(local - d).max(axis=1) > JOINED
        return hit

    def joints_at(self, turn_a: int, turn_b: int) -> NDArray[np.float64]:
        """The joints (n, 2) mm of a module at `turn_b` from one at `turn_a`, in the side's frame."""
        own = self.joints.get((turn_b - turn_a) % 4, np.zeros((0, 2)))
        return _back(own, -turn_a % 4)

    def world(self, turn_a: int, turn_b: int) -> Any:
        """The outer blocked set in the side's frame."""
        key = ("world", turn_a, turn_b)
        if key not in self.kept:
            self.kept[key] = turned(self.outer[(turn_b - turn_a) % 4], turn_a)
        return self.kept[key]


def _back(shift: NDArray[np.float64], turn: int) -> NDArray[np.float64]:
    x, y = shift[:, 0], shift[:, 1]
    return np.column_stack(((x, y), (y, -x), (-x, -y), (-y, x))[turn % 4])


def table(
    a: Module, b: Module, turns: Iterable[int], clearance: float, gap: float, nose: Rows | None, pitch: float
) -> Table:
    """The blocked displacements of two modules, kept by content within the run.

    With T(A, B, k) the shifts at which A's tools meet B's bodies, the table is
    T(A, B, k) ∪ −R(k)·T(B, A, −k) ∪ {outlines nearer than the gap}.
    """
    wanted = tuple(sorted({t % 4 for t in turns}))
    key = _key(a, b, wanted, clearance, gap, nose, pitch)
    if key not in _kept:
        if len(_kept) > 256:
            _kept.clear()
        _kept[key] = _made(a, b, wanted, clearance, gap, nose or (), pitch)
    return _kept[key]


def _made(a: Module, b: Module, turns: Sequence[int], clearance: float, gap: float, nose: Rows, pitch: float) -> Table:
    back = sorted({-t % 4 for t in turns})
    found: dict[bool, dict[str, dict[int, list[Any]]]] = {}
    for outer in (True, False):
        causes = {BODIES: {t: [s] for t, s in outline_shifts(a, b, turns, gap, outer).items()}}
        reach = {}
        for index, sweep in enumerate(a.sweeps):
            reach[index] = swept_shifts(sweep, b, sorted({*turns, *back}), clearance, nose, pitch, outer)
            _add(causes, _named(sweep), {t: reach[index][t] for t in turns})
        for index, sweep in enumerate(b.sweeps):
            theirs = reach[index] if a is b else swept_shifts(sweep, a, back, clearance, nose, pitch, outer)
            _add(causes, _named(sweep), {t: mirrored(turned(theirs[-t % 4], t)) for t in turns})
        found[outer] = causes
    outer_sets, inner_sets = (
        {t: joined([s for c in found[o].values() for s in c[t]]) for t in turns} for o in (True, False)
    )
    named = {name: {t: joined(s) for t, s in sets.items()} for name, sets in found[True].items()}
    return Table(_seen_alike(outer_sets) if a is b else outer_sets, inner_sets, named)


def _seen_alike(outer: dict[int, Any]) -> dict[int, Any]:
    """The sets of a module and itself, made alike from either one: rounding leaves arcs that differ by a hair."""
    made: dict[int, Any] = {}
    for t, shape in outer.items():
        back = -t % 4
        if back in outer and back not in made:
            made[t] = joined([shape, mirrored(turned(outer[back], t))])
            if back != t:
                made[back] = mirrored(turned(made[t], back))
    return {t: made.get(t, shape) for t, shape in outer.items()}


def _add(causes: dict[str, dict[int, list[Any]]], name: str, sets: dict[int, Any]) -> None:
    for turn, shape in sets.items():
        causes.setdefault(name, {}).setdefault(turn, []).append(shape)


def _named(sweep: ToolSweep) -> str:
    x, y, z = (round(float(v), 3) + 0.0 for v in sweep.direction)
    return f"tools along ({x:g}, {y:g}, {z:g})"


def recentred(shape: Any, turn_a: int, turn_b: int, centre: NDArray[np.float64]) -> Any:
    """A set of displacements in the side's frame, between points `centre` of the modules, not their origins."""
    return shifted(shape, _ahead(centre, turn_b) - _ahead(centre, turn_a))


def _ahead(point: NDArray[np.float64], turn: int) -> NDArray[np.float64]:
    x, y = point
    return np.array(((x, y), (-y, x), (-x, -y), (y, -x))[turn % 4])


def _key(a: Module, b: Module, turns: Sequence[int], *numbers: object) -> str:
    h = hashlib.sha256(repr((turns, numbers)).encode())
    for module in (a, b):
        h.update(shapely.to_wkb(module.outline))
        for _, mesh in module.bodies:
            h.update(mesh.key.encode())
        for sweep in module.sweeps:
            h.update(repr(sweep.direction).encode())
            for tips, stack, number, entry in sweep.moves:
                h.update(np.ascontiguousarray(tips).tobytes() + repr((stack, number, entry)).encode())
    return h.hexdigest()
