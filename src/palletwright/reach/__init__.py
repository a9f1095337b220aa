"""Every tool assembly against every body; travel; swing."""

from palletwright.reach.check import check
from palletwright.reach.model import ReachReport
from palletwright.reach.obstacles import Rasters
from palletwright.reach.task import Task, nose_stack, wide_rows

__all__ = ["Rasters", "ReachReport", "Task", "check", "nose_stack", "wide_rows"]
