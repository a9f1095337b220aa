"""How one kind of control wants a program written: data files, named by the standard or generically."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from palletwright.errors import Fault, InputError


@dataclass(frozen=True, slots=True)
class Dialect:
    """Templates of one dialect. `{}` names are filled in; an empty template means that the control has no such thing.

    `offsets` are the basic work offsets in order, `offsets_extended` how many more `extended` selects; `if_begin`
    takes `condition_true` or, where `jumps`, `condition_false` because the lines up to `label` are skipped then.
    `alarm` stops for good with a text; `length_of` is the variable with the length of tool `number` in mm, once its
    offset is on; `broken_tool` feeds the tip down by `way` mm onto a tool setter and, where `machine_z` is empty, stops
    by itself where nothing trips; else that variable tells where in Z (control coordinates, gauge point) it ended.
    """

    name: str
    about: str
    begin: str
    end: str
    comment: str
    decimals: int
    subprograms_first: bool
    sub_begin: str
    sub_end: str
    sub_call: str
    if_begin: str
    if_end: str
    jumps: bool
    offsets: tuple[str, ...]
    extended: str
    offsets_extended: int
    set_offset: str
    set_extended: str
    unclamp: str
    clamp: str
    ask: str
    optional_stop: str
    retract: str
    settings: str
    first_label: int
    line_numbers: bool
    alarm: str
    length_of: str
    broken_tool: str
    machine_z: str

    def note(self, text: str) -> str:
        """A comment in capitals, without the brackets that would end it."""
        return self.comment.format(text.upper().replace("(", "[").replace(")", "]").replace(";", ","))

    def number(self, value: float) -> str:
        """A coordinate with a decimal point, rounded to the dialect's decimals."""
        text = f"{value:.{self.decimals}f}".rstrip("0")
        return "0." if text in ("-0.", "0.") else text

    def offset(self, index: int) -> str:
        """Words that select work offset `index` (from 0); empty where the control has too few."""
        if index < len(self.offsets):
            return self.offsets[index]
        more = index - len(self.offsets) + 1
        return self.extended.format(number=more) if more <= self.offsets_extended else ""


def shipped_dialects() -> tuple[str, ...]:
    """Names of the dialects that come with the package."""
    folder = files("palletwright.cycle") / "dialects"
    return tuple(sorted(item.name.removesuffix(".toml") for item in folder.iterdir() if item.name.endswith(".toml")))


def read_dialect(name: str | Path) -> Dialect:
    """A shipped dialect by name, or one from a TOML file; raises InputError with every fault."""
    shipped = shipped_dialects()
    where = str(name)
    if where in shipped:
        text = (files("palletwright.cycle") / "dialects" / f"{where}.toml").read_text(encoding="utf-8")
    else:
        try:
            text = Path(name).read_text(encoding="utf-8")
        except OSError as error:
            allowed = "a TOML file, or one of " + ", ".join(shipped)
            raise InputError([Fault(where, "", "", "no such dialect", allowed)]) from error
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError([Fault(where, "", "", f"isn't TOML: {error}")]) from error
    return _checked(where, data)


def _checked(where: str, data: dict[str, object]) -> Dialect:
    kinds = {key: str(kind) for key, kind in Dialect.__annotations__.items()}
    native: dict[str, type] = {"str": str, "int": int, "bool": bool, "tuple[str, ...]": list}
    faults = [Fault(where, key, str(data[key]), "unknown key", ", ".join(kinds)) for key in data if key not in kinds]
    for key, kind in kinds.items():
        if key not in data:
            faults.append(Fault(where, key, "", "is missing", kind))
        elif type(data[key]) is not native[kind]:
            faults.append(Fault(where, key, str(data[key]), "has the wrong type", kind))
    if faults:
        raise InputError(faults)
    offsets = data.pop("offsets")
    assert isinstance(offsets, list)
    return Dialect(offsets=tuple(map(str, offsets)), **data)  # type: ignore[arg-type]
