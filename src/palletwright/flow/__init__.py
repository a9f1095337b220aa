"""Flow: loading, sets and people, balance, simulation, money, and which part next."""

from palletwright.flow.model import Cost, Flow, Payback, StationLoad, Timing
from palletwright.flow.money import cost
from palletwright.flow.returns import cost_range, payback
from palletwright.flow.sets import combined, load_seconds, timing
from palletwright.flow.tending import (
    FiniteSource,
    finite_source,
    least_sets,
    machine_tending_cost,
    start_seconds,
    starts_per_part,
    utilisation_exponential,
)

__all__ = [
    "Cost",
    "FiniteSource",
    "Flow",
    "Payback",
    "StationLoad",
    "Timing",
    "combined",
    "cost",
    "cost_range",
    "finite_source",
    "least_sets",
    "load_seconds",
    "machine_tending_cost",
    "payback",
    "start_seconds",
    "starts_per_part",
    "timing",
    "utilisation_exponential",
]
