"""Cost per part by kind: what each kind counts, and scrap at the value that it has by then."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from palletwright.flow.model import Cost, Timing
from palletwright.shop.model import Machine, Rates

TOOL_SHARE = 0.06
"""Tool cost as a fraction of machine cost: from memory, unconfirmed; used where no tool life is known."""

DEBURR_SECONDS, WASH_SECONDS, LOOK_SECONDS = 25.0, 10.0, 10.0
"""Deburr, wash and look at one part, s at the bench each: common practice, no source."""

INSPECT_FIRST_MINUTES = 20.0
"""First-article minutes at each batch start: common practice, no source."""

FIXTURE_YEARS = 3.0
"""Years of demand that fixtures are spread over at most: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Loss:
    """One operation's share of the work (machine, labour, tools, set-up) and its chance of scrap."""

    share: float
    scrap: float


@dataclass(frozen=True, slots=True)
class ToolUse:
    """One tool: s of cutting a part, life of one edge in minutes of cutting, money an edge, s to change it."""

    tool: str
    cut_seconds: float
    life_minutes: float
    edge_price: float
    change_seconds: float = 0.0


def taylor_life(speed: float, constant: float, exponent: float) -> float:
    """Minutes of cutting that an edge lasts: T = (C / v)^(1/n), speed and C in m/min (Taylor).

    C's error grows by 1/n in T: with n = 0.25, 10 % in C are 46 % in T.
    """
    if speed <= 0 or constant <= 0 or not 0 < exponent < 1:
        raise ValueError(f"needs speed and C above 0 and n between 0 and 1, not {speed}, {constant}, {exponent}")
    return math.pow(constant / speed, 1.0 / exponent)


def tool_cost(uses: Sequence[ToolUse], machine_rate: float) -> float:
    """Money for tools a part: the share of an edge that the part wears off, and the machine's time to change it."""
    if any(u.life_minutes <= 0 or u.cut_seconds < 0 for u in uses):
        raise ValueError("every tool needs a life above 0 min and a cutting time not below 0 s")
    return math.fsum(
        u.cut_seconds / 60.0 / u.life_minutes * (u.edge_price + u.change_seconds / 3600.0 * machine_rate) for u in uses
    )


def scrap_cost(material: float, added: Sequence[float], chances: Sequence[float]) -> float:
    """Money that scrap adds to a good part, each lost part at the value it has by then.

    Parameters
    ----------
    material : money of a blank
    added : money that each operation adds
    chances : chance of each operation to lose the part

    A good part needs N_k = Π_{j >= k} 1 / (1 - p_j) parts into operation k; the blank goes in with the first.
    """
    if len(added) != len(chances) or not added or any(not 0 <= p < 1 for p in chances):
        raise ValueError("needs one chance from 0 to below 1 for every operation")
    extra, needed = 0.0, 1.0
    for money, chance in zip(reversed(added), reversed(chances), strict=True):
        needed /= 1.0 - chance
        extra += money * (needed - 1.0)
    return extra + material * (needed - 1.0)


def load_loss(material: float, added: Sequence[float], stations: Sequence[int], chance: float) -> tuple[float, float]:
    """(money of one whole load lost, its expectation a start) at `chance` a start.

    Parts at operation k's stations are worth the blank and all work up to and with k: the worst moment, the end of
    the cycle. It stands beside the cost per part, not in it.
    """
    if len(added) != len(stations) or not 0 <= chance <= 1:
        raise ValueError("needs one count of stations for every operation, and a chance from 0 to 1")
    value, whole = material, 0.0
    for money, n in zip(added, stations, strict=True):
        value += money
        whole += n * value
    return whole, whole * chance


def cost(
    timing: Timing,
    *,
    machine: Machine,
    rates: Rates,
    per_year: int,
    batch: int,
    material: float,
    capital: float,
    setup_hours: float,
    scrap: float,
    life_starts: int,
    tools: float | None = None,
    losses: Sequence[Loss] | None = None,
    machine_rate: float | None = None,
    setup_rate: float | None = None,
    deburr_seconds: float = DEBURR_SECONDS,
    wash_seconds: float = WASH_SECONDS,
    look_seconds: float = LOOK_SECONDS,
) -> Cost:
    """Money per part of one way.

    Parameters
    ----------
    material : money per blank with its saw cut
    capital : what the fixtures cost once
    setup_hours : at each batch, first article on top
    scrap : the fraction lost at full value, where `losses` doesn't say operation by operation
    life_starts : starts that the fixtures last; never spread over more parts than three years' demand
    tools : money a part from tool lives; None takes a share of the machine's cost (from memory, unconfirmed)
    losses : share of the work and scrap of each operation, shares adding up to 1
    machine_rate, setup_rate : per hour, where running and setting up pass through several machines; None: `machine`'s
    deburr_seconds, wash_seconds, look_seconds : bench time a part, before allowance
    """
    parts = timing.parts_per_start
    hours = timing.start_seconds / 3600.0 / parts / rates.up_time
    machine_cost = hours * (machine.rate if machine_rate is None else machine_rate)
    labour = timing.attended_minutes_per_part / 60.0 * rates.operator / rates.up_time
    tool_money = TOOL_SHARE * machine_cost if tools is None else tools
    setting = machine.rate if setup_rate is None else setup_rate
    setup = (setup_hours + INSPECT_FIRST_MINUTES / 60.0) * (setting + rates.operator) / batch
    bench, wash, look = (
        s / 3600.0 * (1 + rates.allowance) * rates.bench for s in (deburr_seconds, wash_seconds, look_seconds)
    )
    rows = [Loss(1.0, scrap)] if losses is None else list(losses)
    added = _added(rows, machine_cost + labour + tool_money + setup, bench + wash + look)
    return Cost(
        material=material,
        machine=machine_cost,
        labour=labour,
        tools=tool_money,
        fixture=capital / min(life_starts * parts, FIXTURE_YEARS * per_year) if capital else 0.0,
        setup=setup,
        bench=bench,
        wash=wash,
        inspection=look,
        scrap=scrap_cost(material, added, [r.scrap for r in rows]),
        capital=capital,
        per_year=per_year,
    )


def _added(losses: Sequence[Loss], work: float, after: float) -> list[float]:
    """Money that each operation adds to a part, the bench's on the last. Raises ValueError for wrong shares."""
    if not math.isclose(sum(r.share for r in losses), 1.0, abs_tol=1e-6):
        raise ValueError(f"shares of the work must add up to 1, not {sum(r.share for r in losses):g}")
    added = [r.share * work for r in losses]
    added[-1] += after
    return added
