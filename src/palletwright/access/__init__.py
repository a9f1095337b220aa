"""Which directions reach what; features, how each is cut, and the fewest clampings that cut them all."""

from palletwright.access.analyse import analyse
from palletwright.access.clampings import Forbid
from palletwright.access.model import Access, Clamping, Feature, HoleStep, LeftOver, Route, Sequence
from palletwright.access.pictures import write_report
from palletwright.access.report import to_json
from palletwright.access.stages import cut_in, in_process

__all__ = [
    "Access",
    "Clamping",
    "Feature",
    "Forbid",
    "HoleStep",
    "LeftOver",
    "Route",
    "Sequence",
    "analyse",
    "cut_in",
    "in_process",
    "to_json",
    "write_report",
]
