"""Closed forms: starts per part, one person and several machines, finite source, sets in turn."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


def starts_per_part(parts_per_start: Sequence[float]) -> float:
    """Starts that one part needs: the sum over its operation steps of 1 / (parts that leave per start).

    Raises ValueError when a step gives no part.
    """
    if not parts_per_start or any(n <= 0 for n in parts_per_start):
        raise ValueError(f"parts_per_start needs one positive number an operation step, not {list(parts_per_start)}")
    return sum(1.0 / n for n in parts_per_start)


def machine_tending_cost(
    *, load: float, attend: float, run: float, operator_rate: float, machine_rate: float, machines: int
) -> float:
    """Cost of one piece when one operator tends `machines` alike.

    Parameters
    ----------
    load, attend, run : minutes per piece in which operator and machine are busy together, the operator alone,
        the machine alone
    operator_rate, machine_rate : per hour

    The cycle of the group is the longer of one machine's own (load + run) and the operator's round
    (machines × (load + attend)); it yields `machines` pieces. Source: the man-machine relation
    n = (l + m)/(l + w) as in Niebel's Motion and Time Study and Stevenson's Operations Management.
    """
    if machines < 1:
        raise ValueError(f"machines must be at least 1, not {machines}")
    if min(load, attend, run) < 0 or load + run <= 0:
        raise ValueError(f"load, attend and run must not be negative and load + run not 0: {load}, {attend}, {run}")
    minutes = max(load + run, machines * (load + attend))
    return minutes / 60.0 * (operator_rate + machines * machine_rate) / machines


@dataclass(frozen=True, slots=True)
class FiniteSource:
    """Average numbers of machines running, waiting and being served; efficiency = (running + served) / all."""

    running: float
    waiting: float
    served: float
    efficiency: float


def finite_source(*, machines: int, service_factor: float, servers: int = 1) -> FiniteSource:
    """The finite-source queue with exponential times.

    Parameters
    ----------
    machines : N, how many ask for service
    service_factor : X = T / (T + U), service time over service plus running time, between 0 and 1
    servers : how many serve

    Source: birth-death balance of the machine-repair model (Stevenson, Operations Management, finite-source
    tables; N = 5, X = 0.125, one server gives F = 0.920).
    """
    if machines < 1 or servers < 1 or not 0 <= service_factor < 1:
        raise ValueError(
            "needs machines >= 1, servers >= 1 and 0 <= service_factor < 1, "
            f"not {machines}, {servers}, {service_factor}"
        )
    ratio = service_factor / (1.0 - service_factor)
    weights = [1.0]
    for down in range(1, machines + 1):
        weights.append(weights[-1] * (machines - down + 1) * ratio / min(down, servers))
    total = math.fsum(weights)
    chance = [w / total for w in weights]
    waiting = math.fsum(p * max(0, down - servers) for down, p in enumerate(chance))
    served = math.fsum(p * min(down, servers) for down, p in enumerate(chance))
    running = machines - waiting - served
    return FiniteSource(running, waiting, served, (running + served) / machines)


def start_seconds(machine: float, load: float, swap: float, sets: int) -> float:
    """Seconds from start to start. One set: machine + load + swap. More, the swap taking the loader too:
    swap + max(machine, load)."""
    if sets < 1:
        raise ValueError(f"sets must be at least 1, not {sets}")
    return machine + load + swap if sets == 1 else swap + max(machine, load)


def least_sets(machine: float, load: float, swap: float) -> int:
    """Least number of sets for which the spindle waits for the swap only."""
    cycle = start_seconds(machine, load, swap, 2)
    return math.ceil((machine + load + 2 * swap) / cycle - 1e-9)


def utilisation_exponential(machine: float, load: float, sets: int) -> float:
    """Spindle utilisation of a closed loop of `sets` with exponential times: 1 − 1/Σ (machine/load)^i."""
    return 1.0 - 1.0 / math.fsum((machine / load) ** i for i in range(sets + 1))
