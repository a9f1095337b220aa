"""A program job fitted to the machine that runs it."""

from __future__ import annotations

from dataclasses import replace

from palletwright.cycle.program_job import ProgramJob, WarmUp
from palletwright.scene import axis_vector
from palletwright.shop.model import Machine

LENGTH_CHECK = 1.0
"""mm by which a tool's measured length may differ from the plan: common practice, no source."""

WARM_UP = ((0.2, 0.5, 0.8), 120.0)
"""Fractions of the greatest speed one after the other, and s at each: common practice, no source."""

EDGE, DOWN = 20.0, 50.0
"""mm kept from the ends of the travel while warming up, and mm that Z then goes below its top."""

ZERO = "machine zero taken at the table's centre and the top of Z: measure a master point first"

NO_SETTER = (
    "where the tool setter stands isn't in the shop file: look at thin tools at the optional stop after their run"
)


def for_machine(job: ProgramJob, machine: Machine) -> ProgramJob:
    """The job with what follows from the machine: where the control counts from, its rotary axis, its tool setter, its
    work offsets, the comparison of tool lengths, a warm-up within its travel.

    The control's zero is taken at the table's centre in X and Y and at the top of Z (common practice, no source), and
    a caution says so: all offsets keep their distances from one another, so that one measured master point sets them
    right.
    """
    travel, rotary = machine.travel, machine.rotary
    fractions, seconds = WARM_UP
    low, high = (travel.x[0] + EDGE, travel.y[0] + EDGE, -DOWN), (travel.x[1] - EDGE, travel.y[1] - EDGE, 0.0)
    unplaced = machine.tool_setter and machine.setter_at is None and any(tool.fragile for tool in job.tools)
    made = replace(
        job,
        machine_zero=(0.0, 0.0, travel.z[1]),
        retract_z=0.0,
        length_check=LENGTH_CHECK,
        work_offsets=machine.work_offsets,
        setter=machine.setter_at if machine.tool_setter else None,
        warm_up=WarmUp(tuple(f * machine.spindle_speed for f in fractions), seconds, low, high),
        cautions=tuple(dict.fromkeys((*job.cautions, ZERO, *((NO_SETTER,) if unplaced else ())))),
    )
    if rotary is None:
        return made
    x, y, z = (float(v) for v in axis_vector(rotary))
    return replace(made, rotary_word=rotary.word, rotary_sign=rotary.sign, rotary_zero=rotary.zero, axis=(x, y, z))
