"""Margins: the tightest of each check, the worst of each tool, and everything else behind a fold."""

from __future__ import annotations

import re
from html import escape

from palletwright.papers.report_words import Data, Html, folded, plural, sig, table

SHOWN = 3
HEAD = ("check", "of", "to", "needs", "has", "room over the need", "where")
A_TOOL = re.compile(r"\bT(\d+)\b")
OF_OPERATION = re.compile(r"^(?:operation )?(\d+)\b")


def room(margin: Data) -> float:
    """What is left over the need; unknown counts as the tightest."""
    return float("-inf") if margin["have"] is None else margin["have"] - margin["need"]


def told_once(margins: list[Data]) -> list[Data]:
    """Holding is checked by two rooms; equal answers stand once."""
    kept: dict[object, Data] = {}
    for m in margins:
        same = (m["check"], operation_of(m), m["need"], m["have"]) if m["check"] == "holding" else id(m)
        kept.setdefault(same, m)
    return list(kept.values())


def operation_of(margin: Data) -> str:
    """The operation that a margin belongs to, from its subject; empty where it belongs to the fixture."""
    found = OF_OPERATION.match(margin["subject"])
    return found.group(1) if found else ""


def tool_of(margin: Data) -> str:
    """The tool that a margin belongs to, or nothing."""
    found = A_TOOL.search(margin["subject"])
    return f"T{found.group(1)}" if found else ""


def margins(best: Data) -> Html:
    """What is tightest first; nothing is left out."""
    every = sorted(told_once(best["margins"]), key=room)
    if not every:
        return Html("<p>No margins are recorded for this plan: nothing is proven.</p>")
    short = [m for m in every if not m["passed"]]
    lead = (
        f"! {plural(len(short), 'margin')} of {len(every)} fall short."
        if short
        else f"All {len(every)} margins hold; a reported clearance is never above the true one."
    )
    checks = dict.fromkeys(m["check"] for m in every)
    tight = [m for c in checks for m in tightest([m for m in every if m["check"] == c])]
    shown = {id(m) for m in tight}
    return Html(
        f"<p>{lead} Here are the tightest of each check, at most {SHOWN}, one for each tool and operation.</p>"
        + _table(tight)
        + _tools(every)
        + _rest([m for m in every if id(m) not in shown])
    )


def tightest(rows: list[Data]) -> list[Data]:
    """The first few of one check that differ in more than the station, and all that fall short."""
    different: dict[object, Data] = {}
    for m in rows:
        of = tool_of(m) or re.sub(r"\d+$", "", m["subject"])
        different.setdefault(id(m) if not m["passed"] else (operation_of(m), of, m["need"]), m)
    return [m for i, m in enumerate(different.values()) if i < SHOWN or not m["passed"]]


def _table(rows: list[Data]) -> Html:
    return table(HEAD, [_row(m) for m in rows], "words margins", ["" if m["passed"] else "short" for m in rows])


def _row(m: Data) -> tuple[str, ...]:
    left = room(m)
    over = "unknown" if m["have"] is None else sig(left, m["unit"])
    return (
        m["check"] + ("" if m["passed"] else " – short"),
        m["subject"],
        m["obstacle"],
        sig(m["need"]),
        sig(m["have"]),
        over,
        m["note"],
    )


def _tools(every: list[Data]) -> Html:
    """One row a tool: its worst of each kind of clearance."""
    kinds = list(dict.fromkeys(m["check"] for m in every if tool_of(m)))
    worst: dict[str, dict[str, Data]] = {}
    for m in every:
        if name := tool_of(m):
            worst.setdefault(name, {}).setdefault(m["check"], m)
    if not worst:
        return Html("")
    rows = []
    for name in sorted(worst, key=lambda t: int(t[1:])):
        cells = []
        for kind in kinds:
            found = worst[name].get(kind)
            cells.append("–" if found is None else Html(f"{sig(found['have'])}{_small(found)}"))
        rows.append((name, *cells))
    return Html(f"<h3>The worst of each tool, mm</h3>{table(('tool', *kinds), rows, 'tight stacks')}")


def _small(m: Data) -> Html:
    to = m["obstacle"] if not m["check"].startswith("travel") else ""
    return Html(f"<small>{escape(to)}</small>") if to else Html("")


def _rest(rows: list[Data]) -> Html:
    groups: dict[str, list[Data]] = {}
    for m in rows:
        groups.setdefault(operation_of(m), []).append(m)
    if not groups:
        return Html("")
    parts = []
    for name in sorted(groups, key=lambda g: (g == "", int(g) if g else 0)):
        title = f"operation {name}" if name else "the fixture and the machine"
        parts.append(folded(f"{title}: {plural(len(groups[name]), 'more margin')}", _table(groups[name])))
    return Html("<h3>All the others</h3>" + "".join(parts))
