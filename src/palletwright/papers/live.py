"""The plan's grips and cuts as objects again, for what the plan doesn't keep: devices, torques, cutting data."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from palletwright.errors import PalletwrightError
from palletwright.job.model import Job
from palletwright.papers.facts import Facts
from palletwright.plan.context import Context
from palletwright.plan.evaluate import options_of
from palletwright.plan.options import Option
from palletwright.plan.planning import prepare


@dataclass(frozen=True, eq=False)
class Rebuilt:
    """Part, shop and certified grips as when the plan was made."""

    context: Context
    options: dict[int, Option]


def rebuild(facts: Facts, folder: Path | None) -> Rebuilt | str:
    """The way's grips rebuilt from part and shop, or a sentence that says why they can't be.

    folder : where the plan lies, for a part that it names relative to itself.
    """
    job: Any = Job.model_validate(facts.data["job"])
    if not job.part.is_absolute():
        job = job.model_copy(update={"part": (folder or Path()) / job.part})
    try:
        context = prepare(job, facts.shop)
        return Rebuilt(context, options_of(context, facts.design))
    except (LookupError, PalletwrightError) as error:
        return str(error)
