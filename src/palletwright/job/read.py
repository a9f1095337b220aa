"""The job's TOML file, read into a `Job`: every fault at once, those against the shop included."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal

from pydantic import ValidationError

from palletwright.errors import Fault, InputError
from palletwright.job.model import Job
from palletwright.shop import Shop, example_shop, read_shop
from palletwright.shop.document import Document, load, model_faults, suggestion
from palletwright.shop.places import Path as Loc

STEP_ENDINGS = (".step", ".stp", ".p21")
PROGRAM_ENDINGS = (".nc", ".ngc", ".tap", ".cnc", ".iso", ".eia", ".min", ".txt")


class JobFile(Job):
    """One job file. `unit` is what a bare length counts in. Paths count from the job file's folder."""

    unit: Literal["mm", "in"] = "mm"


def read_job(path: str | Path, shop: Shop | None = None, **instead: Any) -> Job:
    """Read a job file; with a shop its references to the shop are checked, and the material gets the shop's id.

    Parameters
    ----------
    path : the TOML file; paths inside it count from its folder
    shop : what the job may refer to
    instead : values that stand in for the file's own keys, checked like them

    Raises InputError with every fault: file, line, key, value, what is allowed.
    """
    document = load(Path(path))
    document.data.update(instead)
    faults = list(_own_faults(document)) + list(_missing_files(document))
    if shop is not None:
        faults += _against_shop(document, shop)
    if faults:
        raise InputError(faults)
    return _job(document, shop)


def read_job_and_shop(path: str | Path, shop_path: str | Path | None = None, **instead: Any) -> tuple[Job, Shop]:
    """Read a job and the shop that makes it: `shop_path`, else the shop that the job names, else the example shop.

    `instead` are values that stand in for the job file's own keys.

    Raises InputError with the faults of both files.
    """
    faults: list[Fault] = []
    named = shop_path or _named_shop(Path(path))
    shop = None
    try:
        shop = example_shop() if named is None else read_shop(named)
    except InputError as error:
        faults += error.faults
    try:
        job = read_job(path, shop, **instead)
    except InputError as error:
        faults = [*error.faults, *faults]
    if faults or shop is None:
        raise InputError(faults)
    return job, shop


def least_job(part: str | Path, material: str, per_year: int, shop: Shop, **more: Any) -> Job:
    """The least job: a STEP file, a material and a quantity. `more` are further fields of `Job`.

    Raises InputError, naming the command line as the file.
    """
    data = {"part": str(part), "material": material, "per_year": per_year, **more}
    document = Document("command line", Path.cwd(), data)
    faults = [*_own_faults(document), *_missing_files(document), *_against_shop(document, shop)]
    if faults:
        raise InputError(faults)
    return _job(document, shop)


def schema() -> dict[str, Any]:
    """JSON schema of a job file."""
    made = JobFile.model_json_schema(mode="validation")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **made, "title": "Palletwright job file"}


def _named_shop(path: Path) -> Path | None:
    """The shop file that the job names, if the job can be read at all and it is there."""
    document = load(path)
    name = document.data.get("shop")
    shop = document.folder / name if isinstance(name, str) else None
    return shop if shop is not None and shop.is_file() else None


def _own_faults(document: Document) -> Iterator[Fault]:
    try:
        JobFile.model_validate(document.data, context=document.context)
    except ValidationError as error:
        yield from model_faults(document, (), JobFile, error)


def _files(document: Document) -> Iterator[tuple[Loc, Path, tuple[str, ...]]]:
    """Every path that the job names, from its folder, with the endings that it may have."""
    named: list[tuple[Loc, tuple[str, ...]]] = [(("part",), STEP_ENDINGS), (("blank", "file"), STEP_ENDINGS)]
    named.append((("shop",), (".toml",)))
    named += [(("operations", k, "program"), PROGRAM_ENDINGS) for k in range(len(_tables(document, "operations")))]
    for loc, endings in named:
        name = document.value(loc)
        if isinstance(name, str):
            yield loc, document.folder / name, endings


def _missing_files(document: Document) -> Iterator[Fault]:
    for loc, file, endings in _files(document):
        allowed = f"a file ending in {', '.join(endings)}; paths count from {document.folder}"
        if not file.is_file():
            near = sorted(p.name for p in file.parent.glob("*") if p.suffix.lower() in endings) if file.parent else []
            there = f"; there are {', '.join(near[:8])}" if near else ""
            yield document.fault(loc, "isn't there", allowed + there)
        elif file.suffix.lower() not in endings:
            yield document.fault(loc, f"ends in {file.suffix or 'nothing'}", allowed)


def _against_shop(document: Document, shop: Shop) -> Iterator[Fault]:
    """References to materials, machines and tools that the shop doesn't have."""
    material = document.data.get("material")
    if isinstance(material, str) and material and shop.material(material) is None:
        names = [m.id for m in shop.materials]
        yield document.fault(("material",), f"is no material of shop {shop.name!r}", suggestion(material, names))
    machines = [m.id for m in shop.machines]
    for loc, name in _machines(document):
        if name not in machines:
            yield document.fault(loc, f"is no machine of shop {shop.name!r}", suggestion(name, machines))
    numbers = [t.number for t in shop.tools]
    for at, row in enumerate(_tables(document, "overrides")):
        if isinstance(row.get("tool"), int) and row["tool"] not in numbers:
            allowed = f"one of its {len(numbers)} tool numbers, {min(numbers)} to {max(numbers)}"
            yield document.fault(("overrides", at, "tool"), f"is no tool of shop {shop.name!r}", allowed)
    clamps = [c.id for c in shop.clamps]
    for at, row in enumerate(_tables(document, "held_by")):
        for k, name in enumerate(row["clamps"] if isinstance(row.get("clamps"), list) else []):
            if isinstance(name, str) and name not in clamps:
                what = f"is no clamp of shop {shop.name!r}"
                yield document.fault(("held_by", at, "clamps", k), what, suggestion(name, clamps))


def _machines(document: Document) -> Iterator[tuple[Loc, str]]:
    names = document.data.get("machines")
    for at, name in enumerate(names if isinstance(names, list) else []):
        if isinstance(name, str):
            yield ("machines", at), name
    for at, row in enumerate(_tables(document, "today")):
        if isinstance(row.get("machine"), str):
            yield ("today", at, "machine"), row["machine"]


def _tables(document: Document, key: str) -> list[dict[str, Any]]:
    rows = document.data.get(key)
    return [row if isinstance(row, dict) else {} for row in rows] if isinstance(rows, list) else []


def _job(document: Document, shop: Shop | None) -> Job:
    """The valid document as a job: paths resolved, the material by the shop's id, a name where none was given."""
    data = dict(document.data)
    data.pop("unit", None)
    for loc, file, _ in _files(document):
        data = _put(data, loc, str(file.resolve()))
    data.setdefault("name", Path(data["part"]).stem)
    found = None if shop is None else shop.material(data["material"])
    if found is not None:
        data["material"] = found.id
    return Job.model_validate(data, context=document.context)


def _put(data: Any, loc: Loc, value: str) -> Any:
    """A copy of nested tables and lists with one value replaced."""
    if not loc:
        return value
    copy: Any = dict(data) if isinstance(data, dict) else list(data)
    copy[loc[0]] = _put(data[loc[0]], loc[1:], value)
    return copy
