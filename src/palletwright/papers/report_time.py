"""The cycle on a time bar and in numbers."""

from __future__ import annotations

from palletwright.papers.drawn_cycle import cycle_more
from palletwright.papers.drawn_time import time_bar
from palletwright.papers.report_words import Data, Html, num, plural, table


def seconds_of(data: Data, best: Data) -> Html:
    """Every cycle of the plan: its bar, its tool runs, where the seconds go, and other orders of the same work."""
    if not best["cycle"]:
        return Html('<p class="note">No cycle was timed for this plan.</p>')
    cycles = best["cycle"]["cycles"]
    return Html("".join(_one(data, c, i, len(cycles)) for i, c in enumerate(cycles)))


def _one(data: Data, c: Data, i: int, count: int) -> str:
    proof = "provably the fewest" if c["tool_runs"] == c["least_tool_runs"] else f"at least {c['least_tool_runs']}"
    return (
        (f"<h3>Cycle {i + 1}</h3>" if count > 1 else "")
        + f"<p>{num(c['seconds'] / 60, 1)} minutes for {plural(c['parts'], 'part')}; no order takes less than "
        f"{num(c['bound'] / 60, 1)} minutes (a bound). {plural(c['tool_runs'], 'tool run')}, {proof}.</p>"
        + time_bar(c)
        + f"<div class='pair'><div><h3>By kind</h3>{_kinds(c)}{_orders(c)}</div><div><h3>By tool run</h3>"
        + f"{_runs(data, c)}</div></div>"
        + cycle_more(data, c)
    )


def _kinds(c: Data) -> Html:
    rows = [
        (k, num(v, 1), num(100 * v / c["seconds"], 1)) for k, v in sorted(c["by_kind"].items(), key=lambda r: -r[1])
    ]
    return table(("what", "s", "share, %"), rows, "tight")


def _orders(c: Data) -> Html:
    if not c["other_orders"]:
        return Html("")
    rows = [(name, num(s, 0), f"{num(s - c['seconds'], 0)} more") for name, s in c["other_orders"]]
    return Html(f"<h3>Other orders of the same work</h3>{table(('order', 's', 'against this'), rows, 'tight')}")


def _runs(data: Data, c: Data) -> Html:
    known = {t["number"]: t["name"] for t in data["shop"]["tools"]}
    runs: list[tuple[int, float, float, set[float]]] = []
    for e in c["events"]:
        if not runs or runs[-1][0] != e["tool"]:
            runs.append((e["tool"], 0.0, 0.0, set()))
        tool, cut, other, angles = runs[-1]
        cuts = e["what"] == "cut"
        runs[-1] = (
            tool,
            cut + e["seconds"] * cuts,
            other + e["seconds"] * (not cuts),
            angles | {e["angle"]} if cuts else angles,
        )
    rows = [
        (f"T{t} {known.get(t) or ''}", num(cut, 0), num(other, 0), ", ".join(f"{a:g}°" for a in sorted(angles)))
        for t, cut, other, angles in runs
    ]
    return table(("tool", "cutting, s", "other, s", "at"), rows, "tight")
