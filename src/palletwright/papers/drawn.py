"""Flat pictures as SVG: a side with its stations, a cycle as a time bar."""

from __future__ import annotations

from html import escape
from typing import Any

Data = dict[str, Any]
INKS = {
    "cut": "#0b5c6b",
    "rapid": "#b9c4cb",
    "tool change": "#d08a2e",
    "index": "#7d5fa0",
    "probe": "#4d7a3a",
    "other": "#8a8f94",
}


def path_of(rings: list[list[list[float]]]) -> str:
    """An SVG path of rings, y upwards turned into y downwards."""
    return " ".join("M" + "L".join(f"{x:.2f} {-y:.2f}" for x, y in ring) + "Z" for ring in rings)


def side_figure(side: Data) -> str:
    """A side seen against its normal, at one scale in both ways, station names on the parts."""
    points = [p for ring in side["area"] for p in ring]
    points += [p for s in side["stations"] for b in s["bodies"] for ring in b["rings"] for p in ring]
    x0, x1 = min(p[0] for p in points), max(p[0] for p in points)
    y0, y1 = min(p[1] for p in points), max(p[1] for p in points)
    pad = 0.03 * max(x1 - x0, y1 - y0) + 2
    shapes = [
        f"<path d='{path_of(side['area'])}' fill='#eef1f2' stroke='#7b858d' stroke-width='.6' vector-effect='non-scaling-stroke'/>"
    ]
    for station in side["stations"]:
        for body in station["bodies"]:
            part = body["id"].startswith("part")
            ink = (
                f"var(--op{station['operation'] % 5})"
                if part
                else ("var(--loc)" if is_locator(body["id"]) else "var(--clamp)")
            )
            shapes.append(
                f"<path d='{path_of(body['rings'])}' fill='{ink}' fill-opacity='{0.8 if part else 0.9}' fill-rule='evenodd' stroke='#1d2730' stroke-width='.7' vector-effect='non-scaling-stroke'><title>{escape(body['id'])}</title></path>"
            )
        held = [b for b in station["bodies"] if b["id"].startswith("part")]
        for name, body in zip(station["parts"], held, strict=False):
            xs, ys = [p[0] for p in body["rings"][0]], [p[1] for p in body["rings"][0]]
            size = min(0.24 * (max(xs) - min(xs)), 0.4 * (max(ys) - min(ys)), 0.06 * (x1 - x0) + 2)
            shapes.append(
                f"<text x='{(min(xs) + max(xs)) / 2:.1f}' y='{-(min(ys) + max(ys)) / 2:.1f}' font-size='{size:.1f}' text-anchor='middle' dominant-baseline='central' fill='#fff' font-weight='600'>{escape(name)}</text>"
            )
    box = f"{x0 - pad:.1f} {-y1 - pad:.1f} {x1 - x0 + 2 * pad:.1f} {y1 - y0 + 2 * pad:.1f}"
    count = sum(len(s["parts"]) for s in side["stations"])
    return (
        f"<figure><figcaption>{escape(side['mount'])}, side {escape(side['side'])}: {count} part{'s' if count != 1 else ''}, "
        f"{x1 - x0:.0f} × {y1 - y0:.0f} mm</figcaption><svg viewBox='{box}' role='img' aria-label='side {escape(side['side'])}'>{''.join(shapes)}</svg></figure>"
    )


def is_locator(name: str) -> bool:
    """Whether a device's name says that it locates."""
    return any(word in name for word in ("locator", "stop", "rail", "pin", "rest", "seat"))


def merged(events: list[Data]) -> list[Data]:
    """Events of one kind, tool and angle in a row, as one."""
    rows: list[Data] = []
    for e in events:
        same = rows and all(rows[-1][k] == e[k] for k in ("what", "tool", "angle"))
        if same:
            rows[-1] = {**rows[-1], "seconds": e["start"] + e["seconds"] - rows[-1]["start"]}
        else:
            rows.append(dict(e))
    return rows


def time_bar(cycle: Data) -> str:
    """The cycle from left to right: a lane for tools with what is done, one for index angles, minutes below."""
    total, width = cycle["seconds"], 1100.0
    scale = width / total
    runs: list[list[Any]] = []
    for e in cycle["events"]:
        if e["what"] == "tool change":
            continue
        if runs and runs[-1][0] == e["tool"]:
            runs[-1][2] = e["start"] + e["seconds"]
        else:
            runs.append([e["tool"], e["start"], e["start"] + e["seconds"]])
    bars = [
        f"<rect x='{e['start'] * scale:.2f}' y='34' width='{max(e['seconds'] * scale, 0.2):.2f}' height='34' fill='{INKS.get(e['what'], '#888')}'><title>{escape(e['what'])}, T{e['tool']}, {e['angle']:g}°, {e['seconds']:.1f} s</title></rect>"
        for e in merged(cycle["events"])
    ]
    names = [
        f"<text x='{(a + b) / 2 * scale:.1f}' y='26' text-anchor='middle' font-size='12' fill='#1d2730'>T{tool}</text><path d='M{a * scale:.1f} 30H{b * scale:.1f}' stroke='#1d2730' stroke-width='1'/>"
        for tool, a, b in runs
        if (b - a) * scale > 26
    ]
    step = next(s for s in (0.5, 1, 2, 5, 10, 20, 30, 60, 120) if total / 60 / s <= 14)
    marks = "".join(
        f"<path d='M{m * step * 60 * scale:.1f} 68v6' stroke='#5b6873'/><text x='{m * step * 60 * scale:.1f}' y='87' font-size='11' text-anchor='middle' fill='#5b6873'>{m * step:g} min</text>"
        for m in range(int(total / 60 / step) + 1)
    )
    key = "".join(
        f"<span><i style='background:{INKS[k]}'></i>{k}</span>"
        for k in INKS
        if any(e["what"] == k for e in cycle["events"])
    )
    return f"<div class='wide'><svg viewBox='-16 0 {width + 32:.0f} 94' role='img' aria-label='time bar of the cycle' style='min-width:800px;width:100%'>{''.join(bars)}{''.join(names)}{marks}</svg></div><p class='key'>{key}</p>"
