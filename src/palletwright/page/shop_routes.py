"""Shops: looked at, changed with the files' own checks, brought in and given out as TOML, tools from CSV."""

from __future__ import annotations

import io
import json
import zipfile
from typing import Annotated, Any

from fastapi import APIRouter, File, UploadFile
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import select

from palletwright.errors import Fault, InputError
from palletwright.page import archive, shopfiles
from palletwright.page.here import At
from palletwright.page.job_routes import Elsewhere, Id, fault
from palletwright.page.naming import attachment
from palletwright.page.store import found, now
from palletwright.page.strict import StrictRoute
from palletwright.page.tables import JobRow, ShopRow
from palletwright.shop.model import Floors, Rates

router = APIRouter(prefix="/api", tags=["shops"], route_class=StrictRoute)


DEFAULTS = {"rates": Rates().model_dump(), "floors": Floors().model_dump()}
"""What a shop has where its files don't say."""


class NewShop(BaseModel):
    """A shop from TOML files (the first includes the others), or a copy of the shipped one where none are given."""

    model_config = ConfigDict(extra="forbid")
    name: str = Field(default="", max_length=200)
    files: dict[str, str] | None = None


class Change(BaseModel):
    """One value at one place of one file; null takes the place away."""

    model_config = ConfigDict(extra="forbid")
    revision: int
    file: str = Field(max_length=100)
    loc: list[str | int] = Field(min_length=1, max_length=8)
    value: Any = None


class Text(BaseModel):
    """A whole file of a shop."""

    model_config = ConfigDict(extra="forbid")
    revision: int
    file: str = Field(max_length=100)
    text: str = Field(max_length=2_000_000)


class Table(BaseModel):
    """Tools as CSV."""

    model_config = ConfigDict(extra="forbid")
    revision: int
    csv: str = Field(max_length=1_000_000)


@router.post("/shops")
def create(at: At, new: NewShop) -> dict[str, str]:
    """Bring in a shop, or begin with a copy of the shipped one."""
    files = shopfiles.example_files() if new.files is None else new.files
    if len(files) > shopfiles.GREATEST_FILES:
        raise InputError([Fault("shop", "", "", "has too many files", f"at most {shopfiles.GREATEST_FILES}")])
    return {"id": archive.keep_shop(at.store, files, new.name)}


@router.post("/shops/toml")
def bring(at: At, file: Annotated[list[UploadFile], File()]) -> dict[str, str]:
    """Bring in a shop's TOML files as they are; the first one includes the others."""
    files: shopfiles.Files = {}
    for one in file[: shopfiles.GREATEST_FILES]:
        try:
            files[one.filename or ""] = one.file.read().decode("utf-8-sig")
        except UnicodeDecodeError:
            raise InputError([Fault(one.filename or "the file", "", "", "isn't UTF-8 text", "TOML")]) from None
    return {"id": archive.keep_shop(at.store, files)}


@router.get("/shops/{id}")
def shop(at: At, id: Id) -> dict[str, Any]:
    """A shop's files as text and as data; `example` is the shipped one."""
    if id == "example":
        return _shown(None, "The shop that comes with the program", 0, shopfiles.example_files())
    with at.store.session() as session:
        row = found(session, ShopRow, id)
    return _shown(id, row.name, row.revision, json.loads(row.files))


def _shown(id: str | None, name: str, revision: int, files: shopfiles.Files) -> dict[str, Any]:
    data = shopfiles.rows(files)
    return {"id": id, "name": name, "revision": revision, "files": files, "data": data, "defaults": DEFAULTS}


def _kept(at: At, id: str, revision: int, make: Any) -> dict[str, Any]:
    """Keep changed files where they pass every check; otherwise nothing is changed."""
    with at.store.session() as session:
        row = found(session, ShopRow, id)
        if row.revision != revision:
            raise Elsewhere("this shop was changed in another window: load it again to go on from there")
        files = make(json.loads(row.files))
        shopfiles.checked(files)
        row.files, row.changed = json.dumps(files), now()
        row.revision += 1
    return shop(at, id)


@router.patch("/shops/{id}")
def change(at: At, id: Id, said: Change) -> dict[str, Any]:
    """Change one value."""
    return _kept(at, id, said.revision, lambda files: shopfiles.edited(files, said.file, said.loc, said.value))


@router.put("/shops/{id}/text")
def rewrite(at: At, id: Id, said: Text) -> dict[str, Any]:
    """Change a whole file."""
    return _kept(at, id, said.revision, lambda files: {**files, said.file: said.text})


@router.post("/shops/{id}/tools")
def tools(at: At, id: Id, said: Table) -> dict[str, Any]:
    """Add tools from a CSV table."""
    return _kept(at, id, said.revision, lambda files: shopfiles.tools_from_csv(files, said.csv))


@router.post("/shops/{id}/try")
def try_text(at: At, id: Id, said: Text) -> dict[str, Any]:
    """What would be wrong with a file's new text."""
    with at.store.session() as session:
        files = json.loads(found(session, ShopRow, id).files)
    try:
        shopfiles.checked({**files, said.file: said.text})
    except InputError as error:
        return {"faults": [fault(f) for f in error.faults]}
    return {"faults": []}


@router.get("/shops/{id}/toml")
def give(at: At, id: Id) -> Response:
    """The shop's TOML: one file, or a zip of several."""
    said = shop(at, id)
    files = said["files"]
    if len(files) == 1:
        name, text = next(iter(files.items()))
        return attachment(text, name, "application/toml")
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as pack:
        for name, text in files.items():
            pack.writestr(name, text)
    return attachment(out.getvalue(), f"{said['name']}.zip", "application/zip")


@router.delete("/shops/{id}")
def remove(at: At, id: Id) -> dict[str, bool]:
    """Throw a shop away that no job uses."""
    with at.store.session() as session:
        row = found(session, ShopRow, id)
        users = [j.name or "a job without a name" for j in session.scalars(select(JobRow).where(JobRow.shop == id))]
        if users:
            raise InputError([Fault("shop", "", "", "is used by " + ", ".join(users[:5]), "a shop that no job uses")])
        session.delete(row)
    return {"removed": True}
