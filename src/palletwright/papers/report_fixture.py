"""The fixture: how parts are held, each side as a picture, and the whole in 3D."""

from __future__ import annotations

import json
from html import escape

from palletwright.papers.drawn import facing, pattern, side_figure
from palletwright.papers.report_words import Data, Html, direction, num, sig, table


def held(best: Data) -> Html:
    """Operations with directions, grip and holding."""
    rows = []
    for o in best["operations"]:
        h, notes = o["holding"], "; ".join(o["grip"]["notes"])
        rows.append(
            (
                Html(f"<b>{o['number']}</b>"),
                ", ".join(o["features"]),
                ", ".join(direction(d) for d in o["directions"]),
                f"{o['grip']['kind'].replace('_', ' ')} on a {o['carrier']}" + (f"; {notes}" if notes else ""),
                f"{sig(h['factor'])}, needs {sig(h['floor'])}",
                Html(f"{escape(h['gives_first'])}<small>at {escape(h['worst_load'])}</small>"),
                f"{sig(o['cutting_seconds'])}",
            )
        )
    head = ("operation", "features", "cut from", "held by", "holding factor", "what gives first", "cutting, s a part")
    assumed = any(o.get("locating") == "assumed" for o in best["operations"])
    note = '<p class="note">Locating faces are assumed, not taken from the drawing.</p>' if assumed else ""
    return Html("<h3>How it is held and cut</h3>" + table(head, rows, "words") + note)


def sides(data: Data, best: Data) -> Html:
    """Every side with its stations, seen against its normal."""
    if not best["scene"]:
        return Html('<p class="note">No pictures were kept for this plan.</p>')
    along = axis_of(data, best)
    figures, used = [], set()
    for i, cycle in enumerate(best["scene"]["cycles"]):
        for number, side in enumerate(cycle["sides"], 1):
            name = f"cycle {i + 1}, " if len(best["scene"]["cycles"]) > 1 else ""
            figures.append(side_figure(side, f"{name}side {number}", facing(cycle["bodies"], side, along)))
            used |= {s["operation"] for s in side["stations"]}
    key = "".join(
        f'<span><i class="sw op{op % 5}"></i>operation {10 * (op + 1)}: parts {10 * (op + 1)}.1, .2 …</span>'
        for op in sorted(used)
    )
    key += '<span><i class="sw clamp"></i>clamp, hatched</span><span><i class="sw loc"></i>locator, solid</span>'
    return Html(f"{pattern()}<p class='key'>{key}</p><div class='sides'>{''.join(figures)}</div>")


def axis_of(data: Data, best: Data) -> str:
    """The letter of the rotary axis' direction, empty where the plan turns nothing."""
    machine = machine_of(data, best)
    return str(machine["rotary"]["axis"]) if machine and machine["rotary"] else ""


def machine_of(data: Data, best: Data) -> Data | None:
    """The plan's machine as the shop describes it."""
    return next((m for m in data["shop"]["machines"] if m["id"] == best["design"]["machine"]), None)


def view(data: Data, best: Data) -> Html:
    """The fixture in the machine, turnable; the drawing itself is in report.js."""
    scene, machine = best["scene"], machine_of(data, best)
    if not scene:
        return Html("")
    rotary = machine["rotary"] if machine else None
    cycles = [[dict(b, colour=_colour(b)) for b in c["bodies"]] for c in scene["cycles"]]
    record = {
        "meshes": scene["meshes"],
        "cycles": [{"bodies": bodies} for bodies in cycles],
        "axis": {
            "point": [*rotary["faceplate_at"], rotary["centre_height"]] if rotary else [0, 0, 0],
            "along": rotary["axis"] if rotary else "x",
        },
    }
    text = json.dumps(record, separators=(",", ":")).replace("<", "\\u003c")
    return Html(
        "<h3>The whole fixture</h3><div class='view' id='scene'>"
        "<canvas tabindex='0' role='img' aria-label='The fixture in 3D. Arrow keys turn it, plus and minus zoom, "
        "zero brings the first view back.'></canvas>"
        f"<div class='controls'>{_controls(data, best)}</div>"
        "<p class='note how'>Drag or arrow keys turn, wheel or + and − zoom, 0 brings the first view back."
        "<span class='nogl' hidden> Drawn without WebGL, therefore slower.</span></p>"
        "<noscript><p class='note'>The picture needs scripts; the sides above don't.</p></noscript></div>"
        f"<script type='application/json' id='scene-data'>{text}</script>"
    )


def _controls(data: Data, best: Data) -> str:
    """Buttons and sliders that apply to this scene, and no others."""
    cycles = best["scene"]["cycles"]
    along = axis_of(data, best)
    made = []
    if len(cycles) > 1:
        options = "".join(f"<option value='{i}'>{i + 1}</option>" for i in range(len(cycles)))
        made.append(f"<label>cycle <select id='which-cycle'>{options}</select></label>")
    if along and any(b["group"] == "rotary" for c in cycles for b in c["bodies"]):
        made.append(
            "<label>index angle <input id='index-angle' type='range' min='0' max='355' step='5' value='0'> "
            "<output id='index-shown'>0°</output></label>"
        )
        turns = [(n, facing(cycles[0]["bodies"], s, along)) for n, s in enumerate(cycles[0]["sides"], 1)]
        made.append(
            "<span class='turns'>"
            + "".join(
                f"<button type='button' data-angle='{num(a, 0)}'>side {n} up</button>"
                for n, a in turns
                if a is not None
            )
            + "</span>"
        )
    if any(b.get("after") for c in cycles for b in c["bodies"]):
        made.append("<label><input type='checkbox' id='as-cut'> parts as cut</label>")
    made.append("<label><input type='checkbox' id='with-machine'> machine round it</label>")
    return "".join(made)


def _colour(body: Data) -> str:
    """Name of the colour in report.css."""
    if body["kind"] == "part":
        number = body["owner"].split(".")[0]
        return f"op{(int(number) // 10 - 1) % 5}" if number.isdigit() else "op0"
    return {"clamp": "clamp", "locator": "loc"}.get(body["kind"], "metal")
