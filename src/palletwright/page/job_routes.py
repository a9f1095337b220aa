"""Jobs: written, saved as they are typed, given a part, planned, kept and read back."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from importlib import metadata
from typing import Annotated, Any

from fastapi import APIRouter, File, Query, UploadFile
from fastapi.responses import Response, StreamingResponse
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import delete, select

from palletwright.errors import Fault, InputError
from palletwright.page import archive, drafts, parts
from palletwright.page.here import At, Here, ready_job, shop_of
from palletwright.page.naming import attachment
from palletwright.page.runs import Live
from palletwright.page.store import found as row_of
from palletwright.page.store import new_id, noted, now, past
from palletwright.page.strict import StrictRoute
from palletwright.page.tables import EditRow, HeadRow, JobRow, PartRow, PastRow, PlanRow, RunRow, ShopRow, TickRow

router = APIRouter(prefix="/api", tags=["jobs"], route_class=StrictRoute)

Id = Annotated[str, Field(max_length=40)]


class NewJob(BaseModel):
    """A job to begin; with `example` filled in from one of the shipped examples."""

    model_config = ConfigDict(extra="forbid")
    name: str = Field(default="", max_length=200)
    example: str | None = None


class Draft(BaseModel):
    """A job's draft as the page has it. `revision` is the one that it was made from."""

    model_config = ConfigDict(extra="forbid")
    revision: int
    name: str = Field(max_length=200)
    draft: dict[str, Any]
    shop: Id | None = None


@router.get("/start")
def start(at: At) -> dict[str, Any]:
    """What there is: jobs, shops, examples."""
    with at.store.session() as session:
        jobs = session.scalars(select(JobRow).order_by(JobRow.changed.desc())).all()
        shops = session.scalars(select(ShopRow).order_by(ShopRow.name)).all()
        counts = [r.job for r in session.scalars(select(PlanRow))]
        return {
            "version": metadata.version("palletwright"),
            "jobs": [
                {
                    "id": j.id,
                    "name": j.name,
                    "changed": j.changed,
                    "has_part": j.part is not None,
                    "plans": counts.count(j.id),
                }
                for j in jobs
            ],
            "shops": [{"id": s.id, "name": s.name, "changed": s.changed} for s in shops],
            "examples": list(at.examples),
        }


@router.post("/jobs")
def create(at: At, new: NewJob) -> dict[str, str]:
    """Begin a job."""
    part, draft, name = None, drafts.empty(), new.name
    if new.example is not None:
        if new.example not in at.examples:
            raise InputError(
                [Fault("the page", "example", new.example[:60], "isn't an example", ", ".join(at.examples))]
            )
        file = at.examples[new.example]
        draft = drafts.from_job_file(file)
        name = draft.pop("name", "") or new.example
        step = file.with_suffix(".step")
        part = parts.kept_part(at.store, step.name, step.read_bytes(), None).id
    id = new_id()
    with at.store.session() as session:
        session.add(JobRow(id=id, name=name, draft=json.dumps(draft), created=now(), changed=now(), part=part))
        session.flush()
        noted(session, id, "begun" if new.example is None else f"begun from the example {new.example}")
    return {"id": id}


@router.get("/jobs/{id}")
def job(at: At, id: Id) -> dict[str, Any]:
    """Everything about one job but its plans' data."""
    with at.store.session() as session:
        row = row_of(session, JobRow, id)
        part = None if row.part is None else row_of(session, PartRow, row.part)
        runs = session.scalars(select(RunRow).where(RunRow.job == id).order_by(RunRow.started.desc()).limit(5)).all()
        plans = session.scalars(select(PlanRow).where(PlanRow.job == id).order_by(PlanRow.made.desc())).all()
        return {
            "id": row.id,
            "name": row.name,
            "draft": json.loads(row.draft),
            "revision": row.revision,
            "shop": row.shop,
            "part": None if part is None else {"id": part.id, "file": part.name, **json.loads(part.info)},
            "runs": [{"id": r.id, "state": r.state, "message": r.message, "started": r.started} for r in runs],
            "plans": [{"id": p.id, "made": p.made, "title": p.title} for p in plans],
            "past": past(session, id),
        }


@router.put("/jobs/{id}/draft")
def save(at: At, id: Id, said: Draft) -> dict[str, int]:
    """Keep a draft. 409 where another window kept one in between."""
    with at.store.session() as session:
        row = row_of(session, JobRow, id)
        if row.revision != said.revision:
            raise Elsewhere("this job was changed in another window: load it again to go on from there")
        if said.shop is not None:
            row_of(session, ShopRow, said.shop)
        row.draft, row.name, row.shop = json.dumps(said.draft), said.name, said.shop
        row.revision += 1
        row.changed = now()
        return {"revision": row.revision}


class JobText(BaseModel):
    """A job's draft as a job file's text."""

    model_config = ConfigDict(extra="forbid")
    revision: int
    text: str = Field(max_length=500_000)


@router.get("/jobs/{id}/text")
def text(at: At, id: Id) -> dict[str, Any]:
    """The draft as a job file's text, for every key that the form doesn't have."""
    with at.store.session() as session:
        row = row_of(session, JobRow, id)
    return {"text": drafts.as_text(row.name, json.loads(row.draft)), "revision": row.revision}


