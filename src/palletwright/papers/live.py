"""The way's grips, cuts and visits as objects: as the plan keeps them, or found again where it doesn't."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from palletwright.errors import Fault, InputError, PalletwrightError
from palletwright.job.model import Job
from palletwright.papers.facts import Facts
from palletwright.plan.edges import edge_life
from palletwright.plan.evaluate import options_of
from palletwright.plan.kept import Held, Kept, fingerprint, keep, kept_from
from palletwright.plan.planning import material_of, prepare
from palletwright.shop.model import Material, Tool


@dataclass(frozen=True, eq=False)
class Live:
    """Job, material, and what the plan keeps of grips, cuts and visits."""

    job: Job
    material: Material
    tools: dict[int, Tool]
    kept: Kept

    @property
    def options(self) -> dict[int, Held]:
        """Grip and cuts of each clamping."""
        return dict(self.kept.operations)

    def wear(self, number: int) -> float | None:
        """The share of a tool's edge that one part wears off; None where no life is known."""
        cuts = [c for held in self.kept.operations.values() for c in held.cuts if c.tool == number]
        lives = [edge_life(c, self.tools[number], self.material) for c in cuts]
        known = [c.seconds / 60.0 / life for c, life in zip(cuts, lives, strict=True) if life is not None]
        return sum(known) if known else None


def live_of(facts: Facts, folder: Path | None) -> Live | str:
    """What the plan keeps of the way's grips; found again from part and shop, or a sentence that says why not.

    What is kept counts only for the design that it was made for: an edited plan is worked out again.

    folder : where the plan lies, for files that the job names relative to it.
    """
    job, key = _job(facts, folder), f"{facts.way['name']}.kept"
    data = facts.way.get("kept")
    try:
        if data is None or data.get("of") != fingerprint(facts.way["design"]):
            kept = kept_from(_again(facts, job), key)
        else:
            kept = kept_from(data, key)
        tools = {t.number: t for t in facts.shop.tools}
        return Live(job, material_of(job, facts.shop), tools, kept)
    except (LookupError, PalletwrightError) as error:
        return str(error)


def _again(facts: Facts, job: Job) -> dict[str, Any]:
    """Grips and cuts searched again in part and shop, as a plan keeps them."""
    context = prepare(job, facts.shop)
    return keep(context, facts.design, options_of(context, facts.design))


def _job(facts: Facts, folder: Path | None) -> Job:
    """The plan's job, its files found beside the plan.

    Raises InputError for a job that no longer reads.
    """
    try:
        job: Job = Job.model_validate(facts.data["job"])
    except ValueError as error:
        raise InputError([Fault("plan", "job", "", f"can't be read: {error}")]) from error
    if not job.part.is_absolute():
        job = job.model_copy(update={"part": (folder or Path()) / job.part})
    return job
