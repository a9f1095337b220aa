"""The shop's TOML files, read into a `Shop`: every fault of every file at once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

from pydantic import Field, ValidationError

from palletwright.errors import Fault, InputError
from palletwright.shop.base import plain
from palletwright.shop.document import Document, dotted, load, model_faults, suggestion
from palletwright.shop.model import (
    Carrier,
    Clamp,
    Cutter,
    Fastener,
    Floors,
    Holder,
    Locator,
    Machine,
    Material,
    Model,
    Name,
    Positive,
    Rates,
    Shop,
    Tool,
)
from palletwright.shop.places import Path as Loc

DATA = Path(__file__).with_name("data")


class ToolRow(Model):
    """A tool assembly as the file states it: cutter and holder by id."""

    number: int = Field(ge=1)
    cutter: Name
    holder: Name
    stick_out: Positive = Field(description="mm from the holder's front to the tip")
    name: str = ""


class ShopFile(Model):
    """One shop file. Every list may be spread over the files that `include` names (paths from this file).

    `unit` is what a bare length counts in. `materials`: 'shipped' adds those that come with the program to the
    file's own, whose ids win; 'own' uses the file's only. `source` is noted on every record that names none.
    """

    name: str = ""
    unit: Literal["mm", "in"] = "mm"
    source: str = ""
    include: tuple[str, ...] = ()
    materials: Literal["shipped", "own"] = "shipped"
    machine: tuple[Machine, ...] = ()
    carrier: tuple[Carrier, ...] = ()
    clamp: tuple[Clamp, ...] = ()
    locator: tuple[Locator, ...] = ()
    cutter: tuple[Cutter, ...] = ()
    holder: tuple[Holder, ...] = ()
    tool: tuple[ToolRow, ...] = ()
    material: tuple[Material, ...] = ()
    fastener: tuple[Fastener, ...] = ()
    rates: Rates | None = None
    floors: Floors | None = None


ROWS: dict[str, type[Model]] = {
    "machine": Machine,
    "carrier": Carrier,
    "clamp": Clamp,
    "locator": Locator,
    "cutter": Cutter,
    "holder": Holder,
    "tool": ToolRow,
    "material": Material,
    "fastener": Fastener,
}


@dataclass(frozen=True)
class _Row:
    """One record of one file; `made` is None where it has faults of its own."""

    document: Document
    loc: Loc
    raw: dict[str, Any]
    made: Any

    @property
    def key(self) -> object:
        return self.raw.get("number" if self.loc[0] == "tool" else "id")


def read_shop(path: str | Path) -> Shop:
    """Read a shop file and all that it includes.

    Parameters
    ----------
    path : the TOML file; lengths without a unit count in the file's `unit` (mm where it names none)

    Raises InputError with every fault of every file: file, line, key, value, what is allowed.
    """
    faults: list[Fault] = []
    documents = list(_documents(Path(path), [], faults))
    rows = {kind: [row for d in documents for row in _rows(d, kind)] for kind in ROWS}
    for document in documents:
        faults += _own_faults(document)
    for kind in ROWS:
        faults += _twice(rows[kind])
    tools = list(_tools(rows, faults))
    faults += _without_machine(rows, tools)
    faults += _names_twice(rows["material"])
    for kind in ("machine", "carrier", "clamp", "locator", "tool"):
        if documents and not rows[kind]:
            faults.append(documents[0].fault((kind,), "is missing: a shop needs at least one", f"[[{kind}]] tables"))
    if faults:
        raise InputError(faults)
    return _shop(documents, rows, tools)


@cache
def example_shop() -> Shop:
    """The shop that comes with the program: three vertical machining centres, one with a rotary axis."""
    return read_shop(DATA / "example_shop.toml")


@cache
def shipped_materials() -> tuple[Material, ...]:
    """The materials that come with the program."""
    document = load(DATA / "materials.toml")
    faults = _own_faults(document)
    if faults:
        raise InputError(faults)
    return tuple(row.made for row in _rows(document, "material"))


def schema() -> dict[str, Any]:
    """JSON schema of a shop file."""
    made = ShopFile.model_json_schema(mode="validation")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **made, "title": "Palletwright shop file"}


def _documents(path: Path, above: list[Path], faults: list[Fault]) -> Iterator[Document]:
    """The file and those that it includes, each once."""
    try:
        document = load(path)
    except InputError as error:
        if not above:
            raise
        faults += error.faults
        return
    yield document
    names = document.data.get("include", [])
    for at, name in enumerate(names if isinstance(names, list) else []):
        inner = (path.parent / str(name)).resolve()
        if inner in [p.resolve() for p in (*above, path)]:
            faults.append(document.fault(("include", at), "includes itself", "files that don't include this one"))
        elif not inner.is_file():
            faults.append(document.fault(("include", at), "isn't there", "a path from this file's folder"))
        else:
            yield from _documents(inner, [*above, path], faults)


def _sourced(document: Document) -> dict[str, Any]:
    """The file's data, with the file's `source` on every record that names none."""
    data = dict(document.data)
    for kind, model in ROWS.items():
        table = data.get(kind)
        if isinstance(table, list) and data.get("source") and "source" in model.model_fields:
            data[kind] = [{"source": data["source"], **row} if isinstance(row, dict) else row for row in table]
    return data


def _rows(document: Document, kind: str) -> Iterator[_Row]:
    table = _sourced(document).get(kind, [])
    for at, raw in enumerate(table if isinstance(table, list) else []):
        if isinstance(raw, dict):
            yield _Row(document, (kind, at), raw, _made(document, kind, raw))


def _made(document: Document, kind: str, raw: dict[str, Any]) -> Any:
    try:
        return ROWS[kind].model_validate(raw, context=document.context)
    except ValidationError:
        return None


def _own_faults(document: Document) -> list[Fault]:
    """What the file's own tables have wrong, one by one."""
    try:
        ShopFile.model_validate(_sourced(document), context=document.context)
    except ValidationError as error:
        return list(model_faults(document, (), ShopFile, error))
    return []


