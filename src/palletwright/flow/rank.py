"""Which parts next: the jobs whose fixtures save most, under limits of capital and machine hours, to proof."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

CENTS = 100
"""Money and hours count in hundredths inside the exact search; limits are kept to the hundredth."""


@dataclass(frozen=True, slots=True)
class RankJob:
    """One job of the shop and what its best fixture plan would do.

    Parameters
    ----------
    name : the job's own
    saving_per_year : money
    building_hours : hours to design, make and prove the fixtures
    capital : money that the fixtures cost once
    machine_hours : hours that building them takes on the machines that also make parts
    """

    name: str
    saving_per_year: float
    building_hours: float
    capital: float = 0.0
    machine_hours: float = 0.0

    def __post_init__(self) -> None:
        numbers = (self.saving_per_year, self.building_hours, self.capital, self.machine_hours)
        if not all(map(math.isfinite, numbers)) or min(numbers[1:]) < 0:
            raise ValueError(f"{self.name}: hours and capital must be finite and not below 0: {numbers}")

    @property
    def saving_per_hour(self) -> float:
        """Money saved a year per hour of fixture building; infinite where nothing needs building."""
        if self.building_hours == 0:
            return math.inf if self.saving_per_year > 0 else 0.0
        return self.saving_per_year / self.building_hours


@dataclass(frozen=True)
class Ranking:
    """`order`: every job, best first by saving per building hour. `chosen`: the set to build within the limits.

    `saving`, `capital`, `machine_hours` and `building_hours` are the chosen set's. `proven`: no other set within the
    limits saves more; else `bound` is a saving that no set can pass.
    """

    order: tuple[RankJob, ...]
    chosen: tuple[RankJob, ...]
    saving: float
    capital: float
    machine_hours: float
    building_hours: float
    proven: bool
    bound: float


def ordered(jobs: Sequence[RankJob]) -> tuple[RankJob, ...]:
    """Jobs by saving per building hour, the greatest first; at a tie the greater saving, then the name."""
    return tuple(sorted(jobs, key=lambda j: (-j.saving_per_hour, -j.saving_per_year, j.name)))


def rank_jobs(
    jobs: Sequence[RankJob],
    *,
    capital: float | None = None,
    machine_hours: float | None = None,
    building_hours: float | None = None,
    seconds: float = 60.0,
) -> Ranking:
    """Rank jobs, and choose those whose fixtures save most together within the limits.

    Parameters
    ----------
    jobs : any number; those that save nothing are ranked but never chosen
    capital, machine_hours, building_hours : limits; None: no limit
    seconds : clock limit of the exact search; with thousands of jobs it rarely takes one

    The choice is a knapsack with up to three limits, solved to proof in whole hundredths. Among sets that save the
    same, one with the fewest building hours is taken. Raises ValueError for a limit below 0 and for two jobs of one
    name.
    """
    limits = {"capital": capital, "machine_hours": machine_hours, "building_hours": building_hours}
    wrong = [f"{k} = {v:g}" for k, v in limits.items() if v is not None and not v >= 0]
    names = [j.name for j in jobs]
    if wrong or len(set(names)) < len(names):
        raise ValueError(f"limits must not be below 0, and each name stands once: {', '.join(wrong) or sorted(names)}")
    order = ordered(jobs)
    worth = [j for j in order if round(j.saving_per_year * CENTS) > 0]
    held = {k: v for k, v in limits.items() if v is not None and math.isfinite(v)}
    chosen, bound, proven = _choose(worth, held, seconds) if held else (worth, math.inf, True)
    saving = math.fsum(j.saving_per_year for j in chosen)
    return Ranking(
        order=order,
        chosen=tuple(chosen),
        saving=saving,
        capital=math.fsum(j.capital for j in chosen),
        machine_hours=math.fsum(j.machine_hours for j in chosen),
        building_hours=math.fsum(j.building_hours for j in chosen),
        proven=proven,
        bound=saving if proven else bound,
    )


def _choose(jobs: list[RankJob], limits: dict[str, float], seconds: float) -> tuple[list[RankJob], float, bool]:
    """The best set within the limits, a saving that no set passes, and whether the two are one."""
    from ortools.sat.python import cp_model

    if not jobs:
        return [], 0.0, True
    model = cp_model.CpModel()
    take = [model.new_bool_var(j.name) for j in jobs]
    for key, limit in limits.items():
        # Up, so that a set within the limit in hundredths is within it in truth; 1e-6 forgives binary fractions.
        needs = [math.ceil(getattr(j, key) * CENTS - 1e-6) for j in jobs]
        model.add(sum(n * t for n, t in zip(needs, take, strict=True)) <= math.floor(limit * CENTS + 1e-6))
    saving = sum(round(j.saving_per_year * CENTS) * t for j, t in zip(jobs, take, strict=True))
    hours = sum(math.ceil(j.building_hours * CENTS - 1e-6) * t for j, t in zip(jobs, take, strict=True))
    model.maximize(saving)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_time_in_seconds = seconds
    status = solver.solve(model)
    found = [solver.boolean_value(t) for t in take] if status in (cp_model.OPTIMAL, cp_model.FEASIBLE) else None
    if found is None:
        return [], math.fsum(j.saving_per_year for j in jobs), False
    best, proven = solver.objective_value, status == cp_model.OPTIMAL
    bound = solver.best_objective_bound / CENTS
    if proven:
        model.add(saving >= round(best))
        model.minimize(hours)
        if solver.solve(model) in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            found = [solver.boolean_value(t) for t in take]
    return [j for j, yes in zip(jobs, found, strict=True) if yes], bound, proven
