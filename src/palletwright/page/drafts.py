"""Jobs while they are written: defaults, checks by the same rules as the files', and the job that comes of them."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from palletwright.errors import Fault, InputError
from palletwright.job import Job, least_job
from palletwright.shop.model import Shop

PAGE_ONLY = ("pain",)
"""Keys of a draft that the page keeps and the job doesn't have."""
NOT_HERE = ("part", "shop", "unit")
"""Keys of a job file that the page sets by other means."""


def empty(name: str = "") -> dict[str, Any]:
    """A draft with nothing said yet: what isn't there has the job's default."""
    return {"name": name, "pain": "", "material": "", "per_year": None, "today": []}


def from_job_file(file: Path) -> dict[str, Any]:
    """The draft of a job file: its own keys without the paths."""
    data = tomllib.loads(file.read_text(encoding="utf-8"))
    return {**empty(), **{k: v for k, v in data.items() if k not in NOT_HERE}}


def job_of(draft: dict[str, Any], part: Path, shop: Shop) -> Job:
    """The job of a draft.

    Raises InputError with every fault, the same checks as for a job file; `job` stands for the file.
    """
    said = {k: v for k, v in draft.items() if k not in (*PAGE_ONLY, *NOT_HERE) and v not in (None, "")}
    missing = []
    if not isinstance(said.get("material"), str):
        missing.append(Fault("job", "material", "", "is needed", "a material of the shop"))
    if "per_year" not in said:
        missing.append(Fault("job", "per_year", "", "is needed", "parts a year, a whole number above 0"))
    try:
        return _checked(said, part, shop, missing)
    except InputError as error:
        known = [Fault("job", f.key, f.value, f.problem, f.allowed) for f in error.faults if not _fill(f, missing)]
        raise InputError([*missing, *known]) from None


def _fill(fault: Fault, missing: list[Fault]) -> bool:
    """Whether a fault only speaks of what filled a gap that is named already."""
    return fault.key in [m.key for m in missing]


def _checked(said: dict[str, Any], part: Path, shop: Shop, missing: list[Fault]) -> Job:
    more = {k: v for k, v in said.items() if k not in ("material", "per_year")}
    gaps = {m.key for m in missing}
    material = shop.materials[0].id if "material" in gaps else said["material"]
    made = least_job(part, material, 1 if "per_year" in gaps else said["per_year"], shop, **more)
    if missing:
        raise InputError(missing)
    return made
