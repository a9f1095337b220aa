"""Plans: looked at, argued with, changed and checked, printed."""

from __future__ import annotations

import contextlib
import json
from dataclasses import asdict
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import select

from palletwright.errors import Fault, InputError
from palletwright.page import changes, seen
from palletwright.page.desks import DeskFailed
from palletwright.page.here import At, Here, on_disk, plan_of, way_number
from palletwright.page.job_routes import Elsewhere, Id
from palletwright.page.naming import attachment
from palletwright.page.printer import printed
from palletwright.page.store import noted, now
from palletwright.page.strict import StrictRoute
from palletwright.page.tables import TickRow
from palletwright.page.terms import Terms, in_words, job_with, shop_with, terms_of

CLOSED_OFF = (
    "sandbox allow-scripts; default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:"
)
"""Policy of a report that is shown here: its own scripts run, with no way to this page or anywhere else."""
router = APIRouter(prefix="/api/plans", tags=["plans"], route_class=StrictRoute)
Way = Annotated[int, Field(ge=0, le=1000)]
Name = Annotated[str, Field(max_length=60)]


class Step(BaseModel):
    """A change: the whole design after it, the terms under which it stands, and what was done."""

    model_config = ConfigDict(extra="forbid")
    step: int = Field(ge=0)
    what: str = Field(max_length=200)
    design: dict[str, Any]
    terms: Terms = Terms()


class Locked(BaseModel):
    """The stations that shall stay where they are."""

    model_config = ConfigDict(extra="forbid")
    locked: list[Name] = Field(default=[], max_length=500)


class Wish(BaseModel):
    """What a way shall become: under other terms, on pallets with other numbers of sides, or filled again (`refit`)
    around the stations that are locked. Nothing is kept by asking."""

    model_config = ConfigDict(extra="forbid")
    locked: list[Name] = Field(default=[], max_length=500)
    refit: bool = False
    sides: dict[str, Annotated[int, Field(ge=2, le=8)]] = Field(default={}, max_length=8)
    terms: Terms = Terms()


class Moved(BaseModel):
    """A design while one of its stations is dragged."""

    model_config = ConfigDict(extra="forbid")
    design: dict[str, Any]
    station: str = Field(max_length=60)


class Ask(BaseModel):
    """A margin to be drawn."""

    model_config = ConfigDict(extra="forbid")
    margin: dict[str, Any]


class Numbers(BaseModel):
    """Other numbers for the money of a way: sets of carriers, and terms that move nothing."""

    model_config = ConfigDict(extra="forbid")
    sets: int | None = Field(default=None, ge=1, le=4)
    terms: Terms = Terms()


class Tick(BaseModel):
    """One item of a sheet: ticked, measured or timed."""

    model_config = ConfigDict(extra="forbid")
    item: str = Field(min_length=1, max_length=120)
    value: str = Field(max_length=400)


@router.get("/{id}")
def plan(at: At, id: Id) -> dict[str, Any]:
    """The plan without what a single way needs."""
    row, data = plan_of(at, id)
    with at.store.session() as session:
        states = [changes.state(session, id, n) for n in range(len(data["plans"]))]
        ways = [changes.current(session, id, n, data) if s["checked"] else data["plans"][n]
                for n, s in enumerate(states)]  # fmt: skip
    return {"id": id, "job_id": row.job, "made": row.made, **seen.whole({**data, "plans": ways}, states)}


@router.get("/{id}/ways/{way}")
def way(at: At, id: Id, way: Way) -> dict[str, Any]:
    """One way as it stands: its numbers, margins, cycle, design, and what was changed."""
    _, data = plan_of(at, id)
    way_number(data, way)
    with at.store.session() as session:
        state = changes.state(session, id, way)
        try:
            shown = changes.current(session, id, way, data)
        except changes.NotChecked:
            shown = dict(data["plans"][way])
    return seen.one(data, shown) | {"state": state}


@router.get("/{id}/ways/{way}/scene")
def scene(at: At, id: Id, way: Way) -> dict[str, Any]:
    """Bodies and meshes of one way as it stands, with the stations that they show; null where the plan kept none.

    A change that hasn't passed is drawn by the desk where one is open, else the way is shown as it was before.
    """
    _, data = plan_of(at, id)
    way_number(data, way)
    with at.store.session() as session:
        try:
            shown = changes.current(session, id, way, data)
        except changes.NotChecked:
            shown = data["plans"][way]
            if changes.standing(session, id, way) and id in at.desks.open:
                with contextlib.suppress(DeskFailed):
                    shown = _asked(at, id, way, "drawn")
    stations = (shown["design"] or {"stations": []})["stations"]
    return {"scene": shown["scene"], "machine": seen.machine(data, shown), "stations": stations}


@router.put("/{id}/ways/{way}/locked")
def lock(at: At, id: Id, way: Way, said: Locked) -> dict[str, Any]:
    """Keep which stations shall stay where they are."""
    _, data = plan_of(at, id)
    way_number(data, way)
    with at.store.session() as session:
        changes.lock(session, id, way, said.locked)
        return changes.state(session, id, way)


