"""Tool order, motion times, programs read and written."""

from palletwright.cycle.around import Around, with_fresh_edges
from palletwright.cycle.check_program import check_programs
from palletwright.cycle.curve import Curve, curve_of, minutes_per_part_curve
from palletwright.cycle.dialect import Dialect, read_dialect, shipped_dialects
from palletwright.cycle.for_machine import for_machine
from palletwright.cycle.forced import forced_groups
from palletwright.cycle.obstacles import clear_heights
from palletwright.cycle.order import order_visits
from palletwright.cycle.program_job import (
    CarrierId,
    Place,
    ProgramJob,
    ProgramRun,
    Step,
    ToolLine,
    WarmUp,
    cuts_by_tool,
    program_runs,
)
from palletwright.cycle.program_time import time_program
from palletwright.cycle.sequential import Ordered, sequential_order
from palletwright.cycle.single_part import Told, cutting_basis, in_program_order, place_of, program_seconds, told_times
from palletwright.cycle.skeleton import skeleton_job
from palletwright.cycle.tool_life import EdgePlan, Risk, edge_plan, edges_by_visit, parts_at_risk, switches_of
from palletwright.cycle.tool_runs import Runs, least_tool_runs
from palletwright.cycle.write import write_programs

__all__ = [
    "Around",
    "CarrierId",
    "Curve",
    "Dialect",
    "EdgePlan",
    "Ordered",
    "Place",
    "ProgramJob",
    "ProgramRun",
    "Risk",
    "Runs",
    "Step",
    "Told",
    "ToolLine",
    "WarmUp",
    "check_programs",
    "clear_heights",
    "curve_of",
    "cuts_by_tool",
    "cutting_basis",
    "edge_plan",
    "edges_by_visit",
    "for_machine",
    "forced_groups",
    "in_program_order",
    "least_tool_runs",
    "minutes_per_part_curve",
    "order_visits",
    "parts_at_risk",
    "place_of",
    "program_runs",
    "program_seconds",
    "read_dialect",
    "sequential_order",
    "shipped_dialects",
    "skeleton_job",
    "switches_of",
    "time_program",
    "told_times",
    "with_fresh_edges",
    "write_programs",
]
