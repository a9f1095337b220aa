"""Everything that palletwright raises on purpose.

PalletwrightError
├── InputError          a file, key or value that can't be used: carries every fault found (exit code 2)
│   └── SolidError      a STEP file that gives no usable solid
└── NoPlan              the input is good, but no workable plan exists: carries the reasons (exit code 1)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from palletwright.verdict import Reason


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of an input: where it is, what stands there, what is wrong, and what is allowed."""

    file: str
    key: str
    value: str
    problem: str
    allowed: str = ""
    line: int | None = None

    def __str__(self) -> str:
        where = self.file if self.line is None else f"{self.file}, line {self.line}"
        what = f"{self.key} = {self.value}" if self.value else self.key
        text = f"{where}: {what}: {self.problem}" if self.key else f"{where}: {self.problem}"
        return f"{text}; allowed: {self.allowed}" if self.allowed else text


class PalletwrightError(Exception):
    """The root of all errors raised on purpose."""


class InputError(PalletwrightError):
    """One or more faults of what was handed in."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        if not faults:
            raise ValueError("an InputError needs at least one fault")
        self.faults = tuple(faults)
        super().__init__("\n".join(map(str, faults)))


class SolidError(InputError):
    """A STEP file that holds no solid that can be planned."""


class NoPlan(PalletwrightError):
    """Nothing workable exists; `reasons` say what stopped each way."""

    def __init__(self, reasons: Sequence[Reason]) -> None:
        self.reasons = tuple(reasons)
        super().__init__("no workable plan:\n" + "\n".join(f"  {r.about}: {r.text}" for r in reasons))
