"""The jobs of a shop, from a folder of job files or a CSV; a bad one is a row with its fault, and the rest go on."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from palletwright.errors import Fault, InputError
from palletwright.job import least_job, read_job
from palletwright.job.model import Job, TodayStep
from palletwright.shop.model import Shop

COLUMNS = ("name", "job", "part", "material", "per_year", "batch", "today")
"""Columns of the CSV. `job` names a job file that the others override; without it a row needs part, material and
per_year. `today` is one `parts/cycle s/load s` an operation, parted by semicolons: `2/610/75; 1/95/40`."""


@dataclass(frozen=True)
class Entry:
    """One job of the list: its id (unique, the file or the line that it came from), and the job or its fault."""

    id: str
    name: str
    job: Job | None
    fault: str = ""


def read_jobs(source: str | Path, shop: Shop) -> tuple[Entry, ...]:
    """Every job of a folder (its TOML files, folders within included) or of a CSV, in order of their ids.

    Raises InputError when there is no such folder or file, or the CSV lacks its columns; faults of single jobs stand
    in their entries.
    """
    path = Path(source)
    if path.is_dir():
        files = sorted(path.rglob("*.toml"))
        if not files:
            raise InputError([Fault(str(path), "", "", "holds no job file", "a folder of job files (*.toml)")])
        return tuple(_from_file(f, f.relative_to(path).as_posix(), shop) for f in files if not _is_shop(f))
    if not path.is_file():
        raise InputError([Fault(str(path), "", "", "isn't there", "a folder of job files, or a CSV")])
    return tuple(_from_csv(path, shop))


def _is_shop(file: Path) -> bool:
    """Whether a TOML file describes a shop, which may lie beside the jobs."""
    import tomllib

    try:
        data = tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        return False
    return "part" not in data and bool({"machine", "machines"} & set(data))


def _from_file(file: Path, id: str, shop: Shop) -> Entry:
    try:
        job = read_job(file, shop)
    except (InputError, OSError) as error:
        return Entry(id, file.stem, None, str(error))
    return Entry(id, job.name or file.stem, job)


def _from_csv(path: Path, shop: Shop) -> Iterator[Entry]:
    with path.open(newline="", encoding="utf-8-sig") as text:
        reader = csv.DictReader(text)
        titles = [t for t in reader.fieldnames or [] if t]
        unknown = [t for t in titles if t not in COLUMNS]
        if unknown or not ("job" in titles or {"part", "material", "per_year"} <= set(titles)):
            what = (
                f"column {unknown[0]!r} isn't known" if unknown else "needs a column job, or part, material, per_year"
            )
            raise InputError([Fault(str(path), "", "", what, f"columns {', '.join(COLUMNS)}", 1)])
        for row in reader:
            plain = {k: v.strip() for k, v in row.items() if isinstance(k, str) and isinstance(v, str) and v.strip()}
            if plain:
                yield _from_row(path, reader.line_num, plain, shop)


def _from_row(path: Path, line: int, row: Mapping[str, str], shop: Shop) -> Entry:
    name = row.get("name", "")
    id = f"{path.name}:{line:05d}"
    try:
        job = _job_of(path, line, row, shop)
    except (InputError, OSError) as error:
        return Entry(id, name or id, None, str(error))
    return Entry(id, job.name or id, job)


def _job_of(path: Path, line: int, row: Mapping[str, str], shop: Shop) -> Job:
    changes: dict[str, Any] = {k: row[k] for k in ("name", "material") if k in row}
    changes |= {k: _count(path, line, k, row[k]) for k in ("per_year", "batch") if k in row}
    if "today" in row:
        changes["today"] = _today(path, line, row["today"])
    if "job" in row:
        job = read_job(path.parent / row["job"], shop)
        if "material" in changes and shop.material(changes["material"]) is None:
            names = ", ".join(m.id for m in shop.materials)
            raise InputError([Fault(str(path), "material", row["material"], "isn't in the shop", names, line)])
        if "part" in row:
            changes["part"] = (path.parent / row["part"]).resolve()
        return job.model_copy(update=changes)
    missing = [k for k in ("part", "material", "per_year") if k not in row]
    if missing:
        raise InputError(
            [Fault(str(path), k, "", "is missing", "part, material and per_year, or job", line) for k in missing]
        )
    part = (path.parent / row["part"]).resolve()
    try:
        base = least_job(part, row["material"], changes["per_year"], shop, name=row.get("name", part.stem))
    except InputError as error:
        # The faults name the command line; here they are those of a row.
        faults = [replace(f, file=str(path), line=line, value=row.get(f.key, f.value)) for f in error.faults]
        raise InputError(faults) from error
    return base.model_copy(update={k: v for k, v in changes.items() if k in ("batch", "today")})


def _count(path: Path, line: int, key: str, text: str) -> int:
    if not text.isdigit() or int(text) < 1:
        raise InputError([Fault(str(path), key, text, "isn't a count", "a whole number of at least 1", line)])
    return int(text)


def _today(path: Path, line: int, text: str) -> tuple[TodayStep, ...]:
    steps = []
    for k, part in enumerate(text.split(";"), start=1):
        pieces = part.split("/")
        try:
            parts, cycle, load = int(pieces[0]), float(pieces[1]), float(pieces[2])
            if len(pieces) != 3:
                raise ValueError(part)
            steps.append(TodayStep(operation=f"op {k}", parts_per_start=parts, cycle_seconds=cycle, load_seconds=load))
        except (ValueError, IndexError) as error:
            allowed = "parts/cycle s/load s for every operation, parted by semicolons, all above 0: 2/610/75; 1/95/40"
            raise InputError([Fault(str(path), "today", text, "can't be read", allowed, line)]) from error
    return tuple(steps)
