"""What all data that people write has in common: frozen, checked when it is made, all faults named."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

from palletwright.units import Length

Name = Annotated[str, Field(min_length=1, max_length=80)]
Positive = Annotated[Length, Field(gt=0)]

Problem = tuple[str, str, str]
"""Key (dotted), what is wrong, what is allowed."""


class Model(BaseModel):
    """Frozen data that is valid if it exists: `problems` names everything that its own fields contradict."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=False)

    def problems(self) -> Iterator[Problem]:
        yield from ()

    @model_validator(mode="after")
    def _sensible(self) -> Self:
        found = list(self.problems())
        if found:
            text = "; ".join(f"{key}: {problem}; allowed: {allowed}" for key, problem, allowed in found)
            raise PydanticCustomError("problems", "{text}", {"text": text, "problems": found})
        return self


def repeated(kind: str, ids: Iterable[object]) -> Iterator[Problem]:
    """One problem for each id that occurs more than once, at its later places (counted from 0)."""
    first: dict[object, int] = {}
    for at, one in enumerate(ids):
        if first.setdefault(one, at) != at:
            yield f"{kind}.{at}", f"{one} is there already as {kind} {first[one] + 1}", "each only once"


def plain(name: str) -> str:
    """A name without case, blanks and dashes, for comparing."""
    return "".join(c for c in name.casefold() if c.isalnum())
