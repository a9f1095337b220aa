"""What every check answers with: a margin in numbers, or a reason in words and numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Vec = tuple[float, float, float]

Status = Literal["ok", "infeasible", "unproven", "stopped_early"]


@dataclass(frozen=True, slots=True)
class Margin:
    """One check of one thing against one other thing.

    `need` and `have` are in `unit`; the check passes when `have >= need`. `where` is a point in the machine
    frame (mm) unless `frame` says otherwise. `obstacle` names what it was measured to.
    """

    check: str
    subject: str
    obstacle: str
    need: float
    have: float
    unit: str
    where: Vec | None = None
    frame: str = "machine"
    note: str = ""

    @property
    def passed(self) -> bool:
        return self.have >= self.need

    @property
    def spare(self) -> float:
        """How much more there is than is needed; negative is the shortfall."""
        return self.have - self.need


@dataclass(frozen=True, slots=True)
class Reason:
    """Why something was chosen, turned down or left over. `amount` with `unit` says by how much."""

    about: str
    text: str
    amount: float | None = None
    unit: str = ""