def _asked(at: Here, id: str, way: int, name: str, *arguments: Any, design: dict[str, Any] | None = None) -> Any:
    """The desk's answer about a way as it stands, under its terms; about `design` where one is given."""
    row, data = plan_of(at, id)
    way_number(data, way)
    with at.store.session() as session:
        state = changes.state(session, id, way)
    asked = design or state["design"] or data["plans"][way]["design"]
    if asked is None:
        raise InputError([Fault("plan", f"plans[{way}].design", "", "is empty: there is nothing to change", "")])
    return at.desks.ask(id, on_disk(at, row, data), data["shop"], name, asked, state["terms"], *arguments)


@router.post("/{id}/ways/{way}/warm")
def warm(at: At, id: Id, way: Way) -> Any:
    """Get a way's part, grips and kernels ready for changes; takes seconds the first time."""
    return _asked(at, id, way, "warm")


@router.post("/{id}/ways/{way}/quick")
def quick(at: At, id: Id, way: Way, moved: Moved) -> Any:
    """The quick check of a station while it is dragged."""
    return _asked(at, id, way, "quick", moved.station, design=moved.design)


@router.post("/{id}/ways/{way}/numbers")
def numbers(at: At, id: Id, way: Way, said: Numbers) -> Any:
    """What a part would cost, and when the money comes back, with other numbers; nothing is kept."""
    _, data = plan_of(at, id)
    label = (data["plans"][way_number(data, way)]["timing"] or {}).get("label", "")
    if said.terms.geometry:
        raise InputError(
            [Fault("what if", "terms", "", "would move stations", "parts a year, rates, numbers of today")]
        )
    return _asked(at, id, way, "what_if", label, said.sets, said.terms.said)


@router.post("/{id}/ways/{way}/choices")
def choices(at: At, id: Id, way: Way) -> Any:
    """What the way could have instead: grips, clamps, sides, tools, margins."""
    return _asked(at, id, way, "choices")


@router.post("/{id}/ways/{way}/adapt")
def adapt(at: At, id: Id, way: Way, wish: Wish) -> Any:
    """The design as it would be after a wish, with the parts a start before and after; nothing is kept."""
    return _asked(at, id, way, "adapt", {**wish.model_dump(), "terms": wish.terms.said})


@router.post("/{id}/ways/{way}/held")
def held(at: At, id: Id, way: Way) -> Any:
    """Holding of every cut by itself, weakest first."""
    return _asked(at, id, way, "held")


@router.post("/{id}/ways/{way}/cut")
def cut(at: At, id: Id, way: Way) -> Any:
    """Every part as its operation leaves it."""
    return _asked(at, id, way, "as_cut")


@router.post("/{id}/ways/{way}/dimension")
def dimension(at: At, id: Id, way: Way, ask: Ask) -> Any:
    """The tool and the line of one margin."""
    where, texts = ask.margin.get("where"), [ask.margin.get(k, "") for k in ("subject", "note")]
    numbers = isinstance(where, list) and len(where) == 3 and all(isinstance(v, int | float) for v in where)
    if not numbers or not all(isinstance(t, str) for t in texts):
        raise InputError([Fault("margin", "where", "", "isn't a point of a margin", "a margin of the plan")])
    return _asked(at, id, way, "dimension", ask.margin)


@router.post("/{id}/ways/{way}/steps")
def add_step(at: At, id: Id, way: Way, said: Step) -> dict[str, Any]:
    """Keep a change. It counts as unchecked until the full check has passed."""
    from palletwright.plan.record import design_from, plain

    row, data = plan_of(at, id)
    way_number(data, way)
    design = plain(asdict(design_from(said.design, "the page", "design")))
    with at.store.session() as session:
        if changes.standing(session, id, way) != said.step:
            raise Elsewhere("this way was changed in another window: load it again to go on from there")
        changes.add(session, id, way, said.what, design, said.terms.said)
        noted(session, row.job, f"{data['plans'][way]['name']}: {said.what}")
        return changes.state(session, id, way)


@router.post("/{id}/ways/{way}/shift")
def shift(at: At, id: Id, way: Way, by: Annotated[int, Query(ge=-500, le=500)]) -> dict[str, Any]:
    """Take changes back (below 0) or do them again."""
    _, data = plan_of(at, id)
    way_number(data, way)
    with at.store.session() as session:
        changes.shift(session, id, way, by)
        return changes.state(session, id, way)