def _twice(rows: list[_Row]) -> Iterator[Fault]:
    first: dict[object, _Row] = {}
    for row in rows:
        known = first.setdefault(row.key, row) if row.key is not None else row
        if known is not row:
            name = "number" if row.loc[0] == "tool" else "id"
            where = f"{dotted(known.loc)}, line {known.document.line(known.loc)} of {known.document.name}"
            yield row.document.fault((*row.loc, name), f"is used by {where} already", "a name of its own")


def _names_twice(rows: list[_Row]) -> Iterator[Fault]:
    """Materials that answer to the same name."""
    owner: dict[str, _Row] = {}
    for row in rows:
        names = [] if row.made is None else {plain(n) for n in (row.made.id, *row.made.aliases)}
        for name in sorted(names):
            known = owner.setdefault(name, row)
            if known is not row and known.key != row.key:
                problem = f"{name!r} also names material {known.key!r}"
                yield row.document.fault((*row.loc, "aliases"), problem, "names that no other material has")


def _tools(rows: dict[str, list[_Row]], faults: list[Fault]) -> Iterator[Tool]:
    """Assemblies of those rows whose cutter and holder exist."""
    for row in rows["tool"]:
        found: dict[str, Any] = {}
        for kind in ("cutter", "holder"):
            wanted = row.raw.get(kind)
            match = next((r for r in rows[kind] if r.key == wanted), None)
            if match is None and isinstance(wanted, str):
                known = [str(r.key) for r in rows[kind]]
                faults.append(row.document.fault((*row.loc, kind), f"is no {kind} here", suggestion(wanted, known)))
            elif match is not None:
                found[kind] = match.made
        if row.made is None or len(found) < 2 or None in found.values():
            continue
        made = row.made
        try:
            yield Tool(number=made.number, stick_out=made.stick_out, name=made.name, **found)
        except ValidationError as error:
            faults += model_faults(row.document, row.loc, Tool, error)


def _without_machine(rows: dict[str, list[_Row]], tools: list[Tool]) -> Iterator[Fault]:
    """Tools that no machine of the shop takes, for their taper or their length."""
    if not rows["machine"] or any(row.made is None for row in rows["machine"]):
        return
    machines: list[Machine] = [row.made for row in rows["machine"]]
    at = {row.key: row for row in rows["tool"]}
    for tool in tools:
        row = at[tool.number]
        same = [m for m in machines if plain(m.taper) == plain(tool.holder.taper)]
        if not same:
            tapers = ", ".join(sorted({m.taper for m in machines}))
            problem = f"has taper {tool.holder.taper}, which no machine here takes"
            yield row.document.fault((*row.loc, "holder"), problem, tapers)
        elif tool.gauge_length > (longest := max(m.greatest_tool_length for m in same)):
            problem = f"makes a gauge length of {tool.gauge_length:g} mm, too long for every machine here"
            yield row.document.fault((*row.loc, "stick_out"), problem, f"gauge length up to {longest:g} mm")


def _shop(documents: list[Document], rows: dict[str, list[_Row]], tools: list[Tool]) -> Shop:
    top = documents[0]
    files = [ShopFile.model_validate(_sourced(d), context=d.context) for d in documents]
    materials = tuple(row.made for row in rows["material"])
    if files[0].materials == "shipped":
        own = {plain(n) for m in materials for n in (m.id, *m.aliases)}
        materials += tuple(m for m in shipped_materials() if not own & set(map(plain, (m.id, *m.aliases))))
    made: dict[str, Any] = {f"{kind}s": tuple(r.made for r in rows[kind]) for kind in tuple(ROWS)[:4]}
    return Shop(
        name=files[0].name or Path(top.name).stem,
        tools=tuple(sorted(tools, key=lambda t: t.number)),
        materials=materials,
        fasteners=tuple(row.made for row in rows["fastener"]),
        rates=next((f.rates for f in files if f.rates is not None), Rates()),
        floors=next((f.floors for f in files if f.floors is not None), Floors()),
        **made,
    )
