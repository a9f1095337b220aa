"""What every route of the server has at hand."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any

from fastapi import Depends, Request

from palletwright.errors import Fault, InputError
from palletwright.page import parts, shopfiles
from palletwright.page.desks import Desks
from palletwright.page.drafts import job_of
from palletwright.page.runs import Runs
from palletwright.page.store import Store, found, unpacked
from palletwright.page.tables import JobRow, PlanRow, ShopRow
from palletwright.shop.model import Shop


@dataclass
class Here:
    """Store, running work, and a folder for files that the rooms read."""

    store: Store
    runs: Runs
    desks: Desks
    folder: Path
    key: str = field(repr=False)
    port: int = 0
    examples: dict[str, Path] = field(default_factory=dict)


def here_of(request: Request) -> Here:
    """The server's `Here`."""
    made: Here = request.app.state.here
    return made


At = Annotated[Here, Depends(here_of)]


@lru_cache(maxsize=16)
def _shop(files: str) -> Shop:
    return shopfiles.checked(json.loads(files))


def shop_of(here: Here, id: str | None) -> Shop:
    """The shop of that id, or the shipped example. Raises NotThere, InputError."""
    if id is None:
        return _shop(json.dumps(shopfiles.example_files()))
    with here.store.session() as session:
        return _shop(found(session, ShopRow, id).files)


def ready_job(here: Here, id: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """Job and shop of a draft as plain data. Raises NotThere, InputError with every fault."""
    with here.store.session() as session:
        row = found(session, JobRow, id)
    shop = shop_of(here, row.shop)
    if row.part is None:
        raise InputError([Fault("job", "part", "", "is needed", "drop a STEP file")])
    file = parts.part_file(here.store, row.part, here.folder)
    job = job_of({"name": row.name, **json.loads(row.draft)}, file, shop)
    return job.model_dump(mode="json"), shop.model_dump(mode="json")


@lru_cache(maxsize=6)
def _data(blob: bytes) -> dict[str, Any]:
    made: dict[str, Any] = unpacked(blob)
    return made


def plan_of(here: Here, id: str) -> tuple[PlanRow, dict[str, Any]]:
    """A plan's row and its data, which nobody may change. Raises NotThere."""
    with here.store.session() as session:
        row = found(session, PlanRow, id)
    return row, _data(row.data)


def way_number(data: dict[str, Any], number: int) -> int:
    """The number of a way of the plan. Raises InputError for one that isn't there."""
    if not 0 <= number < len(data["plans"]):
        raise InputError([Fault("plan", "way", str(number), "isn't in the plan", f"0 to {len(data['plans']) - 1}")])
    return number


def on_disk(here: Here, row: PlanRow, data: dict[str, Any]) -> dict[str, Any]:
    """The plan's job with its part's file where the rooms find it. Raises NotThere, InputError."""
    with here.store.session() as session:
        job = found(session, JobRow, row.job)
    if job.part is None:
        raise InputError([Fault("job", "part", "", "isn't kept with this plan", "drop the STEP file again")])
    file = parts.part_file(here.store, job.part, here.folder)
    if file.name != Path(data["job"]["part"]).name:
        problem = "isn't the part that this plan was made for"
        raise InputError([Fault("job", "part", file.name, problem, Path(data["job"]["part"]).name)])
    return {**data["job"], "part": str(file)}
