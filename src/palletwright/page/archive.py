"""A job as one archive: part, shop, draft, plans, changes, ticks and history; read back with suspicion."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import asdict
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from palletwright.errors import Fault, InputError
from palletwright.page import parts, seen, shopfiles
from palletwright.page.store import Store, found, new_id, noted, now, packed, past, unpacked
from palletwright.page.strict import parsed
from palletwright.page.tables import EditRow, HeadRow, JobRow, PartRow, PlanRow, ShopRow, TickRow
from palletwright.page.terms import terms_of
from palletwright.plan.record import design_from, plain

FORMAT = 1
GREATEST = 400_000_000
"""bytes that an archive may unpack to."""
MOST_FILES = 300


def written(store: Store, id: str) -> tuple[str, bytes]:
    """A job's name and its archive. Raises NotThere."""
    with store.session() as session:
        job = found(session, JobRow, id)
        files: dict[str, bytes] = {}
        top: dict[str, Any] = {"format": FORMAT, "name": job.name, "draft": json.loads(job.draft), "plans": []}
        if job.part:
            part = found(session, PartRow, job.part)
            top["part"] = part.name
            files["part.step"] = part.step
        if job.shop:
            shop = found(session, ShopRow, job.shop)
            top["shop"] = shop.name
            files["shop.json"] = shop.files.encode()
        for number, plan in enumerate(session.scalars(select(PlanRow).where(PlanRow.job == id).order_by(PlanRow.made))):
            top["plans"].append({"made": plan.made, "title": plan.title, **_changes(session, plan.id)})
            files[f"plans/{number}.json"] = json.dumps(unpacked(plan.data), ensure_ascii=False).encode()
        top["past"] = past(session, id)
        name = job.name or "job"
    files["job.json"] = json.dumps(top, indent=1, ensure_ascii=False).encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as pack:
        for file, content in sorted(files.items()):
            pack.writestr(zipfile.ZipInfo(file, (1980, 1, 1, 0, 0, 0)), content, zipfile.ZIP_DEFLATED)
    return name, out.getvalue()


def _changes(session: Session, plan: str) -> dict[str, Any]:
    edits = session.scalars(select(EditRow).where(EditRow.plan == plan))
    heads = session.scalars(select(HeadRow).where(HeadRow.plan == plan))
    ticks = session.scalars(select(TickRow).where(TickRow.plan == plan))
    text = ("what", "design", "terms", "verdict")
    return {
        "edits": [
            {"way": e.way, "step": e.step, **{k: getattr(e, k) for k in text}}
            for e in edits
            if e.step
        ],
        "heads": [{"way": h.way, "step": h.step, "locked": h.locked} for h in heads],
        "ticks": [{"way": t.way, "item": t.item, "value": t.value, "at": t.at} for t in ticks],
    }  # fmt: skip


def read(store: Store, blob: bytes) -> str:
    """Keep the job of an archive as a new one; returns its id.

    Nothing that an archive says of itself counts as checked: neither its plans nor the changes to them, until every
    check was made here.

    Raises InputError for anything that isn't what `written` makes.
    """
    files = _files(blob)
    try:
        top = parsed(files["job.json"])
        if top["format"] != FORMAT:
            raise ValueError(f"format {top['format']}")
        plans = [parsed(files[f"plans/{k}.json"]) for k in range(len(top["plans"]))]
        shop_files = parsed(files["shop.json"]) if "shop.json" in files else None
        draft = dict(top["draft"])
        part_name = str(top["part"]) if "part.step" in files else ""
    except (KeyError, TypeError, ValueError, UnicodeDecodeError) as error:
        raise _wrong(f"isn't a job of palletwright: {type(error).__name__} {str(error)[:80]}") from None
    shop = None
    if shop_files is not None:
        if not isinstance(shop_files, dict) or not all(isinstance(t, str) for p in shop_files.items() for t in p):
            raise _wrong("its shop isn't made of texts")
        shop = keep_shop(store, shop_files, str(top.get("shop", "shop")))
    part = parts.kept_part(store, part_name, files["part.step"], draft.get("solid")) if part_name else None
    return _kept(store, top, draft, plans, None if part is None else part.id, shop)


