"""The least number of tool runs that any allowed order needs, and a sequence of runs that reaches it.

For N identical parts it equals that for one part: an order of N parts restricted to one of them is an order of that
part, and an order of one part carried out run by run on all of them has as many runs. So stations that are alike
are looked at once. A run does everything that its tool can do by then, because leaving work for later never helps;
and a tool whose remaining work can all be done now is done now, because its run is needed once in any case.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from palletwright.cycle.model import Visit

STATES = 200_000
"""States looked at before the search gives up and answers with its bound."""


@dataclass(frozen=True, slots=True)
class Runs:
    """`tools` one run after the other, `least` a bound never above the least number of runs."""

    tools: tuple[int, ...]
    least: int

    @property
    def proven(self) -> bool:
        return len(self.tools) == self.least


def least_tool_runs(visits: Sequence[Visit], *, extra: Mapping[str, Sequence[str]] | None = None) -> Runs:
    """Least tool runs over all `visits`; `extra` adds predecessors by visit id (a forced order)."""
    more = extra or {}
    chosen = visits if more else _one_of_each(visits)
    number = {visit.id: k for k, visit in enumerate(chosen)}
    need = [0] * len(chosen)
    for k, visit in enumerate(chosen):
        for name in (*visit.after, *more.get(visit.id, ())):
            if name in number:
                need[k] |= 1 << number[name]
    return _search([visit.tool for visit in chosen], need)


def _one_of_each(visits: Sequence[Visit]) -> Sequence[Visit]:
    """The visits of one station of each kind; all of them where precedence crosses stations."""
    stations: dict[str, list[Visit]] = {}
    home = {visit.id: visit.station for visit in visits}
    for visit in visits:
        if any(home.get(name, visit.station) != visit.station for name in visit.after):
            return visits
        stations.setdefault(visit.station, []).append(visit)
    kinds: dict[tuple[object, ...], list[Visit]] = {}
    for members in stations.values():
        names = {v.id: (v.operation, v.feature, v.stage, v.tool) for v in members}
        sign = tuple(sorted((names[v.id], tuple(sorted(names[a] for a in v.after if a in names))) for v in members))
        kinds.setdefault(sign, members)
    return [visit for members in kinds.values() for visit in members]


def _search(tool: list[int], need: list[int]) -> Runs:
    """A* over (done); the tools with work left are a lower bound on the runs left."""
    of: dict[int, int] = {}
    for k, t in enumerate(tool):
        of[t] = of.get(t, 0) | 1 << k
    full = (1 << len(tool)) - 1

    def left(done: int) -> int:
        return sum(1 for mask in of.values() if mask & ~done)

    queue: list[tuple[int, int, int, tuple[int, ...], int]] = [(left(0), 0, 0, (), 0)]
    seen: dict[int, int] = {0: 0}
    serial = 0
    while queue:
        bound, _, _, runs, done = heapq.heappop(queue)
        if done == full:
            return Runs(runs, bound)
        if len(seen) > STATES:
            return Runs(_finish(runs, done, of, need), bound)
        if seen[done] < len(runs):
            continue
        for t, after in _steps(done, of, need):
            count = len(runs) + 1
            if seen.get(after, count + 1) > count:
                seen[after] = count
                serial += 1
                heapq.heappush(queue, (count + left(after), -count, serial, (*runs, t), after))
    raise ValueError("the precedence between the visits runs in a circle")


def _run(done: int, mask: int, need: list[int]) -> int:
    """`done` after one run of the tool whose visits are `mask`."""
    while True:
        rest, grown = mask & ~done, done
        while rest:
            bit = rest & -rest
            if need[bit.bit_length() - 1] & ~grown == 0:
                grown |= bit
            rest ^= bit
        if grown == done:
            return done
        done = grown


def _steps(done: int, of: dict[int, int], need: list[int]) -> list[tuple[int, int]]:
    steps = []
    for t, mask in of.items():
        if mask & ~done:
            after = _run(done, mask, need)
            if mask & ~after == 0:
                return [(t, after)]
            if after != done:
                steps.append((t, after))
    return steps


def _finish(runs: tuple[int, ...], done: int, of: dict[int, int], need: list[int]) -> tuple[int, ...]:
    """Complete a broken-off search: always the tool that does the most."""
    while steps := _steps(done, of, need):
        t, done = max(steps, key=lambda step: step[1].bit_count())
        runs = (*runs, t)
    return runs
