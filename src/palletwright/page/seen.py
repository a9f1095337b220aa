"""What the page shows of a plan: the parts of its data that a view needs, and no more."""

from __future__ import annotations

import json
import math
from typing import Any

Data = dict[str, Any]

POINT = (
    *("name", "parts_per_start", "starts_per_part", "spindle_minutes_per_part", "attended_minutes_per_part"),
    *("unattended_minutes", "cost_per_part", "cost_range", "least_clearance_mm", "least_holding_factor"),
    *("capital", "payback", "timing", "cost", "bill", "reasons", "operations", "feasible"),
)
WHOLE = (
    *("title", "makeable", "part", "left_over", "turned_down", "one_more", "assumptions", "seed", "stopped_early"),
    *("versions", "seconds", "stages", "identity"),
)


NUMBERS = (
    *("parts_per_start", "starts_per_part", "spindle_minutes_per_part", "attended_minutes_per_part"),
    *("unattended_minutes", "cost_per_part", "least_clearance_mm", "least_holding_factor", "capital"),
)
CHECKED = {"changed": False, "checked": False, "foreign": True, "what": ""}


def readable(data: Any) -> None:
    """Read all that the page shows of a plan from elsewhere, so that what is missing is known before it is kept.

    Raises LookupError, TypeError, ValueError or AttributeError where something isn't as the planner writes it.
    """
    if not isinstance(data, dict) or not data["plans"]:
        raise ValueError("a plan is missing its ways")
    whole(data, [CHECKED] * len(data["plans"]))
    snippet(data)
    for shown in (data["today"], *data["plans"]):
        wrong = [k for k in NUMBERS if not _number(shown[k])]
        if wrong:
            raise ValueError(f"{wrong[0]} isn't a number")
    for shown in data["plans"]:
        one(data, shown)
        machine(data, shown)
        sheet(data, shown)
        if not all(_number(m[k]) for m in shown["margins"] for k in ("need", "have")):
            raise ValueError("a margin isn't a number")


def _number(value: Any) -> bool:
    return value is None or (isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value))


def whole(data: Data, states: list[Data]) -> Data:
    """The plan with every way as a point."""
    shop = data["shop"]
    ways = [
        {k: w[k] for k in POINT}
        | {
            "has_scene": bool(w["scene"]),
            "design": brief(w["design"]),
            "state": {k: s[k] for k in ("changed", "checked", "foreign", "what")},
        }
        for w, s in zip(data["plans"], states, strict=True)
    ]
    return {
        **{k: data[k] for k in WHOLE},
        "features": data["access"]["features"],
        "job": {k: data["job"][k] for k in ("name", "material", "per_year", "batch", "machines", "blank", "today")},
        "currency": shop["rates"]["currency"],
        "floors": shop["floors"],
        "rates": shop["rates"],
        "tools": {t["number"]: t["name"] or t["cutter"]["id"] for t in shop["tools"]},
        "today": {k: data["today"][k] for k in POINT},
        "ways": ways,
    }


def brief(design: Data | None) -> Data | None:
    """What a list of ways needs of a design."""
    if design is None:
        return None
    return {"machine": design["machine"], "sets": design["sets"], "stations": len(design["stations"]),
            "carriers": [p["carrier"] for p in design["placings"]]}  # fmt: skip


def one(data: Data, way: Data) -> Data:
    """One way with all that argues for it."""
    keys = (*POINT, "margins", "design")
    return {k: way[k] for k in keys} | {
        "packing": way.get("packing") or [],
        "today": None if way.get("today") is None else {k: way["today"][k] for k in POINT},
        "cycles": [bar(c) for c in (way["cycle"] or {"cycles": []})["cycles"]],
        "sides": [c["sides"] for c in (way["scene"] or {"cycles": []})["cycles"]],
    }