def _kept(
    store: Store, top: dict[str, Any], draft: dict[str, Any], plans: list[Any], part: str | None, shop: str | None
) -> str:
    id = new_id()
    try:
        with store.session() as session:
            name = str(top["name"])[:200]
            session.add(
                JobRow(id=id, name=name, draft=json.dumps(draft), created=now(), changed=now(), part=part, shop=shop)
            )
            session.flush()
            for row in reversed(list(top.get("past", []))):
                noted(session, id, f"{str(row['what'])[:300]} ({str(row['at'])[:32]})")
            noted(session, id, "read from an archive")
            for said, data in zip(top["plans"], plans, strict=True):
                seen.readable(data)
                _keep_plan(session, id, said, data)
    except (LookupError, TypeError, ValueError, AttributeError) as error:
        raise _wrong(f"holds something unexpected: {type(error).__name__} {str(error)[:80]}") from None
    return id


def _keep_plan(session: Session, job: str, said: dict[str, Any], data: dict[str, Any]) -> None:
    plan = new_id()
    title, made = str(said["title"])[:500], str(said["made"])[:32]
    session.add(PlanRow(id=plan, job=job, made=made, title=title, data=packed(data), foreign=True))
    session.flush()
    for e in said["edits"]:
        design = design_from(parsed(e["design"]), "the archive", "design")
        terms = json.dumps(terms_of(parsed(e.get("terms", "{}"))).said)
        step = int(e["step"])
        if step < 1:
            raise ValueError(f"step {step} of a change")
        kept = json.dumps(plain(asdict(design)))
        row = EditRow(plan=plan, way=int(e["way"]), step=step, terms=terms, what=str(e["what"])[:200], design=kept)
        session.add(row)
    for h in said["heads"]:
        locked = json.dumps([str(n)[:60] for n in parsed(h.get("locked", "[]"))])
        session.add(HeadRow(plan=plan, way=int(h["way"]), step=int(h["step"]), locked=locked))
    for t in said["ticks"]:
        item, value, at = str(t["item"])[:120], str(t["value"])[:2000], str(t["at"])[:32]
        session.add(TickRow(plan=plan, way=int(t["way"]), item=item, value=value, at=at))


def keep_shop(store: Store, files: shopfiles.Files, name: str = "") -> str:
    """Keep a checked shop; returns its id. Raises InputError with every fault."""
    made = shopfiles.checked(files)
    id = new_id()
    with store.session() as session:
        session.add(ShopRow(id=id, name=(name or made.name)[:200], files=json.dumps(files), changed=now()))
    return id


def _wrong(problem: str) -> InputError:
    return InputError([Fault("the archive", "", "", problem, "a file that 'Keep a copy' wrote")])


def _files(blob: bytes) -> dict[str, bytes]:
    """The archive's files, within limits on number and size, whatever its directory claims."""
    try:
        with zipfile.ZipFile(io.BytesIO(blob)) as pack:
            rows = pack.infolist()
            if len(rows) > MOST_FILES or sum(r.file_size for r in rows) > GREATEST:
                raise _wrong(f"would unpack to more than {MOST_FILES} files or {GREATEST / 1e6:.0f} MB")
            files, total = {}, 0
            for row in rows:
                if row.filename.startswith(("/", "\\")) or ".." in row.filename or row.flag_bits & 1:
                    raise _wrong(f"holds a file with a forbidden name or a password: {row.filename[:60]!r}")
                with pack.open(row) as inner:
                    files[row.filename] = inner.read(GREATEST - total + 1)
                total += len(files[row.filename])
                if total > GREATEST:
                    raise _wrong(f"unpacks to more than {GREATEST / 1e6:.0f} MB")
            return files
    except (zipfile.BadZipFile, NotImplementedError, EOFError, OSError, RuntimeError) as error:
        raise _wrong(f"can't be unpacked: {str(error)[:80]}") from None
