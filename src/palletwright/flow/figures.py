"""What the money drawings of a report are made from: bars of sensitivity, cumulative cash with its range."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

import numpy as np

from palletwright.errors import Fault, InputError
from palletwright.flow.model import Cost, Payback
from palletwright.flow.returns import SPREAD, YEARS, cumulative_cash, draw, sensitivity, yearly_saving
from palletwright.shop.model import Rates

LEAST_MONTHS, MOST_MONTHS = 12, 12 * YEARS
"""Months that the cash curve shows at the least and at the most."""


def spreads_of(rates: Rates) -> dict[str, float]:
    """The shop's own spreads of the inputs.

    Raises InputError that names an input which isn't known.
    """
    faults = [
        Fault("shop", f"rates.spreads.{name}", str(value), "isn't an input that is spread", ", ".join(SPREAD))
        for name, value in rates.spreads.items()
        if name not in SPREAD
    ]
    if faults:
        raise InputError(faults)
    return dict(rates.spreads)


def money_figures(now: Cost, then: Cost, back: Payback, rates: Rates, seed: int = 1) -> dict[str, Any]:
    """Bars of the present value against each input alone (widest first), and the cash in hand month by month.

    `bars`: name, present value at the input's 10 % and 90 % point; `base` is the value that they are about.
    `cash`: month, the likely sum, and its 10 % and 90 % points over the spread of all inputs together.
    """
    spreads = spreads_of(rates)
    bars = sensitivity(now, then, rates=rates, hours_worth=back.hours_worth, spreads=spreads)
    months = MOST_MONTHS
    if back.months is not None:
        months = min(MOST_MONTHS, max(LEAST_MONTHS, math.ceil(3 * max(back.months, back.high or 0.0))))
    likely = cumulative_cash(then.capital, back.saving_per_year, months)
    factors = draw(spreads, seed)
    saving = yearly_saving(now, then, factors, back.hours_worth)
    capital = then.capital * np.asarray(factors["fixture cost"])
    rows = []
    for month, middle in enumerate(likely):
        low, high = np.quantile(saving / 12.0 * month - capital, [0.1, 0.9])
        rows.append({"month": month, "likely": middle, "low": float(low), "high": float(high)})
    return {"base": back.npv, "bars": [asdict(b) for b in bars], "cash": rows, "hours_worth": back.hours_worth}
