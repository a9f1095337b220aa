"""Clampings in an order that leaves something to hold: as much as possible first, on grip stock where it must be.

Access proves the least number of clampings. Of all ways to reach it, a shop takes those in which the first one
does nearly everything and the later ones hold on finished faces: faces cut in a clamping can't be gripped in it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import permutations

import numpy as np

from palletwright.access.model import Access, Clamping, Feature, Route, Sequence
from palletwright.plan.directions import LEVEL, negated, same, square
from palletwright.verdict import Reason, Vec

OFFERED = 5
"""Sequences kept for each family."""

UPRIGHT = 4.0
"""Times as long as the fastest way that a cut from straight above may take and still be taken: it needs no room
beside the part, and an index less."""

ALIKE = 1
"""Sequences kept that begin with the same setting."""


@dataclass(frozen=True, slots=True)
class Setting:
    """How a part may be clamped: fixed with `up` to the spindle, or turned about `axis` with `up` off the side."""

    up: Vec
    axis: Vec | None

    def sees(self, direction: Vec) -> bool:
        if self.axis is None:
            return same(direction, self.up)
        return square(direction, self.axis) and float(np.dot(direction, self.up)) > -LEVEL


def settings(access: Access, rotary: bool) -> list[Setting]:
    """Every setting that access's directions allow, in their order."""
    ways = [d for d, _ in access.directions]
    rows = [Setting(up, None) for up in ways]
    if rotary:
        axes: list[Vec] = []
        for d in ways:
            if not any(same(d, a) or same(d, negated(a)) for a in axes):
                axes.append(d)
        rows += [Setting(up, a) for a in axes for up in ways if square(up, a)]
    return rows


def base_of(access: Access, feature: Feature, up: Vec) -> bool:
    """Whether the feature's material is the stock's own base under `up`: it can't be cut standing on it."""
    u = np.asarray(up)
    if not len(feature.removal.vertices):
        return False
    part = float((access.solid.mesh.vertices @ u).min())
    heights = feature.removal.vertices @ u
    return bool(heights.min() < part - LEVEL and (heights.max() <= part + LEVEL))


def reach_in(access: Access, feature: Feature, setting: Setting) -> Vec | None:
    """The direction, fastest first, from which a setting cuts a feature; None where it can't."""
    if base_of(access, feature, setting.up):
        return None
    best = _best(feature, setting)
    return None if best is None else best.direction


def _best(feature: Feature, setting: Setting) -> Route | None:
    """The route that a setting takes: from straight above where that isn't far slower; one end before both."""
    seen = [r for r in feature.routes if setting.sees(r.direction) and (r.pair is None or setting.sees(r.pair))]
    if not seen:
        return None

    def seconds(r: Route) -> float:
        other = [q for q in feature.routes if q.pair is not None and r.pair is not None and same(q.direction, r.pair)]
        return r.seconds + (min(q.seconds for q in other) if other else 0.0)

    upright = [r for r in seen if same(r.direction, setting.up)]
    best = min(seen, key=seconds)
    above = min(upright, key=seconds) if upright else best
    return above if seconds(above) <= UPRIGHT * seconds(best) else best


InTheWay = Callable[[Feature, Vec], frozenset[str]]
"""The features whose material the tools for one feature, from one direction, would meet."""


def nothing(_: Feature, __: Vec) -> frozenset[str]:
    """No feature is in the way of any."""
    return frozenset()


