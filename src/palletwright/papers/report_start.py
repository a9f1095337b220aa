"""What has to be bought, made, set and checked before the first start."""

from __future__ import annotations

from html import escape
from typing import Any

from palletwright.papers.report_words import Data, Html, bullets, num, plural, sig, table


def start(data: Data, best: Data) -> Html:
    """Money, machine, tools, and the first start."""
    return Html(
        f"<h3>Bought and made</h3>{_bill(data, best)}"
        + f"<h3>In the machine</h3>{bullets(_machine(data, best))}"
        + f"<h3>Tools</h3>{_tools(data, best)}"
        + f"<h3>The first start</h3>{bullets(_first(best))}"
    )


def _bill(data: Data, best: Data) -> Html:
    currency = data["shop"]["rates"]["currency"]
    if not best["bill"]:
        return Html("<p>The plan names nothing to buy or make.</p>")
    rows: list[tuple[Any, ...]] = [(name, num(money, 0)) for name, money in best["bill"]]
    rows.append((Html(f"<b>together, {escape(plural(best['design']['sets'], 'set'))}</b>"), num(best["capital"], 0)))
    return table(("what", currency), rows, "tight")


def _machine(data: Data, best: Data) -> list[str]:
    design = best["design"]
    names = {m["id"]: m["name"] or m["id"] for m in data["shop"]["machines"]}
    rows = [f"{design['machine']}: {names.get(design['machine'], design['machine'])}"]
    for p in design["placings"]:
        where = f"at x {p['at'][0]:g}, y {p['at'][1]:g} mm" if p["kind"] != "pallet" else "on the rotary axis"
        sides = f", {plural(p['sides'], 'side')}" if p["kind"] == "pallet" else ""
        cycle = f", cycle {p['cycle'] + 1}" if any(q["cycle"] for q in design["placings"]) else ""
        rows.append(f"{p['carrier']}{sides} {where}{cycle}")
    rows.append(f"{plural(len(design['stations']), 'station')} a set, {plural(design['sets'], 'set')}")
    if best["timing"].get("load_basis"):
        rows.append(f"loading counted from {best['timing']['load_basis']}")
    return rows


def _tools(data: Data, best: Data) -> Html:
    used = sorted({t for o in best["operations"] for t in o["tools"]})
    known = {t["number"]: t for t in data["shop"]["tools"]}
    rows = []
    for number in used:
        tool = known.get(number)
        where = ", ".join(str(o["number"]) for o in best["operations"] if number in o["tools"])
        rows.append(
            (f"T{number}", tool["name"], tool["holder"]["id"], sig(tool["stick_out"]), where)
            if tool
            else (f"T{number}", "unknown", "unknown", "unknown", where)
        )
    return table(("tool", "cutter", "holder", "stick-out, mm", "operation"), rows, "words")


def _first(best: Data) -> list[str]:
    close = [m for m in best["margins"] if m["check"] == "tool clearance" and m["have"] is not None]
    rows = [
        "touch off every locating face and compare it with the plan before a tool moves",
        "index once round at safe height with nothing in the spindle and every part clamped",
        "run single-block at reduced rapid, one station of each operation, then the rest",
    ]
    if close:
        m = min(close, key=lambda m: m["have"] - m["need"])
        rows.append(f"watch {m['subject']} by {m['obstacle']}: {sig(m['have'], 'mm')} is the least clearance of a tool")
    if any(o.get("locating") == "assumed" for o in best["operations"]):
        rows.append("agree the locating faces with the drawing: they are assumed here")
    return rows
