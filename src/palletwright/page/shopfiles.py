"""Shops as the TOML files that people write: checked by the shop room, edited in place so that comments stay."""

from __future__ import annotations

import csv
import io
import itertools
import tempfile
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from palletwright.errors import Fault, InputError
from palletwright.shop import Shop, read_shop
from palletwright.shop.read import DATA

Files = dict[str, str]
Loc = list[str | int]

GREATEST_FILES = 20


def example_files() -> Files:
    """The files of the shipped shop, the one that includes the others first."""
    top = "example_shop.toml"
    files = {top: (DATA / top).read_text(encoding="utf-8")}
    for name in tomllib.loads(files[top]).get("include", []):
        files[name] = (DATA / name).read_text(encoding="utf-8")
    return files


def checked(files: Files) -> Shop:
    """The shop of these files.

    Raises InputError with every fault of every file, file names as the person knows them.
    """
    if not files:
        raise InputError([Fault("shop", "", "", "has no file", "at least one TOML file")])
    with tempfile.TemporaryDirectory(prefix="palletwright-") as name:
        folder = Path(name).resolve()
        for file, text in files.items():
            _plain_name(file)
            (folder / file).write_text(text, encoding="utf-8")
        _inside(files)
        try:
            return read_shop(folder / next(iter(files)))
        except InputError as error:
            raise InputError([replace(f, file=Path(f.file).name, allowed=_without(f.allowed, folder),
                problem=_without(f.problem, folder)) for f in error.faults]) from None  # fmt: skip


def _without(text: str, folder: Path) -> str:
    return text.replace(f"{folder}/", "").replace(str(folder), "the shop's folder")


def _plain_name(file: str) -> None:
    if Path(file).name != file or not file.endswith(".toml") or len(file) > 100 or "\0" in file or "\\" in file:
        raise InputError([Fault("shop", "", file[:60], "isn't a file name for a shop", "a plain name ending in .toml")])


def _inside(files: Files) -> None:
    """Raise InputError where a file includes something that isn't among these."""
    for name, text in files.items():
        try:
            includes = tomllib.loads(text).get("include", [])
        except tomllib.TOMLDecodeError:
            continue
        for wanted in includes if isinstance(includes, list) else []:
            if str(wanted) not in files:
                allowed = "one of the shop's own files: " + ", ".join(files)
                raise InputError([Fault(name, "include", str(wanted)[:60], "isn't among the shop's files", allowed)])


def rows(files: Files) -> dict[str, Any]:
    """The files' data by file, for the page to show and to point into."""
    shown: dict[str, Any] = {}
    for name, text in files.items():
        try:
            shown[name] = tomllib.loads(text)
        except tomllib.TOMLDecodeError:
            shown[name] = {}
    return shown


def edited(files: Files, file: str, loc: Loc, value: Any) -> Files:
    """The files with `value` at `loc` of one of them; None takes it away, an element past the end is added.

    Raises InputError where the place isn't there or the value isn't TOML's.
    """
    if file not in files:
        raise InputError([Fault("shop", "file", file[:60], "isn't a file of this shop", ", ".join(files))])
    try:
        document = tomlkit.parse(files[file])
        _put(document, loc, value)
        text = tomlkit.dumps(document)
    except (KeyError, IndexError, TypeError, ValueError, TOMLKitError) as error:
        where = ".".join(map(str, loc))[:80]
        raise InputError([Fault(file, where, "", f"can't be set: {type(error).__name__}", "a place that is there")]) \
            from None  # fmt: skip
    return {**files, file: text}


def _put(document: Any, loc: Loc, value: Any) -> None:
    at = document
    for step, following in itertools.pairwise(loc):
        if isinstance(step, str) and step not in at:
            at[step] = tomlkit.aot() if isinstance(following, int) else tomlkit.table()
        at = at[step]
    last = loc[-1]
    if value is None:
        del at[last]
    elif isinstance(last, int) and last == len(at):
        at.append(tomlkit.item(value))
    elif isinstance(last, int):
        at[last] = tomlkit.item(value)
    else:
        at[last] = value


NUMBERS = ("DC", "LU", "LCF", "APMX", "DMM", "DN", "OAL", "SIG", "RE", "TP", "stick_out", "price")
WHOLE = ("number", "ZEFP")


def tools_from_csv(files: Files, text: str) -> Files:
    """The files with one more that holds the tools of a CSV table: one row a tool, columns by the keys of the files.

    Columns: number, kind, DC, LU, LCF, DMM, OAL, holder, stick_out and any other key of a cutter. A number that is
    there already is an error of the check that follows.

    Raises InputError that names the row.
    """
    table = list(csv.DictReader(io.StringIO(text), delimiter=";" if ";" in text.split("\n", 1)[0] else ","))
    needed = ("number", "kind", "DC", "LU", "LCF", "DMM", "OAL", "holder", "stick_out")
    if not table or any(k not in table[0] for k in needed):
        raise InputError([Fault("tools.csv", "", "", "lacks columns or rows", "columns " + ", ".join(needed))])
    made, faults = tomlkit.document(), []
    cutters, tools = tomlkit.aot(), tomlkit.aot()
    for line, row in enumerate(table, start=2):
        try:
            cutter, tool = _tool(row)
        except (KeyError, ValueError) as error:
            faults.append(Fault("tools.csv", "", "", f"row can't be read: {error}", "numbers in mm", line))
            continue
        cutters.append(tomlkit.item(cutter))
        tools.append(tomlkit.item(tool))
    if faults:
        raise InputError(faults)
    made["source"] = "read from a CSV table"
    made["cutter"], made["tool"] = cutters, tools
    name = next(n for k in range(1, 100) if (n := f"tools_{k}.toml") not in files)
    return _including({**files, name: tomlkit.dumps(made)}, name)


def _tool(row: dict[str, str]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Cutter and tool of one row of the table."""
    said = {k: _value(k, v.strip()) for k, v in row.items() if k and isinstance(v, str) and v.strip()}
    number = said.pop("number")
    tool = {"number": number, "cutter": f"t{number}", "holder": said.pop("holder"), "stick_out": said.pop("stick_out")}
    tool |= {"name": said.pop("name")} if "name" in said else {}
    return {"id": f"t{number}", **said}, tool


def _including(files: Files, name: str) -> Files:
    """The files with `name` among those that the first one includes."""
    top = next(iter(files))
    known = tomllib.loads(files[top]).get("include", [])
    if known:
        return edited(files, top, ["include"], [*known, name])
    return {**files, top: f'include = ["{name}"]\n' + files[top]}


def _value(key: str, text: str) -> Any:
    if key in WHOLE:
        return int(text)
    if key in NUMBERS:
        return float(text.replace(",", "."))
    if text.lower() in ("true", "false"):
        return text.lower() == "true"
    return text
