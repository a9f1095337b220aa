"""The order of all visits of one cycle, its time, and what no order can be faster than."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from palletwright.cycle.arborescence import FAR
from palletwright.cycle.around import Around, completed
from palletwright.cycle.construct import by_levels, polish, regroup
from palletwright.cycle.events import timed
from palletwright.cycle.least_seconds import least_between
from palletwright.cycle.model import Cycle, Visit
from palletwright.cycle.moves import Clear, IndexTime, Moves, moves_between
from palletwright.cycle.sequential import Order, pose, precedence_matrix, sequential_order
from palletwright.cycle.subsets import EXACT_NODES
from palletwright.cycle.tool_runs import Runs, least_tool_runs
from palletwright.errors import NoPlan
from palletwright.shop.model import Machine
from palletwright.verdict import Reason

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

WHOLE = 120
"""Up to this many visits the search treats the order as one piece; above, block by block."""


def order_visits(
    visits: Sequence[Visit],
    machine: Machine,
    *,
    retract_z: float,
    index_seconds: IndexTime = None,
    seed: int = 1,
    effort: float = 1.0,
    forced: Sequence[Sequence[str]] | None = None,
    clear_z: Clear | None = None,
    around: Around | None = None,
) -> Cycle:
    """Order every visit of one cycle: stations, angles, tools and operations as one problem.

    Parameters
    ----------
    visits : all cuts of one cycle; an id in `after` that is no visit of this cycle counts as done
    retract_z : mm, machine height of the tool's tip at which the rotary may turn
    index_seconds : s for an index, or a function of two angles; None: the machine's own (`moves.index_time`)
    effort : multiplies the work of the search; the same seed and effort give the same order
    forced : groups of visit ids: everything in a group comes before everything in the next
    clear_z : mm, height of the tip for rapids between features and stations, one for all or one for each mount, angle
        and tool (`clear_heights`); None: `retract_z`
    around : spindle starts, tool checks and probing that belong to the cycle; None: none

    Raises
    ------
    ValueError : an id twice, a forced id that is no visit, or angles without a rotary axis
    NoPlan : where the precedence runs in a circle

    Notes
    -----
    The time starts with the first tool's change when there is more than one tool (the last start left another),
    and ends with the last cut. `bound` is never above the least possible seconds of this time model; it is equal to
    `seconds` up to 18 visits on one turning mount. `alternatives` are the best found of their kind.
    """
    before, extra = _precedence(visits, forced)
    more, tools = around or Around(), {v.tool for v in visits}
    even = more.even(tools, machine)
    searched = machine.model_copy(update={"chip_to_chip": machine.chip_to_chip + even})
    moves = moves_between(visits, searched, retract_z, retract_z if clear_z is None else clear_z, index_seconds)
    runs = least_tool_runs(visits, extra=extra)
    kinds = _kinds(visits, moves, before, runs)
    problem = pose(moves.total, before)
    order, bound = _best(moves, before, problem, list(kinds.values()), runs, seed, effort)

    def laid_out(found: Ints) -> Cycle:
        return completed(timed([visits[k] for k in found], machine, moves, found), machine, more)

    cycle = laid_out(order)
    others = [(name, laid_out(o).seconds) for name, o in kinds.items()]
    fixed = _fixed(visits, machine, more, even)
    return replace(
        cycle,
        bound=min(cycle.seconds, fixed + bound),
        least_tool_runs=runs.least,
        alternatives=tuple(others),
        reasons=_reasons(cycle, runs, others, fixed + bound),
    )


def _fixed(visits: Sequence[Visit], machine: Machine, around: Around, even: float) -> float:
    """s that every order takes besides its moves: cuts, the first change, what each tool's run takes over `even`."""
    tools = {v.tool for v in visits}
    first = machine.chip_to_chip if len(tools) > 1 else 0.0
    over = sum(around.run(tool, machine) - even for tool in tools)
    return sum(v.cut_seconds for v in visits) + (around.probe_seconds + even + over + first if visits else 0.0)


