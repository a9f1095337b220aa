"""The search over all of it: enumerate, estimate, check in full, rank."""

from __future__ import annotations

import itertools
from collections.abc import Hashable
from dataclasses import replace

import numpy as np

from palletwright.plan.ahead import examined_all, fills_ahead
from palletwright.plan.arrange import Candidate, arrangement, asked_of
from palletwright.plan.candidates import (
    estimate,
    families,
    one_cycle,
    operation_by_operation,
    single,
    turned_down,
    unheld,
)
from palletwright.plan.claimed import claims
from palletwright.plan.context import Context
from palletwright.plan.evaluate import Examined, way
from palletwright.plan.lessons import known_to_fail, taught_by
from palletwright.plan.model import TurnedDown, Way
from palletwright.shop.model import Machine
from palletwright.verdict import Reason

CHECKED = 3
"""Arrangements of a kind that must pass the full checks before the next kind's turn."""

TRIES = 6
"""Arrangements of a kind that are checked in full at effort 1, times the effort."""

TIE = 0.03
"""Ways within this fraction of cost are ties (cutting time is within ±25 %, and shared by all): practice."""


def machines_of(context: Context) -> list[Machine]:
    """The machines that the job allows: those with a rotary axis first, then by hourly rate.

    At effort 1 the ways of a rotary machine that work spare the search on the others (it is said in the plan).
    """
    allowed = context.job.machines
    return sorted(
        (m for m in context.shop.machines if not allowed or m.id in allowed),
        key=lambda m: (m.rotary is None, m.rate, m.id),
    )


def too_big(context: Context, machine: Machine) -> Reason | None:
    """Why the blank can't be on this machine at all: size against travel and table, mass against payload."""
    size = np.sort(np.ptp(context.stock_largest.vertices, axis=0))
    spans = np.sort([machine.travel.x[1] - machine.travel.x[0], machine.travel.y[1] - machine.travel.y[0]])
    short = max(size[2] - spans[1], size[1] - spans[0])
    if short > 0:
        text = f"the blank is {size[2]:.0f} x {size[1]:.0f} mm, {short:.0f} mm more than the travel of {machine.id}"
        return Reason(machine.id, text, float(short), "mm")
    mass = context.stock_largest.volume * 1e-9 * context.material.density
    if mass > machine.table_payload:
        return Reason(
            machine.id, f"the blank weighs {mass:.0f} kg, the table bears {machine.table_payload:.0f} kg", mass, "kg"
        )
    return None


def candidates(context: Context, machine: Machine) -> tuple[list[Candidate], list[TurnedDown]]:
    """Every arrangement of one machine that finds room for all operations, and those that don't."""
    found: list[Candidate] = []
    down: list[TurnedDown] = []
    offered = list(families(context, machine))
    if not offered:
        down += unheld(context, machine)
    for done, (family, index) in enumerate(offered):
        context.progress(f"{machine.id}: arrangements", done, len(offered))
        brief = family == "fixed" and bool(found) and context.job.effort == 1
        every = tuple(range(_count(context, machine, family, index)))
        together = () if brief else tuple(one_cycle(context, machine, family, index))
        alone = {k: tuple(single(context, machine, family, index, k, brief)) for k in every}
        asked = [(placings, every) for placings in together] + [(p, (k,)) for k in every for p in alone[k]]
        fills_ahead(context, (row for p, ks in asked for row in asked_of(context, machine, family, index, p, ks)))
        for placings in together:
            got, why = arrangement(context, machine, family, index, placings, every)
            if got is not None:
                found.append(got)
            elif why:
                down.append(turned_down(why[-1], why[-1].about))
        for owned in (True,) if brief else (True, False):
            got, why = operation_by_operation(context, machine, family, index, owned)
            if got is not None:
                found.append(
                    replace(got, label=f"{'owned means only: ' if owned else 'one operation a start: '}{got.label}")
                )
            elif why:
                down.append(turned_down(why[-1], f"{machine.id}, one operation a start"))
        if context.stopped_early and found:
            break
    return found, down


def _count(context: Context, machine: Machine, family: str, index: int) -> int:
    return len(context.sequence(machine, family, index).clampings)


def queues(context: Context, found: list[Candidate]) -> list[list[Candidate]]:
    """The candidates by kind, best estimate first: fixed or rotary spindle, one cycle or several, owned means."""
    scored = sorted(((estimate(context, c), i, c) for i, c in enumerate(found)), key=lambda row: (row[0].money, row[1]))
    rows: dict[tuple[str, bool, bool], list[Candidate]] = {}
    for _, _, c in scored:
        several = len({p.cycle for p in c.design.placings}) > 1
        rows.setdefault((c.design.family, several, c.label.startswith("owned")), []).append(c)
    return [rows[k] for k in sorted(rows, key=lambda k: (k[1], k[0] == "fixed", k[2]))]


