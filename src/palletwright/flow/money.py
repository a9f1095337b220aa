"""Cost per part and payback, each with the spread of its inputs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from palletwright.flow.model import Cost, Payback, Timing
from palletwright.shop.model import Machine, Rates

SPREAD = {"cutting time": 0.25, "loading time": 0.20, "fixture cost": 0.30, "demand": 0.15, "scrap": 0.50}
"""± fractions taken for inputs without their own spread: common practice, no source."""

TOOL_SHARE = 0.06
"""Tool cost as a fraction of machine cost: from memory, unconfirmed; used where no tool life is known."""

BENCH_SECONDS = 45.0
"""Deburr, wash and look at one part, s at the bench: common practice, no source."""

INSPECT_FIRST_MINUTES = 20.0
"""First-article minutes at each batch start: common practice, no source."""


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
) -> Cost:
    """Money per part of one way.

    `material` is money per blank with its saw cut, `capital` what the fixtures cost once, `setup_hours` at each
    batch, `scrap` the fraction lost at full value, `life_starts` over which the fixtures last (never spread over
    fewer parts than three years' demand).
    """
    parts = timing.parts_per_start
    hours = timing.start_seconds / 3600.0 / parts / rates.up_time
    machine_cost = hours * machine.rate
    labour = timing.attended_minutes_per_part / 60.0 * rates.operator / rates.up_time
    fixture = capital / min(life_starts * parts, 3.0 * per_year) if capital else 0.0
    setup = (setup_hours + INSPECT_FIRST_MINUTES / 60.0) * (machine.rate + rates.operator) / batch
    bench = BENCH_SECONDS / 3600.0 * (1 + rates.allowance) * rates.bench
    tools = TOOL_SHARE * machine_cost
    value = material + machine_cost + labour + tools + setup + bench
    return Cost(
        material=material,
        machine=machine_cost,
        labour=labour,
        tools=tools,
        fixture=fixture,
        setup=setup,
        bench=bench,
        scrap=value * scrap / (1 - scrap),
        capital=capital,
        per_year=per_year,
    )


def _samples(rng: np.random.Generator, n: int, spread: float) -> np.ndarray:
    return rng.triangular(1 - spread, 1.0, 1 + spread, n)


def payback(now: Cost, then: Cost, *, rates: Rates, hours_now: float, hours_then: float, seed: int = 1) -> Payback:
    """Payback of `then` against `now` with Monte Carlo over the spreads (4,000 draws, seeded).

    The saving counts running costs; the machine's share counts in full only when its freed hours can be used:
    that assumption is stated by the caller. NPV over five years at the shop's discount rate.
    """
    rng = np.random.default_rng(seed)
    n = 4000
    draws = {k: _samples(rng, n, s) for k, s in SPREAD.items()}
    moved_now = now.machine * draws["cutting time"] + now.labour * draws["loading time"]
    moved_then = then.machine * draws["cutting time"] + then.labour * draws["loading time"]
    rest_now = now.running - now.machine - now.labour - now.scrap + now.scrap * draws["scrap"]
    rest_then = then.running - then.machine - then.labour - then.scrap + then.scrap * draws["scrap"]
    saving = (moved_now + rest_now - moved_then - rest_then) * now.per_year * draws["demand"]
    capital = then.capital * draws["fixture cost"]
    months = np.where(saving > 0, 12.0 * capital / np.where(saving > 0, saving, 1.0), np.inf)
    base = (now.running - then.running) * now.per_year
    low, high = (float(q) for q in np.quantile(months, [0.1, 0.9]))
    years = np.arange(1, 6)
    return Payback(
        months=12.0 * then.capital / base if base > 0 else None,
        low=low if np.isfinite(low) else None,
        high=high if np.isfinite(high) else None,
        saving_per_year=base,
        npv=float(base * ((1 + rates.discount_rate) ** -years).sum() - then.capital),
        break_even_parts=then.capital / (now.running - then.running) if base > 0 else None,
        chance_within_limit=float((months <= rates.payback_limit_months).mean()),
        matters_most=_matters(draws, months),
        machine_hours_freed=hours_now - hours_then,
    )


def _matters(draws: dict[str, np.ndarray], months: np.ndarray) -> tuple[tuple[str, float], ...]:
    """The three inputs whose rank correlation with the payback is strongest."""
    finite = np.isfinite(months)
    if finite.sum() < 100 or np.ptp(months[finite]) == 0:
        return ()
    rank = np.argsort(np.argsort(months[finite]))
    rows = []
    for name, values in draws.items():
        other = np.argsort(np.argsort(values[finite]))
        rows.append((name, float(np.corrcoef(rank, other)[0, 1])))
    return tuple(sorted(rows, key=lambda r: -abs(r[1]))[:3])


def cost_range(c: Cost, seed: int = 1) -> tuple[float, float]:
    """10 % and 90 % points of the cost per part under the spreads."""
    rng = np.random.default_rng(seed)
    n = 4000
    d = {k: _samples(rng, n, s) for k, s in SPREAD.items()}
    total = (
        c.material
        + (c.machine + c.tools) * d["cutting time"]
        + c.labour * d["loading time"]
        + c.fixture * d["fixture cost"] / d["demand"]
        + c.setup
        + c.bench
        + c.scrap * d["scrap"]
    )
    low, high = np.quantile(total, [0.1, 0.9])
    return float(low), float(high)


def without_fixture(c: Cost) -> Cost:
    """The same way with its fixtures already paid for."""
    return replace(c, fixture=0.0, capital=0.0)
