"""Tool order, motion times, programs read and written."""

from palletwright.cycle.curve import Curve, minutes_per_part_curve
from palletwright.cycle.order import order_visits
from palletwright.cycle.program_time import time_program
from palletwright.cycle.sequential import Ordered, sequential_order
from palletwright.cycle.tool_runs import Runs, least_tool_runs

__all__ = [
    "Curve",
    "Ordered",
    "Runs",
    "least_tool_runs",
    "minutes_per_part_curve",
    "order_visits",
    "sequential_order",
    "time_program",
]
