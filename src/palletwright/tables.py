"""What the command line prints as tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from rich.table import Table

from palletwright.flow.compare import ties
from palletwright.plan.money import nothing_bought
from palletwright.plan.ranktable import COLUMNS as RANKED
from palletwright.plan.ranktable import ranking_rows


def number(value: float | None, digits: int = 2) -> str:
    """A number for a table; unknown is said."""
    return "unknown" if value is None else f"{value:,.{digits}f}"


COLUMNS = (
    ("", "left"),
    ("parts\na start", "right"),
    ("starts\na part", "right"),
    ("spindle\nmin a part", "right"),
    ("attended\nmin a part", "right"),
    ("alone\nmin a start", "right"),
    ("cost\na part", "right"),
    ("capital", "right"),
    ("payback\nmonths", "right"),
    ("clearance\nmm", "right"),
    ("holding\nfactor", "right"),
)


def shown(data: dict[str, Any]) -> list[dict[str, Any]]:
    """The first five ways, and the first that buys nothing."""
    free = [w for w in data["plans"][5:] if nothing_bought(w["bill"])]
    return [*data["plans"][:5], *free[:1]]


def tied(data: dict[str, Any]) -> dict[str, str]:
    """By plan's name, the plan before it that it ties with in cost."""
    names = [w["name"] for w in data["plans"]]
    return {name: names[at] for name, at in zip(names, ties(data["plans"]), strict=True) if names[at] != name}


def plan_table(data: dict[str, Any]) -> Table:
    """Today against the best plans, the same units side by side."""
    currency = data["shop"]["rates"]["currency"]
    table = Table(
        title=f"{data['title']} (money in {currency})", title_justify="left", pad_edge=False, collapse_padding=True
    )
    for name, justify in COLUMNS:
        table.add_column(name, justify="left" if justify == "left" else "right", no_wrap=True)
    for way in (data["today"], *shown(data)):
        back = (way["payback"] or {}).get("months")
        sets = way["design"]["sets"] if way["design"] else 0
        table.add_row(
            way["name"] + (f", {sets} set{'s' if sets > 1 else ''}" if sets else ""),
            number(way["parts_per_start"]),
            number(way["starts_per_part"], 3),
            number(way["spindle_minutes_per_part"]),
            number(way["attended_minutes_per_part"]),
            number(way["unattended_minutes"], 0),
            number(way["cost_per_part"]),
            number(way["capital"], 0) if sets else "",
            (f"{back:.1f}" if back is not None else "none") if sets else "",
            number(way["least_clearance_mm"], 1),
            number(way["least_holding_factor"], 1),
        )
    return table


TIMED = ("tool", "times in", "cut s", "rapid s", "wait s", "index s", "rev/min", "feed mm/min")
CUT = ("tool", "cuts x mm", "y mm", "z mm")


def time_table(data: dict[str, Any]) -> Table:
    """A program's time by tool, with its speeds and feeds."""
    rows = [
        (
            str(tool["number"]),
            str(tool["changes"]),
            *(number(tool[f"{part}_seconds"], 1) for part in ("cut", "rapid", "wait", "index")),
            _span(*tool["speeds"]),
            _span(*tool["feeds"]),
        )
        for tool in data["tools"]
    ]
    return _right(TIMED, rows)


def extents_table(data: dict[str, Any]) -> Table:
    """Where each tool of a program cuts, work coordinates."""
    boxes = ((tool["number"], tool["extents_mm"]) for tool in data["tools"])
    return _right(CUT, [(str(n), *(_span(*box[axis]) for axis in "xyz")) for n, box in boxes if box])


def _right(head: Sequence[str], rows: Iterable[Sequence[str]]) -> Table:
    table = Table(pad_edge=False)
    for name in head:
        table.add_column(name, justify="right", no_wrap=True)
    for row in rows:
        table.add_row(*row)
    return table


def _span(*values: float) -> str:
    """The least and the greatest of some values, one where they are the same."""
    ends = list(dict.fromkeys(f"{round(v, 2) + 0.0:g}" for v in (min(values), max(values)))) if values else []
    return " to ".join(ends)


def ranking_table(data: dict[str, Any]) -> Table:
    """Jobs by what a dense fixture saves for each hour of building it."""
    table = Table(pad_edge=False)
    for i, name in enumerate(RANKED):
        table.add_column(name, justify="left" if i == 1 else "right")
    for row in ranking_rows(data):
        table.add_row(*row)
    return table
