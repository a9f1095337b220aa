"""How long the edges of a cycle last: starts an edge, sisters, the longest unattended run, magazine, parts at risk.

An edge's share of its life that a visit wears off comes from Taylor's line (`wear`). Two rules decide:

- an edge is given work up to `edge_use` of its mean life only (common practice: 80 %), and
- no edge starts a cycle that it can't finish below that. Where one start takes more, sisters share the start, each
  taking over between two visits; a single visit that takes more than one edge has is no plan.

Lives scatter: they are taken as lognormal with the coefficient of variation `spread`. What follows from that is the
chance that an edge is worn before it is changed, and how many pieces the edges do from the tenth to the ninetieth.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from scipy.special import ndtr, ndtri

from palletwright.cycle.model import Visit
from palletwright.verdict import Reason

LIFE_SPREAD = 0.3
"""Coefficient of variation of tool life under equal conditions: from memory, unconfirmed."""

NEVER = 1_000_000
"""Starts after which an edge that is hardly worn counts as lasting for good."""


@dataclass(frozen=True, slots=True)
class EdgeUse:
    """One tool's edges in a cycle.

    `share` of an edge's mean life that one start wears off; `edges_per_start` edges that share a start (1 as a rule),
    `switch_before` the visits before which the next one takes over; `starts_per_edge` whole starts an edge, and
    `pieces` that it does (10th percentile, mean, 90th) if it were run till it is worn; `early` the chance that it is
    worn before it is changed; `edges` in the magazine, sisters among them; `starts` until the last of them is due.
    Numbers are None where the life isn't known.
    """

    tool: int
    seconds: float
    share: float | None
    edges_per_start: int
    switch_before: tuple[str, ...]
    starts_per_edge: int | None
    pieces_per_edge: int | None
    pieces: tuple[float, float, float] | None
    early: float | None
    edges: int
    starts: int | None


@dataclass(frozen=True)
class EdgePlan:
    """All edges of one cycle.

    `unattended_minutes` until the first tool has no edge left, over all sisters that the magazine holds; `first_due`
    that tool; `plain_minutes` the same without sisters. `fits` is false where tools and needed sisters are more than
    the magazine takes, or a visit outlasts an edge.
    """

    tools: tuple[EdgeUse, ...]
    slots: int
    magazine: int
    unattended_minutes: float | None
    plain_minutes: float | None
    first_due: int | None
    fits: bool
    reasons: tuple[Reason, ...] = ()


def edge_plan(
    ordered: Sequence[Visit],
    wear: Mapping[str, float],
    *,
    parts: int,
    start_minutes: float,
    magazine: int,
    edge_use: float = 0.8,
    spread: float = LIFE_SPREAD,
    most_edges: int = 6,
) -> EdgePlan:
    """Share out edges over a cycle, and fill what is free of the magazine with the sisters that are due first.

    Parameters
    ----------
    ordered : the visits of the cycle in its order
    wear : by visit id, the fraction of an edge's mean life that it wears off; a visit without is not known
    parts : that leave with every start
    start_minutes : from start to start while nobody is there
    magazine : tools that it takes
    edge_use : fraction of the mean life up to which an edge is used
    spread : coefficient of variation of the life
    most_edges : edges of one tool that are put in at most

    Raises ValueError for counts below 1 or fractions out of range.
    """
    if parts < 1 or magazine < 1 or start_minutes <= 0 or not 0 < edge_use <= 1 or not 0 <= spread < 2:
        raise ValueError("parts, magazine and minutes must be above 0, edge_use in 0 to 1, spread in 0 to 2")
    rows, reasons, fits = [], list[Reason](), True
    for tool in dict.fromkeys(v.tool for v in ordered):
        mine = [v for v in ordered if v.tool == tool]
        row, trouble = _edge_use(tool, mine, wear, parts, edge_use, spread)
        rows.append(row)
        reasons += trouble
        fits = fits and not any(r.amount is not None and r.unit == "edges a visit" for r in trouble)
    slots = sum(row.edges for row in rows)
    if slots > magazine:
        text = (
            f"{slots} places are needed for {len(rows)} tools and the sisters that a start needs, {magazine} are there"
        )
        reasons.append(Reason("magazine", text, float(slots - magazine), "places"))
        fits = False
    plain = _least(rows)
    rows = _filled(rows, magazine, most_edges)
    due = _least(rows)
    reasons += _due(rows, due, start_minutes)
    return EdgePlan(
        tuple(rows),
        sum(row.edges for row in rows),
        magazine,
        due[0] * start_minutes if due else None,
        plain[0] * start_minutes if plain else None,
        due[1] if due else None,
        fits,
        tuple(reasons),
    )


def _switches(visits: Sequence[Visit], shares: Sequence[float], edge_use: float) -> list[str]:
    """The visits of one tool before which its next edge takes over."""
    switches, used = [], 0.0
    for visit, one in zip(visits, shares, strict=True):
        if used > 0.0 and used + one > edge_use * (1.0 + 1e-12):
            switches.append(visit.id)
            used = 0.0
        used += one
    return switches


def switches_of(ordered: Sequence[Visit], wear: Mapping[str, float], edge_use: float = 0.8) -> tuple[str, ...]:
    """The visits of a cycle before which a fresh edge of the same tool takes over; see `edge_plan`."""
    found: list[str] = []
    for tool in dict.fromkeys(v.tool for v in ordered):
        mine = [v for v in ordered if v.tool == tool]
        if all(v.id in wear for v in mine):
            found += _switches(mine, [wear[v.id] for v in mine], edge_use)
    return tuple(found)


def edges_by_visit(ordered: Sequence[Visit], switch_before: Iterable[str]) -> dict[str, int]:
    """Which edge of its tool makes each visit, from 0: the next one takes over before each of `switch_before`."""
    switches, now, found = set(switch_before), dict[int, int](), dict[str, int]()
    for visit in ordered:
        now[visit.tool] = now.get(visit.tool, 0) + (visit.id in switches)
        found[visit.id] = now[visit.tool]
    return found


def _edge_use(
    tool: int, visits: Sequence[Visit], wear: Mapping[str, float], parts: int, edge_use: float, spread: float
) -> tuple[EdgeUse, list[Reason]]:
    seconds = sum(v.cut_seconds for v in visits)
    if not all(v.id in wear for v in visits):
        unknown = EdgeUse(tool, seconds, None, 1, (), None, None, None, None, 1, None)
        return unknown, [Reason(f"T{tool}", "the life of its edge isn't known: it counts as lasting for good")]
    shares = [wear[v.id] for v in visits]
    share, worst = sum(shares), max(shares)
    reasons = []
    if worst > edge_use:
        name = visits[shares.index(worst)].id
        text = f"{name} alone takes {worst:.2f} of an edge's life, {edge_use:g} is allowed: no edge can finish it"
        reasons.append(Reason(f"T{tool}", text, worst / edge_use, "edges a visit"))
    switches = _switches(visits, shares, edge_use)
    edges = 1 + len(switches)
    if edges > 1:
        text = f"one start takes {share:.2f} of an edge's life: {edges} edges share it, each changed for {edge_use:g}"
        reasons.append(Reason(f"T{tool}", text, float(edges), "edges a start"))
    whole = 1 if edges > 1 else min(NEVER, math.floor(edge_use / share * (1.0 + 1e-12))) if share > 0 else NEVER
    pieces = _pieces(share, parts, spread) if share > 0 else None
    row = EdgeUse(
        tool,
        seconds,
        share,
        edges,
        tuple(switches),
        whole,
        whole * parts // edges,
        pieces,
        _early(max(1, whole) * share / edges, spread) if share > 0 else 0.0,
        edges,
        whole,
    )
    return row, reasons


def _log(spread: float) -> tuple[float, float]:
    """Mean and deviation of the logarithm of a lognormal with mean 1 and the given coefficient of variation."""
    variance = math.log1p(spread * spread)
    return -variance / 2.0, math.sqrt(variance)


def _pieces(share: float, parts: int, spread: float) -> tuple[float, float, float]:
    """Pieces that an edge does till it is worn: 10th percentile, mean, 90th."""
    mean, deviation = _log(spread)
    low, high = (math.exp(mean + float(ndtri(p)) * deviation) for p in (0.1, 0.9))
    return low * parts / share, parts / share, high * parts / share


def _early(used: float, spread: float) -> float:
    """Chance that an edge is worn before `used` of its mean life."""
    mean, deviation = _log(spread)
    if deviation == 0.0:
        return float(used > 1.0)
    return float(ndtr((math.log(used) - mean) / deviation))


def _least(rows: Sequence[EdgeUse]) -> tuple[int, int] | None:
    """Starts until the first tool is due, and that tool; None where no life is known."""
    known = [(row.starts, row.tool) for row in rows if row.starts is not None and row.starts < NEVER]
    return min(known) if known else None


def _filled(rows: list[EdgeUse], magazine: int, most_edges: int) -> list[EdgeUse]:
    """Sisters for the tool that is due first, as long as they fit: with equal places no other choice runs longer."""
    while (due := _least(rows)) is not None:
        k = next(i for i, row in enumerate(rows) if row.tool == due[1])
        row, more = rows[k], rows[k].edges_per_start
        if not row.starts_per_edge or row.edges + more > most_edges or sum(r.edges for r in rows) + more > magazine:
            return rows
        starts = (row.edges + more) // row.edges_per_start * (row.starts_per_edge or 0)
        rows = [*rows[:k], replace(row, edges=row.edges + more, starts=starts), *rows[k + 1 :]]
    return rows


def _due(rows: Sequence[EdgeUse], due: tuple[int, int] | None, start_minutes: float) -> list[Reason]:
    if due is None:
        return [Reason("tool life", "no tool's life is known, so nothing says when an edge is due")]
    starts, tool = due
    row = next(r for r in rows if r.tool == tool)
    with_sisters = f" with {row.edges} edges of it in the magazine" if row.edges > 1 else ""
    text = f"T{tool} is due first, after {starts} starts{with_sisters}"
    return [Reason("tool life", text, starts * start_minutes, "min")]


@dataclass(frozen=True, slots=True)
class Risk:
    """Parts that are cut before the first one can be measured: in the order as it is, and with one part complete
    first, for which `added_seconds` are paid in that start. `cap` is the job's, None for none; `within`: the order as
    it is keeps it."""

    parts: int
    cap: int | None
    within: bool
    first_article_parts: int
    added_seconds: float | None


def parts_at_risk(
    ordered: Sequence[Visit], *, cap: int | None = None, added_seconds: float | None = None, operations: int = 1
) -> Risk:
    """Parts touched in a start before the first is complete: every station that is begun before any one is finished.

    `operations` whose stations the cycle holds: a part is complete when its station's last visit is done, whichever
    the operation. `added_seconds`: what "one part first" costs more than the chosen order, where it is known.
    """
    if operations < 1 or (cap is not None and cap < 1):
        raise ValueError("operations and cap must be at least 1")
    left: dict[str, int] = {}
    for visit in ordered:
        left[visit.station] = left.get(visit.station, 0) + 1
    begun: set[str] = set()
    for visit in ordered:
        begun.add(visit.station)
        left[visit.station] -= 1
        if left[visit.station] == 0:
            break
    count = len(begun)
    return Risk(count, cap, cap is None or count <= cap, min(count, operations), added_seconds)
