"""Whether it pays: payback, present value and break-even, each with the spread of every input."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from palletwright.flow.model import Cost, Payback
from palletwright.shop.model import Rates

Factors = Mapping[str, NDArray[np.float64] | float]

SPREAD = {
    "planned cutting time": 0.25,
    "planned loading time": 0.20,
    "planned set-up": 0.30,
    "planned scrap": 0.50,
    "today's times": 0.10,
    "today's scrap": 0.25,
    "fixture cost": 0.30,
    "demand": 0.15,
    "machine rate": 0.10,
    "operator rate": 0.05,
    "material price": 0.10,
    "tool life constant": 0.15,
    "bench time": 0.20,
}
"""± fractions of each input, ends of a triangle: common practice, no source; a shop may give its own."""

TAYLOR_N = 0.25
"""Taylor's exponent for carbide (from memory, unconfirmed): tool money goes with the life constant to the -1/n."""

DRAWS = 4000
YEARS = 5
"""Years of the present value: common practice, no source."""


def annuity(rate: float, years: int) -> float:
    """Present value of 1 a year for so many years, paid at each year's end."""
    if years < 1 or rate < 0:
        raise ValueError(f"needs at least a year and a rate not below 0, not {years} and {rate}")
    return float(sum((1.0 + rate) ** -k for k in range(1, years + 1)))


def draw(spreads: Mapping[str, float], seed: int, draws: int = DRAWS) -> dict[str, NDArray[np.float64]]:
    """Factors about 1 of every input, triangular between 1 - spread and 1 + spread. The same seed, the same draws."""
    wrong = [f"{k} = {s:g}" for k, s in spreads.items() if not (k in SPREAD and 0 <= s < 1)]
    if wrong:
        raise ValueError(f"spreads are fractions from 0 to below 1 of {', '.join(SPREAD)}; not so: {', '.join(wrong)}")
    rng = np.random.default_rng(seed)
    return {
        name: rng.triangular(1 - s, 1.0, 1 + s, draws) if (s := spreads.get(name, usual)) else np.ones(draws)
        for name, usual in SPREAD.items()
    }


def _by_kind(c: Cost, f: Factors, planned: bool) -> dict[str, NDArray[np.float64] | float]:
    """The kinds of a cost moved by the factors; without the fixture."""
    whose = "planned " if planned else "today's "
    cut = f["planned cutting time"] if planned else f["today's times"]
    load = f["planned loading time"] if planned else f["today's times"]
    setup = f["planned set-up"] if planned else f["today's times"]
    return {
        "material": c.material * f["material price"],
        "machine": c.machine * cut * f["machine rate"],
        "labour": c.labour * load * f["operator rate"],
        "tools": c.tools * cut * f["tool life constant"] ** (-1.0 / TAYLOR_N),
        "setup": c.setup * setup,
        "bench": (c.bench + c.wash + c.inspection) * f["bench time"],
        "scrap": c.scrap * f[whose + "scrap"],
    }


def yearly_saving(now: Cost, then: Cost, f: Factors, hours_worth: float = 1.0) -> NDArray[np.float64]:
    """Money a year that `then` saves against `now`, fixtures apart.

    Machine hours that come free count as far as `hours_worth` (0: nobody needs them, 1: all sold or needed); more
    machine hours than now cost in full.
    """
    before, after = _by_kind(now, f, False), _by_kind(then, f, True)
    moved = np.asarray(before.pop("machine") - after.pop("machine"), float)
    rest = sum((before[k] - after[k] for k in before), np.zeros(1))
    return (rest + np.where(moved > 0, moved * hours_worth, moved)) * now.per_year * f["demand"]