def checked(context: Context, chosen: list[list[Candidate]], ways: list[Way]) -> tuple[list[Way], list[TurnedDown]]:
    """Full checks from every queue until a few have passed, best estimate first; a stop keeps what has passed.

    What a failed check teaches spares those that would fail in the same way.

    Gives `ways` with those that passed; each time there are more the run's progress hears of all, best first.
    """
    good = list(ways)
    down: list[TurnedDown] = []
    lessons: set[Hashable] = set()
    for at, queue in enumerate(chosen):
        left, tried, passed = list(queue), 0, 0
        while passed < _wanted(queue[0]) and tried < TRIES * context.job.effort:
            left = [c for c in left if not known_to_fail(c, lessons)]
            count = min(_wanted(queue[0]) - passed, TRIES * context.job.effort - tried)
            batch, left = left[:count], left[count:]
            context.progress(f"{queue[0].design.machine}: full checks", at, len(chosen))
            if not batch or (context.stopped_early and good):
                break
            for candidate, examined in zip(batch, examined_all(context, batch), strict=True):
                if examined.passed:
                    good += ways_of(context, candidate, examined)
                    passed += 1
                    context.progress.found(named(good))
                else:
                    down.append(_failed(candidate, examined))
                    lessons |= taught_by(examined)
            tried += len(batch)
    return good, down


def _wanted(candidate: Candidate) -> int:
    """How many of its kind must pass."""
    return CHECKED if len({p.cycle for p in candidate.design.placings}) == 1 else 1


def _failed(candidate: Candidate, examined: Examined) -> TurnedDown:
    worst = [m for m in (*(m for r in examined.reaches for m in r.margins), *examined.held) if not m.passed]
    if not worst:
        return TurnedDown(candidate.label, "no station is left after those in conflict are taken out")
    m = min(worst, key=lambda m: m.spare)
    return TurnedDown(
        candidate.label,
        f"{m.check}: {m.subject} to {m.obstacle} needs {m.need:.1f}, has {m.have:.1f} {m.unit}",
        -m.spare,
        m.unit,
    )


def ways_of(context: Context, candidate: Candidate, examined: Examined) -> list[Way]:
    """An arrangement that passed, with as many sets as the job allows, without those that another number beats."""
    several = [way(context, examined, "", sets, candidate.label) for sets in range(1, context.job.greatest_sets + 1)]
    placed = claims(context, examined.design, examined.options)
    several = [replace(w, packing=placed) for w in several]
    return [w for w in several if not any(_beats(o, w) for o in several if o is not w)]


def named(ways: list[Way]) -> list[Way]:
    """Ranked, and named by their rank."""
    return [replace(w, name=f"plan {i + 1}") for i, w in enumerate(ranked(ways))]


def _beats(a: Way, b: Way) -> bool:
    """Whether `a` is at least as good in cost, attended minutes, capital and margin, and better in one."""
    x, y = _objectives(a), _objectives(b)
    return all(p <= q for p, q in zip(x, y, strict=True)) and x != y


def _objectives(w: Way) -> tuple[float, float, float, float]:
    return (w.cost_per_part or 1e9, w.attended_minutes_per_part or 1e9, w.capital, -(w.least_clearance_mm or 0.0))


def ranked(rows: list[Way]) -> list[Way]:
    """By cost; among ties (within their error) the roomier and simpler first. Dominated ways go behind."""
    front = [w for w in rows if not any(_beats(o, w) for o in rows)]
    behind = [w for w in rows if w not in front]
    return [*_by_cost(front), *_by_cost(behind)]


def _by_cost(rows: list[Way]) -> list[Way]:
    rows = sorted(rows, key=lambda w: (w.cost_per_part or 1e9, w.name))
    bands: list[list[Way]] = []
    for w in rows:
        if bands and (w.cost_per_part or 0) <= (bands[-1][0].cost_per_part or 0) * (1 + TIE):
            bands[-1].append(w)
        else:
            bands.append([w])
    return list(itertools.chain.from_iterable(sorted(b, key=_simplicity) for b in bands))


def _simplicity(w: Way) -> tuple[float, int, float]:
    """Fewer starts a part first, then fewer sides with stations, then more clearance."""
    sides = {(s.mount, s.side) for s in w.design.stations} if w.design else set()
    return (round(w.starts_per_part or 9.0, 3), len(sides), -(w.least_clearance_mm or 0.0))