def front_loaded(access: Access, order: Iterable[Setting], in_the_way: InTheWay = nothing) -> Sequence | None:
    """Every feature in the earliest setting that cuts it and all that must come before it; None if one is left.

    A feature whose tools would meet what a later setting cuts goes into that one, where it can be cut there too.
    """
    chosen = list(order)
    place: dict[str, int] = {}
    ways: dict[str, Vec] = {}
    features = [f for f in access.features if f.routes]
    for feature in _in_order(features):
        first = max((place[a] for a in feature.after if a in place), default=0)
        for k in _places(access, feature, chosen, first):
            direction = reach_in(access, feature, chosen[k])
            if direction is not None:
                place[feature.id], ways[feature.id] = k, direction
                break
        else:
            return None
    _put_off(features, chosen, place, ways, in_the_way, access)
    clampings = []
    for k, setting in enumerate(chosen):
        rows = tuple(row for f in features if place[f.id] == k for row in _rows(f, ways[f.id], setting))
        if not rows:
            return None
        used = _distinct(d for _, d in rows)
        axis = None if len(used) == 1 and same(used[0], setting.up) else setting.axis
        clampings.append(Clamping(used, rows, axis, (setting.up,)))
    seconds = sum(r.seconds for f in features for r in f.routes if same(r.direction, ways[f.id]))
    return Sequence(tuple(clampings), 0, False, seconds)


def _put_off(
    features: list[Feature],
    chosen: list[Setting],
    place: dict[str, int],
    ways: dict[str, Vec],
    in_the_way: InTheWay,
    access: Access,
) -> None:
    """Move features behind what is in the way of their tools, and what must follow them with them."""
    for _ in chosen:
        moved = False
        for f in features:
            k = place[f.id]
            last = max([place.get(g, 0) for g in (*in_the_way(f, ways[f.id]), *f.after)], default=0)
            direction = reach_in(access, f, chosen[last]) if last > k else None
            if direction is not None:
                place[f.id], ways[f.id], moved = last, direction, True
        if not moved:
            return


def _places(access: Access, feature: Feature, chosen: list[Setting], first: int) -> list[int]:
    """Clampings to try for a feature, earliest first; what the part first stood on is best faced from above."""
    places = list(range(first, len(chosen)))
    if base_of(access, feature, chosen[0].up):
        places.sort(key=lambda k: not same(chosen[k].up, negated(chosen[0].up)))
    return places


def _rows(feature: Feature, direction: Vec, setting: Setting) -> list[tuple[str, Vec]]:
    """The feature's own direction, and the other end's where it is cut from both."""
    route = _best(feature, setting)
    if route is None or not same(route.direction, direction):
        raise LookupError(f"{feature.id} has no route from {direction}")
    return [(feature.id, direction)] + ([(feature.id, route.pair)] if route.pair is not None else [])


def _distinct(ways: Iterable[Vec]) -> tuple[Vec, ...]:
    found: list[Vec] = []
    for d in ways:
        if not any(same(d, f) for f in found):
            found.append(d)
    return tuple(found)


def _in_order(features: list[Feature]) -> list[Feature]:
    """Features so that each comes after those it must follow."""
    done: set[str] = set()
    names = {f.id for f in features}
    rows: list[Feature] = []
    left = list(features)
    while left:
        ready = [f for f in left if all(a in done or a not in names for a in f.after)] or left[:1]
        rows += ready
        done |= {f.id for f in ready}
        left = [f for f in left if f.id not in done]
    return rows


def sequences(access: Access, family: str, in_the_way: InTheWay = nothing) -> tuple[Sequence, ...]:
    """Front-loaded sequences with the least number of clampings that access proves (or one more, where no order of
    the least lets the features follow one another), those first that leave least to the later clampings."""
    proven = [s for s in (access.rotary if family == "rotary" else access.fixed) if not by_end(s)]
    if not proven or (access.known and family not in access.known):
        return ()
    if access.known:
        return tuple(proven[:OFFERED])
    wished = access.kept(proven[0])
    least = len(proven[0].clampings) if wished else min(len(s.clampings) for s in proven)
    bound = max(s.bound for s in proven)
    proof = any(s.proven for s in proven)
    found: dict[tuple[object, ...], Sequence] = {}
    rows = settings(access, family == "rotary")
    for count in (least, least + 1):
        for order in _covers(access, rows, count):
            made = front_loaded(access, order, in_the_way)
            if (
                made is not None
                and wished <= access.kept(made)
                and not (family == "rotary" and all(c.axis is None for c in made.clampings))
            ):
                key = tuple((c.axis, c.ups, tuple(sorted(f for f, _ in c.features))) for c in made.clampings)
                found.setdefault(key, replace(made, bound=bound, proven=proof and count == bound))
        if found:
            break
    ranked = sorted(found.values(), key=lambda s: (_blocked(access, s, in_the_way), *_lateness(access, s)))
    reasons = tuple(r for s in proven for r in s.reasons)
    if not ranked:
        note = Reason(
            "operations", "no order of the least clampings leaves a base to stand on; taken as access gives them"
        )
        return tuple(replace(s, reasons=(*s.reasons, note)) for s in proven[:OFFERED])
    return tuple(replace(s, reasons=reasons) for s in _varied(ranked))


