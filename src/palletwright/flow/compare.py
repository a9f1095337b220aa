"""Two ways side by side in the same units, today included, from the plain data of saved plans."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

from palletwright.flow.batch import lead_seconds
from palletwright.flow.money import INSPECT_FIRST_MINUTES
from palletwright.flow.returns import SPREAD

TIME_ERROR = 0.25
"""± fraction of times that come from geometry alone: common practice, no source. Nearer ways are ties."""

EXACT = 1e-9

COST_TIE = 0.03
"""Ways of one plan within this fraction of cost tie: the error of their cutting times is shared by all of them, and
what isn't shared is about as much (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Measure:
    """One thing compared: its key in a way, title, unit, which side is better, and the ± fraction of its error."""

    key: str
    title: str
    unit: str
    better: Literal["less", "more"]
    error: float = 0.0


MEASURES = (
    Measure("parts_per_start", "Finished parts a start", "parts", "more"),
    Measure("starts_per_part", "Starts per part", "starts", "less"),
    Measure("spindle_minutes_per_part", "Spindle time a part", "min", "less", TIME_ERROR),
    Measure("attended_minutes_per_part", "Attended time a part", "min", "less", TIME_ERROR),
    Measure("unattended_minutes", "Longest time alone", "min", "more", TIME_ERROR),
    Measure("cost_per_part", "Cost a part", "money", "less"),
    Measure("capital", "Capital for fixtures", "money", "less", 0.30),
    Measure("payback_months", "Payback", "months", "less", TIME_ERROR),
    Measure("lead_hours", "Lead time of a batch", "h", "less", TIME_ERROR),
    Measure("floor_pile", "Parts half done on the floor", "parts", "less"),
    Measure("least_clearance_mm", "Least clearance", "mm", "more"),
    Measure("least_holding_factor", "Least holding factor", "", "more", 0.01),
)


@dataclass(frozen=True, slots=True)
class Row:
    """One measure of two ways. None is not known. `ratio` = b / a. `better`: which one, or that they tie."""

    key: str
    title: str
    unit: str
    a: float | None
    b: float | None
    today: float | None
    difference: float | None
    ratio: float | None
    better: Literal["a", "b", "tie", "not known"]
    note: str = ""


def way_of(plan: Mapping[str, Any], name: str | None = None) -> dict[str, Any]:
    """A way of a plan's data by its name; None takes the best; "today" is one of them.

    Raises ValueError that lists the names.
    """
    ways = [*plan.get("plans", []), plan["today"]]
    if name is None:
        return dict(ways[0])
    found = next((w for w in ways if w["name"] == name), None)
    if found is None:
        raise ValueError(f"no way is called {name!r}; there are {', '.join(w['name'] for w in ways)}")
    return dict(found)


def numbers(plan: Mapping[str, Any], way: Mapping[str, Any]) -> dict[str, float | None]:
    """Every measure of one way; None where it isn't known."""
    found: dict[str, float | None] = {m.key: way.get(m.key) for m in MEASURES}
    back = way.get("payback")
    found["payback_months"] = back.get("months") if back else None
    batch = _batch(plan)
    found["lead_hours"] = _lead_hours(plan, way, batch) if batch else None
    found["floor_pile"] = _pile(way, batch)
    if way["name"] == "today":
        found["capital"] = 0.0
    return found


def _batch(plan: Mapping[str, Any]) -> int | None:
    job = plan.get("job", {})
    if job.get("batch"):
        return int(job["batch"])
    return max(1, round(job["per_year"] / 12)) if job.get("per_year") else None


def _lead_hours(plan: Mapping[str, Any], way: Mapping[str, Any], batch: int) -> float | None:
    """Hours of one batch, set-ups and first article included, one cycle after the other."""
    setup = _setup_hours(plan, way, batch)
    steps = _steps(way)
    return None if setup is None or not steps else setup + lead_seconds(batch, steps) / 3600.0