@router.post("/{id}/ways/{way}/check")
def check(at: At, id: Id, way: Way) -> dict[str, Any]:
    """Every check of the way as it stands; where all pass, it is a checked way with new numbers."""
    _, data = plan_of(at, id)
    way_number(data, way)
    with at.store.session() as session:
        state = changes.state(session, id, way)
    base = data["plans"][way]
    label = ((base["timing"] or {}).get("label") or "") + (", changed by hand" if state["step"] else "")
    sets = (base["design"] or {}).get("sets", 1)
    verdict = _asked(at, id, way, "check", base["name"], sets, label)
    with at.store.session() as session:
        if state["step"] or state["foreign"] or not base["scene"]:
            changes.judged(session, id, way, state["step"], verdict)
        now_at = changes.state(session, id, way)
    return {"state": now_at, **{k: v for k, v in verdict.items() if k != "way"}}


def _printable(at: Here, id: str, way: int) -> tuple[Any, dict[str, Any], dict[str, Any]]:
    """The plan with the way as it stands in its place; under terms of its own, with the job and shop that they make.

    Raises NotChecked, InputError.
    """
    row, data = plan_of(at, id)
    way_number(data, way)
    with at.store.session() as session:
        shown = changes.current(session, id, way, data)
        terms = terms_of(changes.state(session, id, way)["terms"])
    plans = [shown if n == way else p for n, p in enumerate(data["plans"])]
    if not terms.said:
        return row, {**data, "plans": plans}, shown
    today = shown.pop("today", None)
    told = f"{shown['name']} was changed by hand: {in_words(terms)}. Other ways keep the plan's own numbers."
    return (
        row,
        {
            **data,
            "plans": plans,
            "today": data["today"] | (today or {}),
            "job": job_with(data["job"], terms).model_dump(mode="json"),
            "shop": shop_with(data["shop"], terms).model_dump(mode="json"),
            "assumptions": [*data["assumptions"], told],
        },
        shown,
    )


@router.get("/{id}/report.html")
def report(at: At, id: Id, way: Annotated[int, Query(ge=0, le=1000)] = 0, show: bool = False) -> Response:
    """The plan as one file to send, with the way of that number first; `show` opens it here, closed off."""
    from palletwright.papers.report import report as html

    _, data, shown = _printable(at, id, way)
    others = [p for n, p in enumerate(data["plans"]) if n != way]
    text = html({**data, "plans": [shown, *others]})
    if not show:
        return attachment(text, f"{data['part']['name']}.html", "text/html; charset=utf-8")
    return Response(text, media_type="text/html", headers={"content-security-policy": CLOSED_OFF})


@router.get("/{id}/papers.zip")
def papers(
    at: At,
    id: Id,
    way: Annotated[int, Query(ge=0, le=1000)] = 0,
    paper: Literal["A4", "A3", "Letter"] = "A4",
    unit: Literal["mm", "inch"] = "mm",
    language: Literal["en", "de"] = "en",
) -> Response:
    """Every sheet, list, model and program of one way."""
    row, data, shown = _printable(at, id, way)
    data = {**data, "job": on_disk(at, row, data)}
    blob = printed(data, {"way": way, "paper": paper, "unit": unit, "language": language})
    with at.store.session() as session:
        noted(session, row.job, f"papers of {shown['name']} printed")
    return attachment(blob, f"{data['part']['name']} {shown['name']}.zip", "application/zip")


@router.get("/{id}/plan.json")
def whole(at: At, id: Id, way: Annotated[int, Query(ge=0, le=1000)] = 0) -> Response:
    """The plan's data, as the command line reads it; of a way under terms of its own that way alone."""
    _, data, shown = _printable(at, id, way)
    if data["shop"] != plan_of(at, id)[1]["shop"] or data["job"] != plan_of(at, id)[1]["job"]:
        data = {**data, "plans": [shown]}
    return attachment(json.dumps(data, indent=1, ensure_ascii=False), "plan.json", "application/json")


@router.get("/{id}/again.py")
def snippet(at: At, id: Id) -> Response:
    """Python that makes this plan again."""
    _, data = plan_of(at, id)
    return attachment(seen.snippet(data), "plan_again.py", "text/x-python")


@router.get("/{id}/ways/{way}/sheet")
def sheet(at: At, id: Id, way: Way) -> dict[str, Any]:
    """What the tablet at the machine shows: stations to load, things to prove, and what was ticked."""
    _, data, shown = _printable(at, id, way)
    with at.store.session() as session:
        rows = session.scalars(select(TickRow).where(TickRow.plan == id, TickRow.way == way))
        ticks = {t.item: {"value": t.value, "at": t.at} for t in rows}
    return seen.sheet(data, shown) | {"ticks": ticks}


@router.put("/{id}/ways/{way}/ticks")
def tick(at: At, id: Id, way: Way, said: Tick) -> dict[str, str]:
    """Keep a tick, a measured value or a time; an empty one takes it back."""
    _, data = plan_of(at, id)
    way_number(data, way)
    with at.store.session() as session:
        if said.value:
            session.merge(TickRow(plan=id, way=way, item=said.item, value=said.value, at=now()))
        elif (row := session.get(TickRow, (id, way, said.item))) is not None:
            session.delete(row)
    return {"at": now()}