def payback(
    now: Cost,
    then: Cost,
    *,
    rates: Rates,
    hours_now: float,
    hours_then: float,
    seed: int = 1,
    hours_worth: float = 1.0,
    spreads: Mapping[str, float] | None = None,
) -> Payback:
    """Payback of `then` against `now`, with Monte Carlo over the spread of every input (4,000 draws, seeded).

    Parameters
    ----------
    now, then : cost per part of the two ways; the saving compares running costs, the fixtures are the capital
    hours_now, hours_then : machine hours a year of the two ways
    hours_worth : share of the freed machine hours that is sold or needed, 0 to 1
    spreads : ± fractions that replace those of `SPREAD` by name

    Present value over five years at the shop's discount rate. Break-even is capital / saving per part (Hoffman, Jig
    and Fixture Design, p. 94). Raises ValueError for a share or spread out of range.
    """
    if not 0 <= hours_worth <= 1:
        raise ValueError(f"hours_worth is a share from 0 to 1, not {hours_worth:g}")
    factors = draw(spreads or {}, seed)
    saving = yearly_saving(now, then, factors, hours_worth)
    capital = then.capital * factors["fixture cost"]
    months = np.where(saving > 0, 12.0 * capital / np.where(saving > 0, saving, 1.0), np.inf)
    worth = saving * annuity(rates.discount_rate, YEARS) - capital
    base, without = (_base(now, then, w) for w in (hours_worth, 0.0))
    low, high = (float(q) for q in np.quantile(months, [0.1, 0.9], method="lower"))
    return Payback(
        months=_months(then.capital, base),
        low=low if np.isfinite(low) else None,
        high=high if np.isfinite(high) else None,
        saving_per_year=base,
        npv=base * annuity(rates.discount_rate, YEARS) - then.capital,
        break_even_parts=then.capital / (base / now.per_year) if base > 0 else None,
        chance_within_limit=float((months <= rates.payback_limit_months).mean()),
        matters_most=matters_most(factors, worth),
        machine_hours_freed=hours_now - hours_then,
        months_without_hours=_months(then.capital, without),
        hours_worth=hours_worth,
        npv_range=(float(np.quantile(worth, 0.1)), float(np.quantile(worth, 0.9))),
        machine_hours_share=(hours_now - hours_then) / hours_now if hours_now > 0 else None,
        saving_range=(float(np.quantile(saving, 0.1)), float(np.quantile(saving, 0.9))),
    )


def _base(now: Cost, then: Cost, hours_worth: float) -> float:
    return float(yearly_saving(now, then, dict.fromkeys(SPREAD, 1.0), hours_worth)[0])


def _months(capital: float, saving: float) -> float | None:
    return 12.0 * capital / saving if saving > 0 else None


def matters_most(
    factors: Mapping[str, NDArray[np.float64]], worth: NDArray[np.float64]
) -> tuple[tuple[str, float], ...]:
    """The three inputs whose rank correlation with the present value is strongest, strongest first."""
    if np.ptp(worth) == 0:
        return ()
    rank = np.argsort(np.argsort(worth))
    rows = [
        (name, float(np.corrcoef(rank, np.argsort(np.argsort(values)))[0, 1]))
        for name, values in factors.items()
        if np.ptp(values) > 0
    ]
    return tuple(sorted(rows, key=lambda r: -abs(r[1]))[:3])


@dataclass(frozen=True, slots=True)
class Bar:
    """Present value with one input at its 10 % and at its 90 % point, all others as given."""

    name: str
    at_low: float
    at_high: float

    @property
    def swing(self) -> float:
        return abs(self.at_high - self.at_low)


def sensitivity(
    now: Cost, then: Cost, *, rates: Rates, hours_worth: float = 1.0, spreads: Mapping[str, float] | None = None
) -> tuple[Bar, ...]:
    """Present value against each input alone, the widest bar first: the bars of a report."""
    bars = []
    for name, usual in SPREAD.items():
        spread = (spreads or {}).get(name, usual)
        ends = []
        for end in (-1, 1):
            # 10 % point of a symmetric triangle: the fraction 1 - sqrt(0.2) of its half width.
            f = dict.fromkeys(SPREAD, 1.0) | {name: 1.0 + end * spread * (1.0 - 0.2**0.5)}
            saving = float(yearly_saving(now, then, f, hours_worth)[0])
            ends.append(saving * annuity(rates.discount_rate, YEARS) - then.capital * f["fixture cost"])
        bars.append(Bar(name, ends[0], ends[1]))
    return tuple(sorted(bars, key=lambda b: (-b.swing, b.name)))


def cumulative_cash(capital: float, saving_per_year: float, months: int = 36) -> tuple[float, ...]:
    """Money in hand at the end of months 0, 1, ...: the capital out first, then the saving month by month."""
    return tuple(-capital + saving_per_year / 12.0 * m for m in range(months + 1))


def cost_range(
    c: Cost, seed: int = 1, *, planned: bool = True, spreads: Mapping[str, float] | None = None
) -> tuple[float, float]:
    """10 % and 90 % points of the cost per part. `planned`: times that were computed; else times that were told."""
    f = draw(spreads or {}, seed)
    total = sum(_by_kind(c, f, planned).values(), np.zeros(1)) + c.fixture * f["fixture cost"] / f["demand"]
    low, high = np.quantile(total, [0.1, 0.9])
    return float(low), float(high)
