"""The same plan with other numbers of the office: demand, rates, how fast it runs today."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any

from pydantic import ValidationError

from palletwright.errors import Fault, InputError
from palletwright.job.model import Job
from palletwright.plan.context import Context
from palletwright.plan.today import today
from palletwright.shop.model import Rates


def with_numbers(context: Context, said: dict[str, Any]) -> Context:
    """The context with `per_year`, `rates` (by key) and `today_pace` (its times are multiplied by it) put in.

    Raises InputError that names what isn't allowed.
    """
    try:
        pace = float(said.get("today_pace") or 1.0)
        steps = [
            {
                **s.model_dump(mode="json"),
                "cycle_seconds": s.cycle_seconds * pace,
                "load_seconds": s.load_seconds * pace,
            }
            for s in context.job.today
        ]
        whole = context.job.model_dump(mode="json")
        job = Job.model_validate({**whole, "per_year": said.get("per_year") or context.job.per_year, "today": steps})
        rates = Rates.model_validate({**context.shop.rates.model_dump(mode="json"), **(said.get("rates") or {})})
    except (ValidationError, TypeError, ValueError) as error:
        raise InputError(
            [Fault("what if", "", "", f"can't be taken: {_first_line(error)}", "numbers above 0")]
        ) from None
    return replace(context, job=job, shop=context.shop.model_copy(update={"rates": rates}))


def _first_line(error: Exception) -> str:
    if isinstance(error, ValidationError):
        first = error.errors()[0]
        return f"{'.'.join(map(str, first['loc']))}: {first['msg']}"
    return str(error)[:100]


def money_today(context: Context) -> dict[str, Any]:
    """What today costs with these numbers, as a way."""
    made = asdict(today(context))
    return {k: made[k] for k in ("name", "cost_per_part", "cost", "cost_range", "capital", "attended_minutes_per_part")}
