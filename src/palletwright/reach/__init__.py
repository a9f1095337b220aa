"""Every tool assembly against every body; travel; swing."""

from palletwright.reach.check import check
from palletwright.reach.loads import Force, Loads, MountLoad, loads
from palletwright.reach.model import ReachReport
from palletwright.reach.obstacles import Rasters
from palletwright.reach.stickout import StickOut, shortest_stick_out
from palletwright.reach.task import Task, nose_stack, wide_rows

__all__ = [
    "Force",
    "Loads",
    "MountLoad",
    "Rasters",
    "ReachReport",
    "StickOut",
    "Task",
    "check",
    "loads",
    "nose_stack",
    "shortest_stick_out",
    "wide_rows",
]
