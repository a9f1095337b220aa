"""Will it hold, how well, and what gives first."""

from palletwright.holding.advice import Prices, prices_of
from palletwright.holding.answer import hold, solve_case
from palletwright.holding.bearable import bearable
from palletwright.holding.case import Case, case_of, read_case
from palletwright.holding.certify import certify, floor_of
from palletwright.holding.chain import Screws
from palletwright.holding.compiled import compile_kernels
from palletwright.holding.loads import StationCut, in_station, loads_of, wrenches
from palletwright.holding.model import HoldingReport, Window, Wrench
from palletwright.holding.mounting import ChainReport, chain_of, loose_pieces
from palletwright.holding.moves import Motion, motions
from palletwright.holding.place import PlaceError, place_errors
from palletwright.holding.turning_mount import PlacedCut

__all__ = [
    "Case",
    "ChainReport",
    "HoldingReport",
    "Motion",
    "PlaceError",
    "PlacedCut",
    "Prices",
    "Screws",
    "StationCut",
    "Window",
    "Wrench",
    "bearable",
    "case_of",
    "certify",
    "chain_of",
    "compile_kernels",
    "floor_of",
    "hold",
    "in_station",
    "loads_of",
    "loose_pieces",
    "motions",
    "place_errors",
    "prices_of",
    "read_case",
    "solve_case",
    "wrenches",
]
