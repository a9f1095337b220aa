"""The plan as one self-contained page: what comes of it first, then pictures, time, margins and reasons."""

from __future__ import annotations

import json
from html import escape
from importlib import resources
from pathlib import Path
from typing import Any

from palletwright.papers.drawn import side_figure, time_bar

Data = dict[str, Any]
COLOURS = {
    "op0": (0.36, 0.60, 0.75),
    "op1": (0.86, 0.60, 0.24),
    "op2": (0.53, 0.67, 0.34),
    "op3": (0.65, 0.47, 0.68),
    "op4": (0.76, 0.41, 0.38),
    "clamp": (0.47, 0.49, 0.52),
    "locator": (0.24, 0.27, 0.30),
    "carrier": (0.76, 0.78, 0.79),
    "rotary": (0.60, 0.63, 0.65),
    "tailstock": (0.60, 0.63, 0.65),
    "table": (0.84, 0.85, 0.85),
    "vise": (0.66, 0.69, 0.72),
}


def shipped(name: str) -> str:
    """Text of a file beside this module's data."""
    return resources.files("palletwright.papers").joinpath("data", name).read_text(encoding="utf-8")


def num(value: float | None, digits: int = 2, unit: str = "") -> str:
    """A number in words; unknown is said."""
    if value is None:
        return "unknown"
    return f"{value:,.{digits}f}{' ' + unit if unit else ''}".replace(",", " ")


def write_report(data: Data, path: Path) -> None:
    """Write the report whole or not at all."""
    part = path.with_name(path.name + ".part")
    path.parent.mkdir(parents=True, exist_ok=True)
    part.write_text(report(data), encoding="utf-8")
    part.replace(path)


def report(data: Data) -> str:
    """The whole page as text."""
    best = data["plans"][0]
    body = [
        front(data, best),
        comparison(data),
        assumptions(data),
        sides(best),
        view(data, best),
        cycle(best),
        operations(data, best),
        margins(best),
        reasons(data, best),
    ]
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">'
        f"<title>{escape(data['title'])}</title><style>{shipped('report.css')}</style></head><body><main>"
        + "\n".join(body)
        + f"<footer>Plan {data['identity']}, seed {data['seed']}, {num(data['seconds'], 1)} s"
        + f"{', stopped early' if data['stopped_early'] else ''}. "
        + ", ".join(f"{k} {v}" for k, v in data["versions"].items())
        + f"</footer></main><script>{shipped('report.js')}</script></body></html>\n"
    )


def front(data: Data, best: Data) -> str:
    """Makeable or not, and what finished parts per start, time, cost and payback come to."""
    currency = data["shop"]["rates"]["currency"]
    verdict, word = ("yes", "Makeable") if data["makeable"] else ("partly", "Makeable, with material left over")
    low, high = best["cost_range"]
    back = best["payback"] or {}
    months = back.get("months")
    spread = (
        f"between {num(back.get('low'), 1)} and {num(back.get('high'), 1)}"
        if months is not None
        else "today isn't described or there is no saving"
    )
    facts = [
        (num(best["parts_per_start"], 2).rstrip("0").rstrip("."), "finished parts every start"),
        (num(best["spindle_minutes_per_part"], 2, "min"), "spindle a part (estimated, ±25 %)"),
        (num(best["attended_minutes_per_part"], 2, "min"), "attended a part"),
        (num(best["unattended_minutes"], 0, "min"), "unattended in one go"),
        (num(best["cost_per_part"], 2, currency), f"a part, likely {num(low)} to {num(high)}"),
        (
            num(best["capital"], 0, currency),
            f"once, for {best['design']['sets']} set{'s' if best['design']['sets'] > 1 else ''}",
        ),
        ("no payback" if months is None else num(months, 1, "months"), f"payback, {spread}"),
        (num(best["least_clearance_mm"], 1, "mm"), "least clearance of any tool"),
        (num(best["least_holding_factor"], 1), "least holding factor"),
    ]
    part = data["part"]
    size = " × ".join(f"{v:.1f}" for v in part["size_mm"])
    blank = " × ".join(f"{v:.1f}" for v in part["blank_mm"])
    left = "".join(
        f"<li>{escape(x['feature'])}: {num(x['mm3'], 1)} mm³, {escape(x['why'])}. {escape(x['would_do'])}</li>"
        for x in data["left_over"]
    )
    return (
        f"<h1>{escape(data['title'])}</h1><p class='lede'>{escape(part['name'])}, {escape(part['material'])}, {size} mm from a blank of {blank} mm; "
        f"{data['job']['per_year']:,} a year. {escape(best['timing']['label'])}.</p>".replace(",", " ", 0)
        + f"<p><span class='verdict {verdict}'>{word}</span></p>"
        + "<div class='facts'>"
        + "".join(f"<div class='fact'><b>{escape(v)}</b><span>{escape(t)}</span></div>" for v, t in facts)
        + "</div>"
        + (f"<h3>What no tool of the shop reaches</h3><ul>{left}</ul>" if left else "")
        + "<p class='caution'>Prove out single-block at reduced rapid. The machine builder's limits on speed, swing and clamping stand above these numbers. Guards closed, every clamp checked. Local codes and a qualified person decide.</p>"
    )


