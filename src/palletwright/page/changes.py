"""Changes to a way: steps that can be taken back and again, each marked until every check has passed."""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from palletwright.page.store import packed, unpacked
from palletwright.page.tables import EditRow, HeadRow, PlanRow

MOST = 500
"""Steps that a way keeps."""


class NotChecked(RuntimeError):
    """Asked to print or send a changed way before all its checks passed."""


def standing(session: Session, plan: str, way: int) -> int:
    """The step at which a way stands; 0 as planned."""
    row = session.get(HeadRow, (plan, way))
    return 0 if row is None else row.step


def _head(session: Session, plan: str, way: int) -> HeadRow:
    row = session.get(HeadRow, (plan, way))
    if row is None:
        row = HeadRow(plan=plan, way=way, step=0, locked="[]")
        session.add(row)
    return row


def lock(session: Session, plan: str, way: int, locked: list[str]) -> None:
    """Keep which stations shall stay where they are."""
    _head(session, plan, way).locked = json.dumps(locked)


def last(session: Session, plan: str, way: int) -> int:
    """The number of the last step, taken back or not."""
    rows = session.scalars(select(EditRow.step).where(EditRow.plan == plan, EditRow.way == way))
    return max(rows, default=0)


def add(
    session: Session,
    plan: str,
    way: int,
    what: str,
    design: dict[str, Any],
    terms: dict[str, Any] | None = None,
) -> int:
    """Add a step after the one where the way stands; steps that were taken back are gone."""
    step = standing(session, plan, way) + 1
    own = (EditRow.plan == plan, EditRow.way == way)
    session.execute(delete(EditRow).where(*own, EditRow.step >= step))
    session.execute(delete(EditRow).where(*own, EditRow.step > 0, EditRow.step < step - MOST))
    row = EditRow(
        plan=plan,
        way=way,
        step=step,
        what=what,
        design=json.dumps(design),
        verdict="",
        terms=json.dumps(terms or {}),
    )
    session.add(row)
    session.flush()
    _head(session, plan, way).step = step
    return step


def shift(session: Session, plan: str, way: int, by: int) -> int:
    """Take steps back (by < 0) or again (by > 0); returns where the way stands now."""
    step = min(max(standing(session, plan, way) + by, 0), last(session, plan, way))
    if step and session.get(EditRow, (plan, way, step)) is None:
        step = standing(session, plan, way)
    _head(session, plan, way).step = step
    return step


def judged(session: Session, plan: str, way: int, step: int, verdict: dict[str, Any]) -> None:
    """Keep what the full check said of a step; its way where all of it passed. Of step 0 too, as planned."""
    row = session.get(EditRow, (plan, way, step))
    if row is None and step == 0:
        row = EditRow(plan=plan, way=way, step=0, what="", design="null", terms="{}")
        session.add(row)
    if row is not None:
        made = verdict.get("way")
        row.verdict = json.dumps({k: v for k, v in verdict.items() if k != "way"})
        row.result = packed(made) if made else None


def state(session: Session, plan: str, way: int) -> dict[str, Any]:
    """How a way stands: changed or not, checked or not, what the check said, what can be taken back."""
    step, end = standing(session, plan, way), last(session, plan, way)
    row, head = session.get(EditRow, (plan, way, step)), session.get(HeadRow, (plan, way))
    passed = row is not None and row.result is not None
    return {
        "step": step,
        "last": end,
        "changed": step > 0,
        "foreign": _foreign(session, plan),
        "checked": passed or (step == 0 and not _foreign(session, plan)),
        "what": "" if row is None else row.what,
        "design": None if row is None else json.loads(row.design),
        "locked": [] if head is None else json.loads(head.locked),
        "terms": {} if row is None else json.loads(row.terms),
        "verdict": None if row is None or not row.verdict else json.loads(row.verdict),
    }


def _foreign(session: Session, plan: str) -> bool:
    row = session.get(PlanRow, plan)
    return row is not None and row.foreign


def current(session: Session, plan: str, way: int, data: dict[str, Any]) -> dict[str, Any]:
    """The way as it stands, with its changes where they have passed.

    Raises NotChecked where they haven't, or where the plan came in from elsewhere and wasn't checked here.
    """
    step = standing(session, plan, way)
    row = session.get(EditRow, (plan, way, step))
    if row is not None and row.result is not None:
        return dict(unpacked(row.result))
    if step == 0 and not _foreign(session, plan):
        return dict(data["plans"][way])
    if step == 0:
        raise NotChecked("this plan came in from a file and wasn't checked here: check this way first")
    raise NotChecked("this way was changed and not every check has passed since: check it first")