def by_end(sequence: Sequence) -> bool:
    """Whether a part is held by its end on the rotary: carriers here have sides only."""
    return any(c.on_end for c in sequence.clampings)


def _varied(ranked: list[Sequence]) -> list[Sequence]:
    """The first ones, but few with the same first setting."""
    seen: dict[object, int] = {}
    rows = []
    for s in ranked:
        first = (s.clampings[0].axis, s.clampings[0].ups)
        seen[first] = seen.get(first, 0) + 1
        if seen[first] <= ALIKE:
            rows.append(s)
    return rows[:OFFERED]


def _blocked(access: Access, s: Sequence, in_the_way: InTheWay) -> int:
    """Features whose tools would meet what only a later clamping cuts."""
    place = {f: k for k, c in enumerate(s.clampings) for f, _ in c.features}
    known = {f.id: f for f in access.features}
    rows = [(k, f, d) for k, c in enumerate(s.clampings) for f, d in c.features]
    return sum(any(place.get(g, k) > k for g in in_the_way(known[f], d)) for k, f, d in rows)


def _lateness(access: Access, s: Sequence) -> tuple[int, int, int, float, float]:
    """What ranks sequences: features cut later from beside rather than from above (a part is turned over and faced);
    turned later clampings; quarters of the volume left to later ones; how high the part stands in the first;
    seconds."""
    volume = {f.id: f.volume for f in access.features}
    late = sum(k * volume[f] for k, c in enumerate(s.clampings) for f in {n for n, _ in c.features})
    beside = sum(not same(d, c.ups[0]) for c in s.clampings[1:] for _, d in c.features)
    height = float(np.ptp(access.solid.mesh.vertices @ np.asarray(s.clampings[0].ups[0])))
    quarters = int(4.0 * late / max(sum(volume.values()), 1e-9) + 1e-6)
    turned = sum(c.axis is not None for c in s.clampings[1:])
    return beside, turned, quarters, round(height, 1), round(s.seconds, 1)


def _covers(access: Access, rows: list[Setting], count: int) -> Iterator[tuple[Setting, ...]]:
    """Orders of `count` settings that between them cut every feature, each needed for something."""
    features = [f for f in access.features if f.routes]
    cut = {s: frozenset(f.id for f in features if reach_in(access, f, s) is not None) for s in rows}
    all_of = frozenset(f.id for f in features)
    useful = _undominated(rows, cut)

    def grow(chosen: tuple[Setting, ...], done: frozenset[str]) -> Iterator[tuple[Setting, ...]]:
        if done == all_of:
            yield chosen
            return
        if len(chosen) == count:
            return
        first = min(all_of - done)
        for s in useful:
            if first in cut[s]:
                yield from grow((*chosen, s), done | cut[s])

    seen = set()
    for chosen in grow((), frozenset()):
        for order in permutations(chosen):
            if order not in seen and len(order) == count:
                seen.add(order)
                yield order
        if len(seen) > 400:
            return


def _undominated(rows: list[Setting], cut: dict[Setting, frozenset[str]]) -> list[Setting]:
    """Settings that cut something; a turned one must see more than the fixed one with the same up."""
    fixed = {s.up: cut[s] for s in rows if s.axis is None}
    return [s for s in rows if cut[s] and (s.axis is None or cut[s] != fixed.get(s.up))]