def comparison(data: Data) -> str:
    """Today beside the plans in the same units."""
    currency = escape(data["shop"]["rates"]["currency"])
    head = [
        "way",
        "parts a start",
        "starts a part",
        "spindle min a part",
        "attended min a part",
        "unattended min",
        f"{currency} a part",
        "capital",
        "payback, months",
        "clearance mm",
        "holding",
    ]
    rows = []
    for way in (data["today"], *data["plans"]):
        back = (way["payback"] or {}).get("months")
        label = way["name"] + (
            f": {way['timing']['label']}, {way['design']['sets']} set{'s' if way['design']['sets'] > 1 else ''}"
            if way["design"]
            else ""
        )
        cells = [
            num(way["parts_per_start"]),
            num(way["starts_per_part"], 3),
            num(way["spindle_minutes_per_part"]),
            num(way["attended_minutes_per_part"]),
            num(way["unattended_minutes"], 0),
            num(way["cost_per_part"]),
            num(way["capital"], 0) if way["design"] else "",
            num(back, 1) if back is not None else "",
            num(way["least_clearance_mm"], 1),
            num(way["least_holding_factor"], 1),
        ]
        rows.append(
            f"<tr{' class=today' if way['name'] == 'today' else ''}><td>{escape(label)}</td>"
            + "".join(f"<td>{c}</td>" for c in cells)
            + "</tr>"
        )
    return (
        "<h2>Today, and what else is possible</h2><div class='wide'><table><tr>"
        + "".join(f"<th>{h}</th>" for h in head)
        + "</tr>"
        + "".join(rows)
        + "</table></div><p class='note'>A ratio of starts says nothing without the attended minutes and the cost beside it. Ways closer than their error are ties; the roomier or simpler stands first.</p>"
    )


def assumptions(data: Data) -> str:
    """What the numbers rest on."""
    notes = [*data["assumptions"], *data["part"]["notes"]]
    return "<h2>What these numbers rest on</h2><ul>" + "".join(f"<li>{escape(t)}</li>" for t in notes) + "</ul>"


def sides(best: Data) -> str:
    """Every side with its stations, seen against its normal."""
    if not best["scene"]:
        return ""
    figures = [side_figure(side) for c in best["scene"]["cycles"] for side in c["sides"]]
    numbers = sorted(
        {
            (s["operation"], 10 * (s["operation"] + 1))
            for c in best["scene"]["cycles"]
            for side in c["sides"]
            for s in side["stations"]
        }
    )
    key = "".join(f"<span><i style='background:var(--op{op % 5})'></i>operation {n}</span>" for op, n in numbers)
    key += "<span><i style='background:var(--clamp)'></i>clamp</span><span><i style='background:var(--loc)'></i>locator</span>"
    return f"<h2>Each side with its stations</h2><p class='key'>{key}</p><div class='sides'>{''.join(figures)}</div>"


def view(data: Data, best: Data) -> str:
    """The fixture in the machine, turnable."""
    scene = best["scene"]
    if not scene:
        return ""
    machine = next(m for m in data["shop"]["machines"] if m["id"] == best["design"]["machine"])
    rotary = machine["rotary"]
    cycles = [{"bodies": [dict(b, colour=_colour(b)) for b in c["bodies"]]} for c in scene["cycles"]]
    record = {
        "meshes": scene["meshes"],
        "cycles": cycles,
        "colours": COLOURS,
        "axis": {
            "point": [*rotary["faceplate_at"], rotary["centre_height"]] if rotary else [0, 0, 0],
            "along": rotary["axis"] if rotary else "x",
        },
    }
    turn = (
        "<label>index angle <input id='index-angle' type='range' min='0' max='345' step='15' value='0'> <output id='index-shown'>0°</output></label>"
        if rotary
        else ""
    )
    pick = (
        "<label>cycle <select id='which-cycle'>"
        + "".join(f"<option value='{i}'>{i + 1}</option>" for i in range(len(cycles)))
        + "</select></label>"
        if len(cycles) > 1
        else ""
    )
    return (
        "<h2>The fixture in the machine</h2><div class='view' id='scene'><canvas tabindex='0' aria-label='Fixture in 3D; drag or use the arrow keys to turn it'></canvas>"
        "<p class='nogl' hidden>This browser shows no WebGL 2, so there is no turnable picture; the sides above are complete.</p>"
        f"<div class='controls'>{turn}{pick}<span class='note'>drag or arrow keys turn, wheel zooms; {escape(machine['id'])}</span></div></div>"
        f"<script type='application/json' id='scene-data'>{json.dumps(record, separators=(',', ':')).replace('</', '<' + chr(92) + '/')}</script>"
    )


def _colour(body: Data) -> str:
    if body["kind"] == "part":
        return f"op{(int(body['owner'].split('.')[0]) // 10 - 1) % 5}" if body["owner"] else "op0"
    return str(body["kind"]) if body["kind"] in COLOURS else "carrier"


