"""Every tool assembly against every body; travel; swing."""

from palletwright.reach.check import check
from palletwright.reach.chips import Chips, Pocket, Spot, chips
from palletwright.reach.loading import Loading, Seat, Step, Thing, loading
from palletwright.reach.loads import Force, Loads, MountLoad, loads
from palletwright.reach.model import ReachReport
from palletwright.reach.obstacles import Rasters
from palletwright.reach.stickout import StickOut, shortest_stick_out
from palletwright.reach.task import Task, nose_stack, wide_rows

__all__ = [
    "Chips",
    "Force",
    "Loading",
    "Loads",
    "MountLoad",
    "Pocket",
    "Rasters",
    "ReachReport",
    "Seat",
    "Spot",
    "Step",
    "StickOut",
    "Task",
    "Thing",
    "check",
    "chips",
    "loading",
    "loads",
    "nose_stack",
    "shortest_stick_out",
    "wide_rows",
]