def _setup_hours(plan: Mapping[str, Any], way: Mapping[str, Any], batch: int) -> float | None:
    """Hours of set-up and first article a batch: as told for today, else what the cost's set-up money stands for."""
    if way["name"] == "today":
        return sum(float(s["setup_hours"]) for s in way.get("operations", ())) + INSPECT_FIRST_MINUTES / 60.0
    shop, design, cost = plan.get("shop", {}), way.get("design"), way.get("cost")
    machine = next((m for m in shop.get("machines", ()) if design and m["id"] == design["machine"]), None)
    if machine is None or not cost:
        return None
    return float(cost["setup"] * batch / (machine["rate"] + shop["rates"]["operator"]))


def _steps(way: Mapping[str, Any]) -> list[tuple[float, float, float]]:
    """(parts a start, s a start, 0) of every cycle that a batch passes through; set-ups are counted apart."""
    if way["name"] == "today":
        return [(s["parts_per_start"], s["cycle_seconds"] + s["load_seconds"], 0.0) for s in way.get("operations", ())]
    timing, cycles = way.get("timing"), (way.get("cycle") or {}).get("cycles", [])
    if not timing or not cycles:
        return []
    # Each cycle's share of the handling goes with its share of the machine's time: the sum is the way's own.
    per_part = timing["start_seconds"] / timing["parts_per_start"]
    whole = sum(c["seconds"] / c["parts"] for c in cycles)
    return [(c["parts"], per_part * (c["seconds"] / c["parts"] / whole) * c["parts"], 0.0) for c in cycles]


def _pile(way: Mapping[str, Any], batch: int | None) -> float | None:
    """Parts half done at the worst: the whole batch between cycles; n · (ops - 1) where one cycle holds every op."""
    operations = way.get("operations") or ()
    if not operations:
        return None
    if way["name"] == "today":
        return None if batch is None else float(batch if len(operations) > 1 else 0)
    cycles = (way.get("cycle") or {}).get("cycles", [])
    if len(cycles) > 1:
        return None if batch is None else float(batch)
    made = way.get("parts_per_start")
    return None if made is None else made * (len(operations) - 1)


def _row(m: Measure, a: float | None, b: float | None, now: float | None, tied: bool) -> Row:
    if a is None or b is None:
        missing = " and ".join(who for who, v in (("a", a), ("b", b)) if v is None)
        return Row(m.key, m.title, m.unit, a, b, now, None, None, "not known", f"not known for {missing}")
    near = abs(a - b) <= max(m.error * max(abs(a), abs(b)), EXACT)
    if near or tied:
        better: Literal["a", "b", "tie"] = "tie"
    else:
        better = "a" if (a < b) == (m.better == "less") else "b"
    note = "closer than the error" if better == "tie" and abs(a - b) > EXACT else ""
    return Row(m.key, m.title, m.unit, a, b, now, b - a, b / a if a else None, better, note)


def compare_ways(
    plan_a: Mapping[str, Any],
    plan_b: Mapping[str, Any],
    *,
    way_a: str | None = None,
    way_b: str | None = None,
) -> tuple[Row, ...]:
    """Rows of two ways side by side, with today's way of the first plan beside them.

    Parameters
    ----------
    plan_a, plan_b : data of two plan.json, or of one twice
    way_a, way_b : names of ways in them ("plan 2", "today"); None: the best one

    Costs that lie within each other's range are a tie, and so are times nearer than their ± 25 %. Starts never
    stand alone: attended time and cost are always rows too. Raises ValueError for an unknown name.
    """
    a, b = way_of(plan_a, way_a), way_of(plan_b, way_b)
    in_a, in_b, now = numbers(plan_a, a), numbers(plan_b, b), numbers(plan_a, plan_a["today"])
    rows = [
        _row(m, in_a[m.key], in_b[m.key], now[m.key], m.key == "cost_per_part" and _overlap(a, b)) for m in MEASURES
    ]
    kinds_a, kinds_b, kinds_now = (_kinds(w) for w in (a, b, plan_a["today"]))
    for kind in dict.fromkeys((*kinds_a, *kinds_b)):
        m = Measure(f"cost_{kind}", f"  of it {kind}", "money", "less", SPREAD.get(KIND_SPREAD.get(kind, ""), 0.0))
        rows.append(_row(m, kinds_a.get(kind), kinds_b.get(kind), kinds_now.get(kind), False))
    return tuple(rows)