def cycle(best: Data) -> str:
    """The time bar and where the seconds go."""
    rows = []
    for i, c in enumerate(best["cycle"]["cycles"]):
        parts = "".join(
            f"<tr><td>{escape(k)}</td><td>{num(v, 1)}</td><td>{num(100 * v / c['seconds'], 0)} %</td></tr>"
            for k, v in sorted(c["by_kind"].items(), key=lambda r: -r[1])
        )
        other = "".join(
            f"<tr><td>{escape(str(name))}</td><td>{num(seconds, 1)}</td><td>{num(seconds - c['seconds'], 1)} more</td></tr>"
            for name, seconds in c["other_orders"]
        )
        proof = "provably the least" if c["tool_runs"] == c["least_tool_runs"] else f"at least {c['least_tool_runs']}"
        rows.append(
            (f"<h3>Cycle {i + 1}</h3>" if len(best["cycle"]["cycles"]) > 1 else "")
            + f"<p>{num(c['seconds'] / 60, 1)} minutes for {c['parts']} parts; no order takes less than {num(c['bound'] / 60, 1)} minutes (bound). {c['tool_runs']} tool runs, {proof}.</p>"
            + time_bar(c)
            + f"<div class='wide'><table><tr><th>where the seconds go</th><th>s</th><th>share</th></tr>{parts}</table></div>"
            + (
                f"<h3>Other orders of the same work</h3><table><tr><th>order</th><th>s</th><th>against this</th></tr>{other}</table>"
                if other
                else ""
            )
        )
    return "<h2>One cycle on a time bar</h2>" + "".join(rows)


def operations(data: Data, best: Data) -> str:
    """Operations with directions, grip and holding."""
    rows = []
    for o in best["operations"]:
        ways = "; ".join(" ".join(f"{v:g}" for v in d) for d in o["directions"])
        h = o["holding"]
        rows.append(
            f"<tr><td>{o['number']}</td><td>{escape(', '.join(o['features']))}</td><td>{escape(ways)}</td><td>{escape(o['grip']['kind'])} on {escape(o['carrier'])}</td>"
            f"<td>{o['stations']}</td><td>{num(h['factor'])} (floor {num(h['floor'], 1)})</td><td>{escape(h['worst_load'])}; first {escape(h['gives_first'])}</td></tr>"
        )
    head = "".join(
        f"<th>{h}</th>"
        for h in (
            "operation",
            "features",
            "directions (part frame)",
            "held by",
            "stations",
            "holding",
            "worst load, what gives first",
        )
    )
    return f"<h2>How it is held and cut</h2><div class='wide'><table class='words'><tr>{head}</tr>{''.join(rows)}</table></div><p class='note'>Locating faces are assumed unless the job names datums.</p>"


def margins(best: Data) -> str:
    """Every margin, tightest first within its check."""
    rows = []
    ordered = sorted(best["margins"], key=lambda m: (m["check"], (m["have"] or 0) - m["need"]))
    for m in ordered:
        rows.append(
            f"<tr{'' if m['passed'] else ' class=short'}><td>{escape(m['check'])}</td><td>{escape(m['subject'])}</td><td>{escape(m['obstacle'])}</td><td>{num(m['need'])}</td><td>{num(m['have'])}</td><td>{escape(m['unit'])}</td></tr>"
        )
    return (
        "<h2>Margins</h2><p>A reported clearance is never above the true one.</p><div class='wide'><table class='words'><tr><th>check</th><th>of</th><th>to</th><th>needs</th><th>has</th><th>unit</th></tr>"
        + "".join(rows)
        + "</table></div>"
    )


def reasons(data: Data, best: Data) -> str:
    """Why this one, what was turned down, and what would allow more."""
    more = "".join(
        f"<li>{escape(o['change'])}: "
        + (
            f"{o['parts_per_start']} parts a start instead of {o['before']}, planned again and checked"
            if o["parts_per_start"]
            else f"no more than {o['before']}; {escape(o['note'])}"
        )
        + "</li>"
        for o in data["one_more"]
    )
    why = "".join(f"<li>{escape(r['about'])}: {escape(r['text'])}</li>" for r in best["reasons"])
    down = "".join(
        f"<tr><td>{escape(t['arrangement'])}</td><td>{escape(t['stopped_by'])}</td><td>{num(t['amount'], 1, t['unit']) if t['amount'] is not None else ''}</td></tr>"
        for t in data["turned_down"]
    )
    return (
        f"<h2>Why this one, and what would allow more</h2><ul>{why}</ul><h3>What would allow more parts a start</h3><ul>{more or '<li>Nothing was tried: the best way has its operations in separate cycles.</li>'}</ul>"
        + (
            f"<h3>Turned down</h3><div class='wide'><table class='words'><tr><th>arrangement</th><th>stopped by</th><th>short by</th></tr>{down}</table></div>"
            if down
            else ""
        )
    )
