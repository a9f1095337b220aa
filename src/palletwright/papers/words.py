"""What the papers say, in the language of the shop, and numbers as that language writes them."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from palletwright.errors import Fault, InputError

MM_PER_INCH = 25.4
UNITS = ("mm", "inch")


@cache
def _messages() -> dict[str, dict[str, str]]:
    text = files("palletwright.papers").joinpath("data", "words.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def languages() -> tuple[str, ...]:
    """Languages that the message file has."""
    return tuple(sorted(_messages()["languages"]))


@dataclass(frozen=True, slots=True)
class Words:
    """The texts of one language, with lengths in `unit` ("mm" or "inch").

    Raises InputError for a language or unit that isn't there.
    """

    language: str = "en"
    unit: str = "mm"

    def __post_init__(self) -> None:
        faults = []
        if self.language not in languages():
            faults.append(Fault("papers", "language", self.language, "isn't translated", ", ".join(languages())))
        if self.unit not in UNITS:
            faults.append(Fault("papers", "unit", self.unit, "isn't a unit of the papers", ", ".join(UNITS)))
        if faults:
            raise InputError(faults)

    def say(self, key: str, **values: object) -> str:
        """The text of `key` with its values filled in; a key that the file lacks is a fault of ours: KeyError."""
        return _messages()[key][self.language].format(**values)

    def number(self, value: float | None, digits: int = 0) -> str:
        """A number with `digits` decimals as the language writes it; unknown is said."""
        if value is None:
            return self.say("unknown")
        text = f"{value:,.{digits}f}"
        if text.strip("-0.,") == "":
            text = text.lstrip("-")
        comma = self.say("decimal")
        return text.replace(",", "\u202f").replace(".", comma)

    def length(self, mm: float | None, digits: int = 2) -> str:
        """A length without its unit: mm, or inches with one decimal more."""
        if mm is None:
            return self.say("unknown")
        return self.number(mm, digits) if self.unit == "mm" else self.number(mm / MM_PER_INCH, digits + 1)

    @property
    def length_unit(self) -> str:
        """The unit's short name as it stands in table heads."""
        return "mm" if self.unit == "mm" else "in"
