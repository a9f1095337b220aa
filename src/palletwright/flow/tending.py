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
    """Average numbers of machines running, waiting and being served; efficiency = (running + served) / all.

    `must_wait` is the chance that a machine that calls finds every server busy.
    """

    running: float
    waiting: float
    served: float
    efficiency: float
    must_wait: float


def finite_source(
    *, machines: int, service_factor: float, servers: int = 1, constant_service: bool = False
) -> FiniteSource:
    """The finite-source queue: machines that run for exponential times and then call for service.

    Parameters
    ----------
    machines : N, how many ask for service
    service_factor : X = T / (T + U), service time over service plus running time, from 0 to below 1
    servers : how many serve
    constant_service : every service takes the same time; for one server only

    Exponential service is the birth-death balance of the machine-repair model (Stevenson, Operations Management,
    finite-source tables: N = 5, X = 0.125, one server gives F = 0.920). Constant service is Ashcroft's case
    (Journal of the Royal Statistical Society, series B, 1950, from memory): with k = T / U,
    running = N / (N·k + p), 1 / p = Σ_r C(N − 1, r) · Π_{i ≤ r} (e^(i·k) − 1), p the chance that a service
    leaves no machine down.

    Raises ValueError for numbers out of range, and for constant service by several servers.
    """
    if machines < 1 or servers < 1 or not 0 <= service_factor < 1:
        raise ValueError(
            "needs machines >= 1, servers >= 1 and 0 <= service_factor < 1, "
            f"not {machines}, {servers}, {service_factor}"
        )
    ratio = service_factor / (1.0 - service_factor)
    if constant_service:
        if servers != 1:
            raise ValueError(f"constant_service knows one server only, not {servers}: simulate that case")
        return _constant_service(machines, ratio)
    chance = _states(machines, ratio, servers)
    waiting = math.fsum(p * max(0, down - servers) for down, p in enumerate(chance))
    served = math.fsum(p * min(down, servers) for down, p in enumerate(chance))
    running = machines - waiting - served
    # Who calls sees the others only: the same balance with one machine fewer.
    must_wait = math.fsum(_states(machines - 1, ratio, servers)[servers:])
    return FiniteSource(running, waiting, served, (running + served) / machines, must_wait)


def _states(machines: int, ratio: float, servers: int) -> list[float]:
    """Chances that 0, 1, ... machines are down."""
    weights = [1.0]
    for down in range(1, machines + 1):
        weights.append(weights[-1] * (machines - down + 1) * ratio / min(down, servers))
    total = math.fsum(weights)
    return [w / total for w in weights]


def _constant_service(machines: int, ratio: float) -> FiniteSource:
    product, terms = 1.0, [1.0]
    for r in range(1, machines):
        product *= math.expm1(r * ratio)
        terms.append(math.comb(machines - 1, r) * product)
    all_running = 1.0 / math.fsum(terms)
    running = machines / (machines * ratio + all_running)
    served = running * ratio
    waiting = max(0.0, machines - running - served)
    return FiniteSource(running, waiting, served, (running + served) / machines, 1.0 - all_running)


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