@router.put("/jobs/{id}/text")
def rewrite(at: At, id: Id, said: JobText) -> dict[str, Any]:
    """Keep a draft from its text. 409 where another window kept one in between."""
    with at.store.session() as session:
        row = row_of(session, JobRow, id)
        if row.revision != said.revision:
            raise Elsewhere("this job was changed in another window: load it again to go on from there")
        row.name, draft = drafts.from_text(said.text, json.loads(row.draft))
        row.draft, row.changed = json.dumps(draft), now()
        row.revision += 1
        return {"revision": row.revision, "name": row.name, "draft": draft}


class Elsewhere(RuntimeError):
    """Somebody else changed the same thing in between."""


@router.get("/jobs/{id}/check")
def check(at: At, id: Id) -> dict[str, Any]:
    """Whether the job could be planned, with every fault."""
    try:
        ready_job(at, id)
    except InputError as error:
        return {"ready": False, "faults": [fault(f) for f in error.faults]}
    return {"ready": True, "faults": []}


def fault(f: Fault) -> dict[str, Any]:
    """A fault as the page shows it."""
    return {"file": f.file, "key": f.key, "value": f.value, "problem": f.problem, "allowed": f.allowed, "line": f.line}


@router.post("/jobs/{id}/part")
def set_part(
    at: At, id: Id, file: Annotated[UploadFile, File()], solid: Annotated[int | None, Query(ge=1, le=10_000)] = None
) -> dict[str, Any]:
    """Give the job its STEP file."""
    with at.store.session() as session:
        row_of(session, JobRow, id)
    part = parts.kept_part(at.store, file.filename or "", file.file.read(), solid)
    with at.store.session() as session:
        row = row_of(session, JobRow, id)
        draft = json.loads(row.draft)
        draft.pop("solid", None)
        row.part, row.changed = part.id, now()
        row.draft = json.dumps(draft | ({} if solid is None else {"solid": solid}))
        row.revision += 1
        row.name = row.name or part.name.rpartition(".")[0]
        noted(session, id, f"part {part.name}")
        info = {"id": part.id, "file": part.name, **json.loads(part.info)}
        return {"part": info, "revision": row.revision, "name": row.name, "draft": json.loads(row.draft)}


@router.get("/parts/{id}.glb")
def picture(at: At, id: Annotated[str, Field(max_length=64)]) -> Response:
    """A part in 3D."""
    with at.store.session() as session:
        glb = row_of(session, PartRow, id).glb
    return Response(glb, media_type="model/gltf-binary")


@router.delete("/jobs/{id}")
def remove(at: At, id: Id) -> dict[str, bool]:
    """Throw a job away with its plans."""
    with at.store.session() as session:
        row = row_of(session, JobRow, id)
        plans = list(session.scalars(select(PlanRow.id).where(PlanRow.job == id)))
        for kept in (EditRow, HeadRow, TickRow):
            session.execute(delete(kept).where(kept.plan.in_(plans)))
        for of_job in (PlanRow, RunRow, PastRow):
            session.execute(delete(of_job).where(of_job.job == id))
        session.delete(row)
    return {"removed": True}


@router.post("/jobs/{id}/run")
def run(at: At, id: Id) -> dict[str, str]:
    """Plan the job as it stands."""
    data, shop = ready_job(at, id)
    return {"run": at.runs.start(id, data, shop)}


@router.get("/runs/{id}")
def run_state(at: At, id: Id) -> dict[str, Any]:
    """How far a run is."""
    live = at.runs.live.get(id)
    if live is not None:
        return live.told()
    with at.store.session() as session:
        row = row_of(session, RunRow, id)
        return {"state": row.state, "message": row.message, "plan": row.plan, "stages": [], "ways": [], "faults": []}


@router.post("/runs/{id}/stop")
def stop(at: At, id: Id) -> dict[str, bool]:
    """Stop a run; the best so far is kept."""
    at.runs.stop(id)
    return {"stopping": True}


@router.get("/runs/{id}/events")
def events(at: At, id: Id) -> Response:
    """A run's state as server-sent events, one whenever it changes, until it ends."""
    live = at.runs.live.get(id)
    if live is None:
        return Response(f"data: {json.dumps(run_state(at, id))}\n\n", media_type="text/event-stream")
    return StreamingResponse(_told(live), media_type="text/event-stream")


async def _told(live: Live) -> AsyncIterator[str]:
    seen, quiet = -1, 0
    while True:
        if live.version != seen or quiet >= 20:
            seen, quiet = live.version, 0
            state = live.told()
            yield f"data: {json.dumps(state)}\n\n"
            if state["state"] != "running":
                return
        quiet += 1
        await asyncio.sleep(0.1)


@router.get("/jobs/{id}/archive")
def keep_copy(at: At, id: Id) -> Response:
    """The job as one file."""
    name, blob = archive.written(at.store, id)
    return attachment(blob, f"{name}.palletwright.zip", "application/zip")


@router.post("/archives")
def read_copy(at: At, file: Annotated[UploadFile, File()]) -> dict[str, str]:
    """A job from one file."""
    return {"id": archive.read(at.store, file.file.read())}


@router.get("/jobs/{id}/choices")
def choices(at: At, id: Id) -> dict[str, Any]:
    """What the job's shop offers: materials, machines."""
    with at.store.session() as session:
        row = row_of(session, JobRow, id)
    return _choices(at, row.shop)


def _choices(at: Here, shop: str | None) -> dict[str, Any]:
    made = shop_of(at, shop)
    return {
        "shop": made.name,
        "currency": made.rates.currency,
        "materials": [{"id": m.id, "aliases": list(m.aliases)} for m in made.materials],
        "machines": [
            {"id": m.id, "name": m.name, "rotary": m.rotary is not None, "rate": m.rate} for m in made.machines
        ],
    }
