"""What reach answers for a whole scene."""

from __future__ import annotations

from dataclasses import dataclass

from palletwright.verdict import Margin, Reason


@dataclass(frozen=True)
class ReachReport:
    """Least clearances of every tool at every station, travel, swing. `conflicts`: pairs of stations (or a
    station and a fixed body) that can't both stay."""

    margins: tuple[Margin, ...]
    conflicts: tuple[tuple[str, str], ...]
    least_clearance: float | None
    reasons: tuple[Reason, ...] = ()

    @property
    def passed(self) -> bool:
        return not self.conflicts and all(m.passed for m in self.margins)
