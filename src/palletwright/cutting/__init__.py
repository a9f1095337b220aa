"""One cut: its conditions, its load, its time, and how far it bends the tool."""

from palletwright.cutting.conditions import conditions_for
from palletwright.cutting.deflection import deflection
from palletwright.cutting.load import load_of, mills_sideways
from palletwright.cutting.model import Conditions, Cut, Load, Stage
from palletwright.cutting.time import hole_seconds, mill_seconds, point_length

__all__ = [
    "Conditions",
    "Cut",
    "Load",
    "Stage",
    "conditions_for",
    "deflection",
    "hole_seconds",
    "load_of",
    "mill_seconds",
    "mills_sideways",
    "point_length",
]
