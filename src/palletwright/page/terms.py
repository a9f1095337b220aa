"""What a changed way asks of job and shop beyond its plan: margins, clamps, tools, and numbers of the office.

Terms are kept with every step of a way's changes; with none of them a way stands under its plan's own job and shop.
"""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from palletwright.errors import Fault, InputError
from palletwright.job.model import Job
from palletwright.shop.model import Shop

FILE = "the change"
MOST = 200
"""Entries that one kind of change may have."""


Number = Annotated[float, Field(ge=0, le=1e6, allow_inf_nan=False)]


class Only(BaseModel):
    """The clamps to which the operation that cuts `feature` is limited."""

    model_config = ConfigDict(extra="forbid")
    feature: str = Field(max_length=60)
    clamps: list[str] = Field(min_length=1, max_length=50)


class Now(BaseModel):
    """Numbers of one step of today; what isn't given stays as the job tells it."""

    model_config = ConfigDict(extra="forbid")
    parts_per_start: int | None = Field(default=None, ge=1, le=10_000)
    cycle_seconds: float | None = Field(default=None, gt=0, le=1e7, allow_inf_nan=False)
    load_seconds: float | None = Field(default=None, gt=0, le=1e7, allow_inf_nan=False)


class Terms(BaseModel):
    """Changes to job and shop for one way. Lengths in mm, times in s.

    `floors` by their names in the shop file; `tools` by feature the tool that shall cut it; `stick_out` by tool number;
    `today` by position in the job's list.
    """

    model_config = ConfigDict(extra="forbid")
    floors: dict[str, Number] = Field(default={}, max_length=20)
    held_by: list[Only] = Field(default=[], max_length=MOST)
    tools: dict[str, int] = Field(default={}, max_length=MOST)
    stick_out: dict[str, Number] = Field(default={}, max_length=MOST)
    per_year: int | None = Field(default=None, ge=1, le=100_000_000)
    rates: dict[str, Number] = Field(default={}, max_length=20)
    today: dict[str, Now] = Field(default={}, max_length=50)

    @property
    def geometry(self) -> dict[str, Any]:
        """What changes where things stand or how they are cut; the rest is money only."""
        return self.model_dump(include={"floors", "held_by", "tools", "stick_out"}, exclude_defaults=True)

    @property
    def said(self) -> dict[str, Any]:
        """Only what was changed."""
        return self.model_dump(exclude_defaults=True, exclude_none=True)


def terms_of(data: Any) -> Terms:
    """Terms from plain data. Raises InputError that names the key."""
    try:
        return Terms.model_validate(data or {})
    except ValidationError as error:
        raise InputError(_faults(error)) from None


def job_with(job: dict[str, Any], terms: Terms) -> Job:
    """The plan's job under the terms. Raises InputError that names what isn't allowed."""
    now = [dict(step) for step in job["today"]]
    for at, more in terms.today.items():
        if not at.isdecimal() or int(at) >= len(now):
            raise InputError([Fault(FILE, "today", at[:20], "isn't a step of today", f"0 to {len(now) - 1}")])
        now[int(at)] |= more.model_dump(exclude_none=True)
    kept = [o for o in job["overrides"] if o["feature"] not in terms.tools]
    said = {
        **job,
        "today": now,
        "per_year": terms.per_year or job["per_year"],
        "overrides": [*kept, *({"feature": f, "tool": t} for f, t in terms.tools.items())],
        "held_by": [*job.get("held_by", ()), *(o.model_dump() for o in terms.held_by)],
    }
    try:
        return Job.model_validate(said)
    except ValidationError as error:
        raise InputError(_faults(error)) from None


def shop_with(shop: dict[str, Any], terms: Terms) -> Shop:
    """The plan's shop under the terms. Raises InputError that names what isn't allowed."""
    _known(shop, terms)
    tools = [
        {**t, "stick_out": terms.stick_out[str(t["number"])]} if str(t["number"]) in terms.stick_out else t
        for t in shop["tools"]
    ]
    said = {**shop, "tools": tools, "floors": shop["floors"] | terms.floors, "rates": shop["rates"] | terms.rates}
    try:
        return Shop.model_validate(said)
    except ValidationError as error:
        raise InputError(_faults(error)) from None


def _known(shop: dict[str, Any], terms: Terms) -> None:
    """Raise InputError for every clamp or tool that the shop doesn't have."""
    clamps, tools = [c["id"] for c in shop["clamps"]], [t["number"] for t in shop["tools"]]
    wrong = [
        Fault(FILE, "held_by", name[:60], "is no clamp of this shop", ", ".join(clamps))
        for only in terms.held_by
        for name in only.clamps
        if name not in clamps
    ]
    asked = {**{n: n for n in terms.stick_out}, **{f: str(t) for f, t in terms.tools.items()}}
    wrong += [
        Fault(FILE, "tools", number[:20], "is no tool of this shop", ", ".join(f"T{t}" for t in tools))
        for number in asked.values()
        if number not in map(str, tools)
    ]
    if wrong:
        raise InputError(wrong)


def _faults(error: ValidationError) -> list[Fault]:
    rows = []
    for e in error.errors():
        value = e.get("input")
        shown = str(value)[:60] if isinstance(value, str | int | float) else ""
        rows.append(Fault(FILE, ".".join(map(str, e["loc"])), shown, e["msg"].removeprefix("Value error, ")))
    return rows


def in_words(terms: Terms) -> str:
    """What was changed, for the assumptions of a printed way."""
    rows = [f"margin {k.replace('_', ' ')} {v:g}" for k, v in terms.floors.items()]
    rows += [f"the operation of {o.feature} held by {' or '.join(o.clamps)} only" for o in terms.held_by]
    rows += [f"{f} cut with T{t}" for f, t in terms.tools.items()]
    rows += [f"T{n} sticks out {v:g} mm" for n, v in terms.stick_out.items()]
    rows += [f"{terms.per_year} parts a year"] if terms.per_year else []
    rows += [f"rate {k.replace('_', ' ')} {v:g}" for k, v in terms.rates.items()]
    for at, now in terms.today.items():
        numbers = ", ".join(f"{k.replace('_', ' ')} {v:g}" for k, v in now.model_dump(exclude_none=True).items())
        rows.append(f"step {int(at) + 1} of today: {numbers}")
    return "; ".join(rows)
