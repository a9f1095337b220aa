"""Units at the edges: a tagged text or a bare number becomes mm, N, kg, s, kW, N·m."""

from __future__ import annotations

import math
import re
from functools import cache
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, ValidationInfo, WithJsonSchema

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?"
_QUANTITY = re.compile(
    rf"^(?:(?P<whole>[+-]?\d+)[ -])?(?P<top>\d+)/(?P<bottom>\d+)(?P<of>\s*\D.*)?$|^(?P<number>{_NUMBER})(?P<unit>.*)$"
)
_UNIT = re.compile(r"^[A-Za-zµ]{1,24}(?:[·*/ ][A-Za-zµ]{1,24}){0,3}(?:\^?[23]|²|³)?$")


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


@cache
def _factor(text: str, unit: str) -> float:
    """How many `unit` one `text` is. Raises ValueError with what is allowed."""
    plain = text.replace("″", "in").replace('"', "in").replace("²", "^2").replace("³", "^3").replace("·", "*")
    if not _UNIT.match(plain):
        raise ValueError(f"can't read the unit {text!r}; allowed is anything that converts to {unit}")
    try:
        return float(_registry().Quantity(1.0, plain).to(unit).magnitude)
    except Exception as error:
        raise ValueError(f"has unit {text!r}; allowed is anything that converts to {unit}") from error


def _split(text: str, unit: str) -> tuple[float, str]:
    """Number and unit text of `38 mm`, `1.5in`, `3/8 in` or `1 1/2 in`."""
    found = _QUANTITY.match(text.strip())
    if found is None:
        raise ValueError(f"can't read a quantity; allowed is a number or a text such as '38 {unit}'")
    if found["number"] is not None:
        return float(found["number"]), found["unit"].strip()
    if int(found["bottom"]) == 0:
        raise ValueError("divides by zero; allowed is a fraction such as '3/8 in'")
    part = int(found["top"]) / int(found["bottom"])
    whole = float(found["whole"] or 0)
    value = whole - part if (found["whole"] or "").startswith("-") else whole + part
    return value, (found["of"] or "").strip()


def to(value: object, unit: str, bare: str | None = None) -> float:
    """`value` in `unit`: a number counts in `bare` (default `unit`), a text carries its own unit.

    Parameters
    ----------
    value : a number, or a text such as `38 mm`, `1.5 in`, `3/8 in`
    unit : the unit of the answer
    bare : the unit of a number that names none

    Raises ValueError with what is allowed when the text can't be read, has another dimension or isn't finite.
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError(f"needs a number or a text with a unit; allowed is a number or a text such as '38 {unit}'")
    number, named = _split(value, unit) if isinstance(value, str) else (float(value), "")
    named = named or bare or unit
    answer = number if named == unit else number * _factor(named, unit)
    if not math.isfinite(answer):
        raise ValueError("isn't a finite number; allowed is a finite number")
    return answer


def _reader(unit: str, by_context: str | None = None) -> BeforeValidator:
    def read(value: Any, info: ValidationInfo) -> float:
        bare = (info.context or {}).get(by_context) if by_context else None
        return to(value, unit, bare)

    return BeforeValidator(read)


def _schema(unit: str) -> WithJsonSchema:
    return WithJsonSchema(
        {
            "anyOf": [{"type": "number"}, {"type": "string"}],
            "description": f"number or text with unit; in {unit}",
        }
    )


Length = Annotated[float, _reader("mm", "length"), _schema("mm")]
Force = Annotated[float, _reader("N"), _schema("N")]
Mass = Annotated[float, _reader("kg"), _schema("kg")]
Torque = Annotated[float, _reader("N*m"), _schema("N·m")]
Power = Annotated[float, _reader("kW"), _schema("kW")]
Speed = Annotated[float, _reader("mm/min"), _schema("mm/min")]
Money = Annotated[float, Field(ge=0)]
