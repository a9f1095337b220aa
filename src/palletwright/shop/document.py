"""A TOML file that somebody wrote: read, checked against its model, every fault named with its line."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from palletwright.errors import Fault, InputError
from palletwright.shop.places import Path as Loc
from palletwright.shop.places import lines_of

UNITS = ("mm", "in")


@dataclass(frozen=True)
class Document:
    """The content of one file, and where each key stands in it."""

    name: str
    folder: Path
    data: dict[str, Any]
    text: str = field(repr=False, default="")

    @cached_property
    def lines(self) -> dict[Loc, int]:
        return lines_of(self.text)

    @property
    def context(self) -> dict[str, str]:
        """What a bare length counts in."""
        return {"length": self.data.get("unit", "mm")}

    def value(self, loc: Loc) -> Any:
        """What stands at `loc`; None where nothing does."""
        at: Any = self.data
        for step in loc:
            if isinstance(at, list):
                at = dict(enumerate(at))
            if not isinstance(at, Mapping) or step not in at:
                return None
            at = at[step]
        return at

    def line(self, loc: Loc) -> int | None:
        """The line of `loc`, or of the innermost thing around it that has one."""
        return next((self.lines[loc[:n]] for n in range(len(loc), 0, -1) if loc[:n] in self.lines), None)

    def fault(self, loc: Loc, problem: str, allowed: str = "") -> Fault:
        """A fault at `loc`, with the value that stands there."""
        value = self.value(loc)
        return Fault(self.name, dotted(loc), "" if value is None else _short(value), problem, allowed, self.line(loc))


def dotted(loc: Loc) -> str:
    """`('tool', 2, 'stick_out')` as `tool[3].stick_out`: elements count from 1, as people count."""
    text = ""
    for step in loc:
        text += f"[{step + 1}]" if isinstance(step, int) else f".{step}" if text else step
    return text


def _short(value: Any) -> str:
    if isinstance(value, Mapping):
        inner = next((f"{key} = {_short(value[key])}, " for key in ("id", "number", "name") if key in value), "")
        return f"{{{inner}…}}"
    text = repr(value) if isinstance(value, str) else str(value).lower() if isinstance(value, bool) else str(value)
    return text if len(text) <= 60 else text[:57] + "…"


def load(path: Path) -> Document:
    """Read a TOML file. Raises InputError where it isn't there, isn't UTF-8 or isn't TOML (with the line)."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError([_syntax(str(path), text, error)]) from error
    except UnicodeDecodeError as error:
        raise InputError([Fault(str(path), "", "", f"isn't UTF-8 text (byte {error.start})", "TOML")]) from error
    except OSError as error:
        raise InputError([Fault(str(path), "", "", f"can't be read: {error.strerror}", "a TOML file")]) from error
    document = Document(str(path), path.parent, data, text)
    if data.get("unit", "mm") not in UNITS:
        raise InputError([document.fault(("unit",), "isn't a unit for bare lengths", " or ".join(map(repr, UNITS)))])
    return document


def _syntax(name: str, text: str, error: tomllib.TOMLDecodeError) -> Fault:
    found = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
    line = int(found[1]) if found else text.count("\n") + 1
    what = re.sub(r" \(at .*\)$", "", str(error))
    rows = text.splitlines()
    shown = rows[line - 1].strip() if line <= len(rows) else ""
    return Fault(name, "", "", f"isn't valid TOML: {what}: {_short(shown)}", "TOML 1.0, such as key = 12.5", line)


def suggestion(wrong: object, known: Sequence[str]) -> str:
    """What could have been meant, and all that is known."""
    close = difflib.get_close_matches(str(wrong), known, n=1, cutoff=0.6)
    everything = ", ".join(sorted(known)) if known else "nothing: none is there"
    return f"{close[0]!r} (did you mean that?), or one of {everything}" if close else everything


def model_faults(document: Document, loc: Loc, model: type[BaseModel], error: ValidationError) -> Iterator[Fault]:
    """Every fault of a model's validation, for the table of the document at `loc`."""
    seen: set[tuple[str, str]] = set()
    details = error.errors()
    for detail in details:
        if detail["type"] == "too_short" and any(_within(other["loc"], detail["loc"]) for other in details):
            continue
        for fault in _faults(document, loc, model, detail):
            if (fault.key, fault.problem) not in seen:
                seen.add((fault.key, fault.problem))
                yield fault


def _within(inner: tuple[int | str, ...], outer: tuple[int | str, ...]) -> bool:
    """Whether `inner` lies inside `outer`: an array that lost a faulty element isn't short as well."""
    return len(inner) > len(outer) and inner[: len(outer)] == outer


def _faults(document: Document, loc: Loc, model: type[BaseModel], detail: ErrorDetails) -> Iterator[Fault]:
    inner = detail["loc"]
    here = _real(document, loc, inner)
    context = detail.get("ctx", {})
    match detail["type"]:
        case "problems":
            for key, problem, allowed in context["problems"]:
                steps = tuple(int(s) if s.isdecimal() else s for s in key.split("."))
                yield document.fault((*here, *steps), problem, allowed)
        case "extra_forbidden":
            owner = _model_at(model, inner[:-1])
            known = [] if owner is None else list(owner.model_fields)
            if len(inner) > 1 and inner[-1] in model.model_fields and inner[-1] not in known:
                yield document.fault(here, "isn't a key of this table", "above the file's first [table]")
            else:
                yield document.fault(here, "isn't a known key", suggestion(inner[-1], known))
        case "missing":
            owner = _model_at(model, inner[:-1])
            yield document.fault((*here, inner[-1]), "is missing", _meaning(owner, inner[-1]))
        case _:
            problem, _, allowed = detail["msg"].removeprefix("Value error, ").partition("; allowed is ")
            if not allowed:
                for start in ("Input should be ", "String should have ", "Tuple should have "):
                    if problem.startswith(start):
                        problem, allowed = "isn't allowed", problem.removeprefix(start).removeprefix("a valid ")
            yield document.fault(here, problem, allowed)


def _real(document: Document, loc: Loc, inner: tuple[int | str, ...]) -> Loc:
    """The place in the document, without pydantic's marks for the branch of a union."""
    here = loc
    for step in inner:
        if document.value((*here, step)) is not None:
            here = (*here, step)
    return here


def _model_at(model: type[BaseModel] | None, inner: tuple[int | str, ...]) -> type[BaseModel] | None:
    """The model that the table at `inner` is read into."""
    for step in inner:
        if model is None or isinstance(step, int):
            continue
        info = model.model_fields.get(step)
        model = None if info is None else next(_models(info.annotation), None)
    return model


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from _models(part)


def _meaning(model: type[BaseModel] | None, key: int | str) -> str:
    info = None if model is None else model.model_fields.get(str(key))
    if info is None:
        return ""
    if info.description:
        return info.description
    schema = {} if model is None else model.model_json_schema().get("properties", {}).get(str(key), {})
    if "enum" in schema:
        return "one of " + ", ".join(map(repr, schema["enum"]))
    return str(schema.get("description") or schema.get("type", ""))
