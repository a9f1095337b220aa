"""Will it hold, how well, and what gives first."""

from palletwright.holding.answer import hold, solve_case
from palletwright.holding.case import Case, case_of, read_case
from palletwright.holding.certify import certify, floor_of
from palletwright.holding.loads import StationCut, in_station, loads_of, wrenches
from palletwright.holding.model import HoldingReport, Wrench

__all__ = [
    "Case",
    "HoldingReport",
    "StationCut",
    "Wrench",
    "case_of",
    "certify",
    "floor_of",
    "hold",
    "in_station",
    "loads_of",
    "read_case",
    "solve_case",
    "wrenches",
]