def _precedence(
    visits: Sequence[Visit], forced: Sequence[Sequence[str]] | None
) -> tuple[Flags, dict[str, Sequence[str]]]:
    number = {visit.id: k for k, visit in enumerate(visits)}
    if len(number) < len(visits):
        twice = sorted({v.id for v in visits if sum(w.id == v.id for w in visits) > 1})
        raise ValueError(f"visit ids must differ; given more than once: {', '.join(twice)}")
    before = np.zeros((len(visits), len(visits)), dtype=bool)
    for k, visit in enumerate(visits):
        for name in visit.after:
            if name in number:
                before[number[name], k] = True
    extra: dict[str, Sequence[str]] = {}
    groups = [list(group) for group in forced or () if group]
    for name in (name for group in groups for name in group):
        if name not in number:
            raise ValueError(f"forced order names {name!r}, which is no visit of this cycle")
    for early, late in pairwise(groups):
        before[np.ix_([number[a] for a in early], [number[b] for b in late])] = True
        extra.update(dict.fromkeys(late, early))
    try:
        return precedence_matrix(len(visits), before), extra
    except ValueError as error:
        circle = [v.id for v, mark in zip(visits, _in_circle(before), strict=True) if mark]
        text = f"{len(circle)} visits wait for one another: {', '.join(circle[:6])}"
        raise NoPlan([Reason("order", text)]) from error


def _in_circle(before: Flags) -> Flags:
    left = np.ones(len(before), dtype=bool)
    while True:
        free = left & ~before[left].any(axis=0)
        free |= left & ~before[:, left].any(axis=1)
        if not free.any():
            return left
        left &= ~free


def _kinds(visits: Sequence[Visit], moves: Moves, before: Flags, runs: Runs) -> dict[str, Ints]:
    """The three plain orders: tool first, side first, part first, each with its blocks in their best order."""
    if not visits:
        return {}
    names = {name: k for k, name in enumerate(sorted({v.station for v in visits}))}
    station = np.array([names[v.station] for v in visits], dtype=np.int64)
    side = moves.angle_key + 1 + (moves.mount_key << 20)
    tool, total = moves.tool_key, moves.total
    levels = {
        "tool first": ([tool, side, station], runs.tools),
        "side first": ([side, tool, station], ()),
        "part first": ([station, side, tool], ()),
    }
    return {name: by_levels(keys, before, total, plan) for name, (keys, plan) in levels.items()}


def _best(
    moves: Moves, before: Flags, problem: Order, starts: list[Ints], runs: Runs, seed: int, effort: float
) -> tuple[Ints, float]:
    """The best order found and a bound on the seconds of all moves."""
    n, total = len(before), moves.total
    if n == 0:
        return np.empty(0, dtype=np.int64), 0.0
    if len(problem.cost) - 2 <= EXACT_NODES:
        exact = sequential_order(total, before, seed=seed)
        return np.array(exact.order, dtype=np.int64), exact.bound
    bound = least_between(moves, _open_arcs(moves.rapid, problem), runs.least)
    width = n if n <= WHOLE else WHOLE // 2
    side = moves.angle_key + 1 + (moves.mount_key << 20)
    tried = []
    for start in starts:
        better = regroup(start, [moves.tool_key, side], before, total, int(300 * effort), seed)
        tried.append(polish(better, problem, 0, seed, width))
    order = min(tried, key=lambda o: float(total[o[:-1], o[1:]].sum()))
    order = polish(order, problem, int(60 * effort), seed, width)
    order = regroup(order, [moves.tool_key, side], before, total, int(300 * effort), seed)
    if n <= WHOLE:
        whole = sequential_order(total, before, seconds=60.0, seed=seed, effort=0.04 * effort, start=order)
        order, bound = np.array(whole.order, dtype=np.int64), max(bound, whole.bound)
    return order, bound


def _open_arcs(rapid: Floats, problem: Order) -> Floats:
    """`rapid` with FAR where the precedence closes the arc."""
    known = problem.names >= 0
    names = problem.names[known]
    closed = np.zeros(rapid.shape, dtype=bool)
    closed[np.ix_(names, names)] = problem.cost[np.ix_(known, known)] >= FAR / 2
    return np.where(closed, FAR, rapid)


def _reasons(cycle: Cycle, runs: Runs, others: list[tuple[str, float]], bound: float) -> tuple[Reason, ...]:
    least = runs.least
    if cycle.tool_runs == least:
        text = f"{cycle.tool_runs} tool runs, the least that any order needs (proven)"
    else:
        text = f"{cycle.tool_runs} tool runs where {least} would do: more runs save more time in indexing and rapids"
    reasons = [Reason("tool runs", text, float(cycle.tool_runs - least), "runs")]
    for name, seconds in others:
        text = f"{name} takes {seconds:.1f} s, {seconds - cycle.seconds:.1f} s more than the chosen order"
        reasons.append(Reason(name, text, seconds - cycle.seconds, "s"))
    gap = max(0.0, cycle.seconds - bound)
    proof = "no order is faster (proven)" if gap < 1e-6 else f"no order is more than {gap:.1f} s faster"
    return (*reasons, Reason("order", proof, gap, "s"))
