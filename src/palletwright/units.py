"""Units at the edges: a tagged text or a bare number becomes mm, N, kg, s, kW, N·m."""

from __future__ import annotations

from functools import cache
from typing import Annotated, Any

from pydantic import BeforeValidator, ValidationInfo, WithJsonSchema


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


def to(value: object, unit: str, bare: str | None = None) -> float:
    """`value` in `unit`: a number counts in `bare` (default `unit`), a text carries its own unit.

    Raises ValueError with what is allowed when the text can't be read or has another dimension.
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError(f"needs a number or a text with a unit such as '38 {unit}'")
    if isinstance(value, str):
        try:
            quantity = _registry().Quantity(value.strip().replace("″", "in").replace('"', "in"))
        except Exception as error:
            raise ValueError(f"can't read a quantity; allowed is a number or a text such as '38 {unit}'") from error
        if quantity.dimensionless:
            value = float(quantity.magnitude)
        else:
            try:
                return float(quantity.to(unit).magnitude)
            except Exception as error:
                raise ValueError(f"has unit {quantity.units}; allowed is anything that converts to {unit}") from error
    if bare is None or bare == unit:
        return float(value)
    return float(_registry().Quantity(float(value), bare).to(unit).magnitude)


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
Money = Annotated[float, WithJsonSchema({"type": "number", "minimum": 0})]
