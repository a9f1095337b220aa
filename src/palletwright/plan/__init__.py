"""Plan: the search over all rooms, ranking, reasons, and the plan as plain data."""

from palletwright.plan.checkup import Checked
from palletwright.plan.checkup import check as check_plan
from palletwright.plan.context import Context
from palletwright.plan.model import Design, OneMore, Plan, TurnedDown, Way
from palletwright.plan.planning import make, prepare
from palletwright.plan.record import read, to_dict, write

__all__ = [
    "Checked",
    "Context",
    "Design",
    "OneMore",
    "Plan",
    "TurnedDown",
    "Way",
    "check_plan",
    "make",
    "prepare",
    "read",
    "to_dict",
    "write",
]