def bar(cycle: Data) -> Data:
    """A cycle as runs of one tool at one angle, each with its seconds by kind."""
    runs: list[Data] = []
    for e in cycle["events"]:
        at = (e["tool"], round(e["angle"] or 0.0, 3))
        if not runs or (runs[-1]["tool"], runs[-1]["angle"]) != at:
            runs.append(
                {"tool": at[0], "angle": at[1], "start": e["start"], "seconds": 0.0, "cut": 0.0, "stations": []}
            )
        run = runs[-1]
        run["seconds"] += e["seconds"]
        if e["what"] == "cut":
            run["cut"] += e["seconds"]
            if e["station"] not in run["stations"]:
                run["stations"].append(e["station"])
    return {
        k: cycle[k] for k in ("seconds", "bound", "tool_runs", "least_tool_runs", "by_kind", "other_orders", "parts")
    } | {"runs": runs}


def machine(data: Data, way: Data) -> Data | None:
    """The rotary axis that the picture turns about, and the machine's name."""
    design = way["design"]
    found = next((m for m in data["shop"]["machines"] if design and m["id"] == design["machine"]), None)
    if found is None:
        return None
    rotary = found["rotary"]
    axis = None
    if rotary is not None:
        axis = {
            "point": [*rotary["faceplate_at"], rotary["centre_height"]],
            "along": rotary["axis"],
            "word": rotary["word"],
        }
    return {"id": found["id"], "name": found["name"], "axis": axis}


def sheet(data: Data, way: Data) -> Data:
    """Stations in loading order by side with their operation, and what is proved before the first start."""
    design = way["design"] or {"stations": [], "operations": []}
    numbers = {o["clamping"]: o["number"] for o in design["operations"]}
    stations = [
        {
            "name": n,
            "operation": numbers[s["operation"]],
            "side": s["side"],
            "mount": s["mount"],
            "x": s["x"],
            "y": s["y"],
            "turn": s["turn"],
        }
        for s in design["stations"]
        for n in s["parts"]
    ]
    tools = sorted({t for o in way["operations"] for t in o["tools"]})
    assemblies = {t["number"]: t for t in data["shop"]["tools"]}
    return {
        "title": data["title"],
        "way": way["name"],
        "label": (way["timing"] or {}).get("label", ""),
        "seconds": [c["seconds"] for c in (way["cycle"] or {"cycles": []})["cycles"]],
        "stations": stations,
        "sides": [side for c in (way["scene"] or {"cycles": []})["cycles"] for side in c["sides"]],
        "operations": [
            {"number": o["number"], "grip": o["grip"], "features": o["features"]} for o in way["operations"]
        ],
        "tools": [
            {
                "number": t,
                "name": assemblies[t]["name"] or assemblies[t]["cutter"]["id"],
                "gauge": gauge(assemblies[t]),
            }
            for t in tools
            if t in assemblies
        ],
        "facts": [f for f in data["job"]["facts"] if f.get("value")],
    }


def gauge(tool: Data) -> float:
    """mm from the holder's gauge line to the tip."""
    return float(tool["stick_out"]) + sum(float(step["length"]) for step in tool["holder"]["stack"])


def snippet(data: Data) -> str:
    """Python that plans the same job again; what the plan rests on stands in it, so that the answer is the same."""
    job = json.dumps(data["job"], indent=1, ensure_ascii=False)
    return f'''"""Plan {data["identity"]} again. Put {data["job"]["part"]} and plan.json beside this file."""

import json
from pathlib import Path

from palletwright.job.model import Job
from palletwright.plan import make, to_dict, write
from palletwright.shop.model import Shop

HERE = Path(__file__).parent
JOB = json.loads(r"""{job}""")


def main() -> None:
    shop = Shop.model_validate(json.loads((HERE / "plan.json").read_text(encoding="utf-8"))["shop"])
    job = Job.model_validate({{**JOB, "part": str(HERE / JOB["part"])}})
    write(to_dict(make(job, shop)), HERE / "plan_again.json")


if __name__ == "__main__":
    main()
'''