def ties(ways: Sequence[Mapping[str, Any]]) -> list[int]:
    """For each way of one plan, in their order, the place (from 0) of the first that it ties with in cost; its own
    place where it ties with none before it. A tie holds neighbours that are all within 3 % of its cheapest."""
    first, places = 0, list[int]()
    for at, way in enumerate(ways):
        cost = way.get("cost_per_part")
        group = [w["cost_per_part"] for w in ways[first:at]]
        if at == 0 or cost is None or None in group or max(cost, *group) > min(cost, *group) * (1 + COST_TIE):
            first = at
        places.append(first)
    return places


def _overlap(a: Mapping[str, Any], b: Mapping[str, Any]) -> bool:
    """Whether each way's cost lies within the other's range: closer than their error."""
    if not a.get("cost_range") or not b.get("cost_range"):
        return False
    low_a, high_a = a["cost_range"]
    low_b, high_b = b["cost_range"]
    return bool(low_a <= b["cost_per_part"] <= high_a and low_b <= a["cost_per_part"] <= high_b)


KIND_SPREAD = {
    "machine": "planned cutting time",
    "labour": "planned loading time",
    "tools": "planned cutting time",
    "fixture": "fixture cost",
    "setup": "planned set-up",
    "scrap": "planned scrap",
}
"""Which spread is a kind's error between two ways. Prices of material and the bench's times are shared by both."""

KINDS = ("material", "machine", "labour", "tools", "fixture", "setup", "bench", "wash", "inspection", "scrap")


def _kinds(way: Mapping[str, Any]) -> dict[str, float]:
    cost = way.get("cost") or {}
    return {k: cost[k] for k in KINDS if k in cost}


def warnings(plan_a: Mapping[str, Any], plan_b: Mapping[str, Any]) -> tuple[str, ...]:
    """What makes a comparison of two plans lame: another part, demand, batch, rates or seed."""
    rows = []
    for key in ("part", "per_year", "batch", "material"):
        a, b = plan_a.get("job", {}).get(key), plan_b.get("job", {}).get(key)
        if a != b:
            rows.append(f"the jobs differ in {key}: {a} and {b}")
    if plan_a.get("shop", {}).get("rates") != plan_b.get("shop", {}).get("rates"):
        rows.append("the shops' rates differ: costs don't stand on the same ground")
    return tuple(rows)


def compare(
    plan_a: Mapping[str, Any],
    plan_b: Mapping[str, Any],
    *,
    way_a: str | None = None,
    way_b: str | None = None,
) -> dict[str, Any]:
    """`compare_ways` as plain data with the ways' names, the currency and the warnings, for JSON and tables."""
    rows = compare_ways(plan_a, plan_b, way_a=way_a, way_b=way_b)
    return {
        "a": {"title": plan_a.get("title", ""), "way": way_of(plan_a, way_a)["name"]},
        "b": {"title": plan_b.get("title", ""), "way": way_of(plan_b, way_b)["name"]},
        "currency": plan_a.get("shop", {}).get("rates", {}).get("currency", ""),
        "rows": [asdict(r) for r in rows],
        "warnings": list(warnings(plan_a, plan_b)),
    }


def table(data: Mapping[str, Any]) -> Sequence[tuple[str, str, str, str, str]]:
    """(what, a, b, today, better) as text, one line a row: what the command line prints."""
    money = data.get("currency") or "money"

    def text(value: float | None, unit: str) -> str:
        if value is None:
            return "not known"
        digits = 0 if value == 0 or abs(value) >= 100 else 2 if abs(value) >= 0.1 else 4
        return f"{value:,.{digits}f} {money if unit == 'money' else unit}".strip()

    names = {"a": "first", "b": "second"}
    return [
        (
            r["title"],
            text(r["a"], r["unit"]),
            text(r["b"], r["unit"]),
            text(r["today"], r["unit"]),
            names.get(r["better"], r["better"]),
        )
        for r in data["rows"]
    ]
