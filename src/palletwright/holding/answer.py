"""The answer to a case typed by hand, ready for JSON."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from palletwright.holding.advice import Question, advise
from palletwright.holding.case import Case, case_of, read_case
from palletwright.holding.contacts import location
from palletwright.holding.elastic import SLIP_LIMIT, Rest, elastic_factor, holds, respond, rest
from palletwright.holding.friction import UNLIMITED, friction_factors, least_preload
from palletwright.holding.told import by_state, by_twist


def hold(case: str | Path | Mapping[str, Any]) -> dict[str, Any]:
    """Solve a case from its TOML file or its tables; raises InputError with every fault of it."""
    return solve_case(case_of(case) if isinstance(case, Mapping) else read_case(case))


def solve_case(case: Case) -> dict[str, Any]:
    """Location, least preload with its certificate, friction and elastic factor at the given preloads.

    Returns
    -------
    dict
        `located` (rank, condition), `least_preload_n` (each, sum; null where no preload is enough),
        `friction_factor`, `elastic_factor`, `holding_factor` (null without preloads), `worst_load`, `gives_first`,
        `certificate`, `elastic` (one entry a load; null without preloads), `safety`, `passed`, `notes`, `advice`
        (changes that reach the safety, each tried; empty where it is reached). A locator that a load lifts off, at the
        load as it is, leaves the part unlocated: `located.lifts_off` names it.
    """
    rank, condition = location(case.contacts)
    least = least_preload(case.contacts, case.wrenches, case.gravity, case.safety)
    enough = least.status == "ok"
    answer: dict[str, Any] = {
        "located": {
            "rank": rank,
            "condition": condition if math.isfinite(condition) else None,
            "located": rank == 6,
            "lifts_off": [],
        },
        "least_preload_n": {
            "each": [float(p) for p in least.each] if enough else None,
            "sum": least.total if enough else None,
            "status": least.status,
        },
        "friction_factor": None,
        "elastic_factor": None,
        "holding_factor": None,
        "worst_load": None,
        "gives_first": None,
        "certificate": {"least_preload": least.certificate},
        "elastic": None,
        "safety": case.safety,
        "passed": None,
        "notes": _notes(case, rank, least.status),
        "advice": [],
    }
    return answer | _factors(case, answer, rank) if case.given else answer


def _notes(case: Case, rank: int, status: str) -> list[str]:
    notes = []
    if rank < 6:
        notes.append(f"the locators' rank is {rank} of 6: the part is not located, friction alone keeps it in place")
    if status == "infeasible":
        notes.append("no clamp preload, however great, holds these loads in these places")
    if not case.given:
        notes.append("a clamp has no preload: the factors at given preloads are null")
    return notes


def _factors(case: Case, answer: dict[str, Any], rank: int) -> dict[str, Any]:
    contacts, wrenches, gravity = case.contacts, case.wrenches, case.gravity
    got = friction_factors(contacts, wrenches, gravity)
    worst = int(np.argmin(got.factor))
    friction = float(got.factor[worst])
    at_rest = rest(contacts, gravity)
    elastic, row = elastic_factor(contacts, at_rest, wrenches, gravity)
    if elastic < friction:
        past = respond(contacts, at_rest, (elastic * 1.001 + 1e-6) * wrenches[row : row + 1], gravity)
        worst, gives = row, by_state(contacts, at_rest, past, 0)
    else:
        gives = by_twist(contacts, got.twist[worst], friction)
    factor = min(friction, elastic)
    bound = float(got.bound.min())
    certificate = answer["certificate"] | {
        "friction_factor": {
            "kind": "virtual twist v with v·w = 1: no larger scale of the worst load can be balanced",
            "upper_bound": bound,
            "twist": [float(x) for x in got.twist[int(np.argmin(got.bound))]],
            "checked": bool(abs(bound - friction) <= 1e-4 * max(1.0, friction)),
        }
    }
    notes = list(answer["notes"])
    if friction >= UNLIMITED:
        notes.append(f"friction_factor stops at {UNLIMITED:g}: no load in these directions overcomes the contacts")
    free = [contacts.ids[i] for i in range(contacts.locators) if not at_rest.pressed[i]]
    if free:
        notes.append(f"no preload presses locator {', '.join(free)}: it counts as lifted past a gap of {SLIP_LIMIT} mm")
    elastic_rows = _elastic(case, at_rest)
    lifts = sorted({name for entry in elastic_rows for name in entry["lifted"]})
    located = answer["located"] | {"located": rank == 6 and not lifts, "lifts_off": lifts}
    return {
        "located": located,
        "friction_factor": friction,
        "elastic_factor": elastic,
        "holding_factor": factor,
        "worst_load": case.names[worst],
        "gives_first": gives,
        "certificate": certificate,
        "elastic": elastic_rows,
        "passed": bool(located["located"] and factor >= case.safety * (1.0 - 1e-6)),
        "notes": notes,
        "advice": _advice(case, factor, worst),
    }


def _advice(case: Case, factor: float, worst: int) -> list[dict[str, Any]]:
    """Changes that reach the safety, each tried; in the order in which they usually cost, since a case has no prices.

    What a case says of friction at clamps counts, so serrated faces are tried as well.
    """
    if factor >= case.safety * (1.0 - 1e-6):
        return []
    force = np.round(case.force[worst], 6)
    asked = Question(case.wrenches, case.gravity, case.safety, factor, case.names[worst], force, friction=True)
    return [
        {"change": r.about, "text": r.text, "amount": r.amount, "unit": r.unit} for r in advise(case.contacts, asked)
    ]


def _elastic(case: Case, at_rest: Rest) -> list[dict[str, Any]]:
    """One entry a load at scale 1: reactions in the case's frame, slip, lift-off, displacement at the load's point."""
    contacts = case.contacts
    state = respond(contacts, at_rest, case.wrenches, case.gravity)
    good = holds(contacts, at_rest, state)
    world = np.einsum("kmi,mij->kmj", state.force, contacts.basis)
    moved = state.twist[:, :3] + np.cross(state.twist[:, 3:], case.at)
    entries = []
    for i, name in enumerate(case.names):
        lifted = (state.force[i, :, 0] <= 0) & ~contacts.is_clamp & at_rest.pressed
        lifted |= (state.gap[i] > SLIP_LIMIT) & ~contacts.is_clamp
        entries.append(
            {
                "load": name,
                "reactions": [[float(x) for x in row] for row in world[i]],
                "slip_mm": [float(x) for x in state.slip[i]],
                "lifted": [contacts.ids[j] for j in np.flatnonzero(lifted)],
                "displacement_mm": [float(x) for x in moved[i]] if state.residual[i] < 1e-6 else None,
                "residual": float(state.residual[i]),
                "balanced": bool(state.residual[i] < 1e-6),
                "holds": bool(good[i]),
            }
        )
    return entries
