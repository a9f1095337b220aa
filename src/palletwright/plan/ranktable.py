"""A ranking as text: what the command line prints."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

COLUMNS = ("place", "job", "saving an hour", "range", "saving a year", "hours to build", "capital", "parts a start")


def ranking_rows(data: Mapping[str, Any]) -> list[tuple[str, ...]]:
    """One row a ranked job, the columns of `COLUMNS`; places that tie share the place of their first, with an `=`."""
    rows: list[tuple[str, ...]] = []
    shared = [r["tie"] for r in data["jobs"]]
    for r in data["jobs"]:
        low, high = r["range_per_hour"]
        rows.append(
            (
                f"{r['tie']}{'=' if shared.count(r['tie']) > 1 else ''}",
                str(r["name"]),
                f"{r['saving_per_hour']:,.0f}",
                f"{low:,.0f} to {high:,.0f}",
                f"{r['saving_per_year']:,.0f}",
                f"{r['building_hours']:,.0f}",
                f"{r['capital']:,.0f}",
                "" if r["parts_per_start"] is None else f"{r['parts_per_start']:g}",
            )
        )
    return rows


def ranking_notes(data: Mapping[str, Any]) -> Sequence[str]:
    """What must be said beside the table: proof, ties, the chosen within limits, what failed or is not known."""
    names = {r["id"]: str(r["name"]) for r in data["jobs"]}
    proof = "no other of known saving can enter these" if data["proven"] else "not proven: others may belong here"
    rows = [f"{data['count']} jobs; {proof}"]
    if len({r["tie"] for r in data["jobs"]}) < len(data["jobs"]):
        rows.append("= places are closer than their error: a tie")
    limits = {k.replace("_", " "): v for k, v in data["limits"].items() if v is not None}
    if limits:
        within = ", ".join(f"{k} {v:,.0f}" for k, v in limits.items())
        rows.append(
            f"within {within}: {', '.join(names[i] for i in data['chosen']) or 'none'}; saves "
            f"{data['chosen_saving_per_year']:,.0f} a year, no set of the list more than {data['chosen_at_most']:,.0f}"
        )
    rows += [f"failed: {r['name']} ({r['id']}): {r['why']}" for r in data["failed"]]
    rows += [f"no fixture: {r['name']} ({r['id']}): {r['why']}" for r in data["without_fixtures"]]
    rows += [f"not known: {r['name']} ({r['id']}): {r['why']}" for r in data["unknown"]]
    rows += [f"passed its bound (an assumption is broken): {i}" for i in data["bounds_passed"]]
    return rows
