"""Jobs while they are written: defaults, checks by the same rules as the files', and the job that comes of them."""

from __future__ import annotations

import json
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


def as_text(name: str, draft: dict[str, Any]) -> str:
    """The draft as a job file's TOML, with what hurts as a comment on top."""
    import tomlkit

    said = {k: v for k, v in draft.items() if k not in (*PAGE_ONLY, *NOT_HERE) and v not in (None, "", [])}
    pain = "".join(f"# {line}\n" for line in str(draft.get("pain") or "").splitlines())
    return pain + tomlkit.dumps(_without_none({"name": name, **said}))


def _without_none(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _without_none(v) for k, v in value.items() if v is not None}
    return [_without_none(v) for v in value] if isinstance(value, list) else value


def from_text(text: str, before: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    """Name and draft of a job file's text; what only the page has stays as it was.

    Raises InputError where it isn't TOML; keys are checked when the job is planned.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError([Fault("job", "", "", f"isn't valid TOML: {error}", "TOML 1.0, such as key = 12.5")]) from None
    name = data.pop("name", "")
    if not isinstance(name, str):
        raise InputError([Fault("job", "name", str(name)[:60], "isn't a text", "a text in quotes")])
    plain: dict[str, Any] = json.loads(json.dumps(data, default=str))
    kept = {k: before[k] for k in (*PAGE_ONLY, "solid") if k in before}
    return name[:200], {**empty(), **kept, **{k: v for k, v in plain.items() if k not in NOT_HERE}}


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
