"""Edges in the program: which of a tool's sisters cuts at this start, counted over the starts, and when they are due.

A count for each tool whose life is known is kept by the control from run to run (numbered variables from #500 on keep
their values: from memory, unconfirmed; where a control loses them when it is switched off, the count begins again).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from palletwright.cycle.dialect import Dialect
from palletwright.cycle.program_job import ProgramJob, ToolLine

FIRST_CHOICE, FIRST_COUNT = 840, 900
"""Variables: for each edge of a tool with sisters which of them cuts; for each tool whose edges are counted the starts
made with those that are in."""

Condition = tuple[str, str]
"""The condition under which lines are carried out, and its opposite."""

Guarded = Callable[[Sequence[Condition], Sequence[str]], list[str]]


def edges_of(job: ProgramJob, tool: ToolLine) -> int:
    """How many edges of a tool one start takes."""
    return 1 + max((step.edge for step in job.steps if step.tool == tool.number), default=0)


def choices(job: ProgramJob) -> list[tuple[ToolLine, int]]:
    """Every tool with sisters, once for each edge that a start takes of it."""
    return [(tool, k) for tool in job.tools if tool.sisters for k in range(edges_of(job, tool))]


def choice_of(job: ProgramJob, tool: ToolLine, edge: int) -> str:
    """The words that say which tool cuts: its number, or the variable where it has sisters."""
    return f"#{FIRST_CHOICE + choices(job).index((tool, edge))}" if tool.sisters else f"{tool.number}"


def counted(job: ProgramJob) -> list[ToolLine]:
    """The tools whose starts are counted."""
    return [tool for tool in job.tools if tool.starts is not None]


def count_variable(job: ProgramJob, tool: ToolLine) -> int:
    """Starts made with the edges of a tool that are in the magazine."""
    return FIRST_COUNT + counted(job).index(tool)


def choice_lines(job: ProgramJob, kind: Dialect) -> list[str]:
    """The header's lines: what is used first; the count takes the next one when it is due."""
    lines = []
    for k, (tool, edge) in enumerate(choices(job)):
        options = (tool.number, *tool.sisters)
        which = f", edge {edge + 1} of a start" if edges_of(job, tool) > 1 else ""
        lines.append(kind.note(f"{tool.name}{which}: which of {', '.join(map(str, options))} is used first"))
        lines.append(f"#{FIRST_CHOICE + k} = {options[edge]}")
    return lines


def due_lines(job: ProgramJob, kind: Dialect, guarded: Guarded, first_start: Sequence[Condition]) -> list[str]:
    """Take the sisters whose turn it is, stop where none is left that can finish the start, and count this one.

    `first_start`: conditions under which the start is counted, so that a restart isn't.
    """
    lines: list[str] = []
    for tool in counted(job):
        assert tool.starts is not None
        count, options, each = f"#{count_variable(job, tool)}", (tool.number, *tool.sisters), edges_of(job, tool)
        groups = len(options) // each
        title = f"T{tool.number} {tool.name}: {tool.starts} starts an edge, {count} counts them"
        lines.append(kind.note(title))
        for g in range(1, groups):
            taken = [f"{choice_of(job, tool, k)} = {options[g * each + k]}" for k in range(each)]
            lines += guarded([_from(count, g * tool.starts)], taken)
        stop = [kind.alarm.format(number=1, text=f"T{tool.number}: FRESH EDGES ARE DUE"), kind.ask]
        lines += guarded([_from(count, groups * tool.starts)], stop)
        lines += guarded([*first_start, _from(count, 0)], [f"{count} = [{count} + 1]"])
    return lines


def _from(count: str, starts: int) -> Condition:
    return f"{count} GE {starts}", f"{count} LT {starts}"


def fresh_program(job: ProgramJob, kind: Dialect) -> str:
    """A program of its own that begins the counts again, once fresh edges are in."""
    lines = [kind.begin.format(number=job.number + 3), kind.note("fresh edges are in: their starts are counted anew")]
    lines += [kind.note("leave out the lines of tools that keep their edges"), kind.ask]
    for tool in counted(job):
        options = ", ".join(f"T{n}" for n in (tool.number, *tool.sisters))
        lines += [kind.note(f"{tool.name}: {options}"), f"#{count_variable(job, tool)} = 0"]
    return "\n".join([*lines, kind.end]) + "\n"
