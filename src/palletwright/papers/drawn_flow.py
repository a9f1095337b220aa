"""How a way runs, drawn: the man-machine chart, what sways the money, cash month by month, and a shift in numbers."""

from __future__ import annotations

from collections.abc import Callable
from html import escape

from palletwright.papers.report_words import Data, Html, num, sig, table

LEFT, RIGHT, WIDE = 96.0, 14.0, 520.0
"""Units of the drawings: room for names at the left, for half a number at the right, whole width."""

ROW, BAR = 26.0, 18.0
"""Height of a row and of the bar in it."""

DOING = {"load": 0, "run": 1, "alone": 2, "wait": 7, "idle": 7}
"""Tones of what somebody or something does in the man-machine chart; other words load."""

WORDS = {
    "load": "loading or swapping together",
    "run": "machine runs alone",
    "alone": "operator loads beside",
    "wait": "machine waits for the operator",
    "idle": "operator free",
}
MOST_BARS = 8
"""Inputs that the bars of sensitivity show, the widest first."""


def how_it_runs(data: Data, way: Data) -> Html:
    """Everything about how a way runs on the floor; one line for a plan that doesn't say it."""
    flow = way.get("flow")
    if not flow:
        return Html('<p class="note">This plan doesn\'t say how it runs on the floor: plan it again.</p>')
    return Html(
        f'<div class="pair">{in_numbers(data, way)}{man_machine(flow)}</div>'
        f'<div class="pair">{sensitivity(data, flow)}{cash(data, flow)}</div>'
    )


def _scale(end: float) -> float:
    return (WIDE - LEFT - RIGHT) / end if end > 0 else 0.0


def _step(end: float, most: int = 8) -> float:
    """A round step so that at most `most` marks stand on an axis up to `end`."""
    size = 1.0
    while end / size > most * 5:
        size *= 10
    while end / size < most / 2 and size > 1e-6:
        size /= 10
    return next(size * f for f in (1, 2, 5, 10, 20, 50) if end / (size * f) <= most)


def man_machine(flow: Data) -> Html:
    """One round of the operator and the number of such machines that costs least a part: a bar each, to scale."""
    people, chart = flow["people"], flow["people"]["chart"]
    names = list(dict.fromkeys(["operator", *(r["who"] for r in chart["rows"])]))
    scale, end = _scale(chart["minutes"]), chart["minutes"]
    high = ROW * len(names) + 28
    shapes = []
    for i, name in enumerate(names):
        y = ROW * i + 4
        shapes.append(f'<text x="0" y="{y + 13:.0f}" class="ink">{escape(name)}</text>')
        for r in (r for r in chart["rows"] if r["who"] == name):
            shapes += _stretch(r["what"], r["start"] % end, r["minutes"], end, scale, y)
    step = _step(end)
    foot = ROW * len(names) + 6
    for k in range(int(end / step + 1e-9) + 1):
        x = LEFT + k * step * scale
        shapes.append(f'<path d="M{x:.1f} {foot:.0f}v5" class="line"/>')
        shapes.append(f'<text x="{x:.1f}" y="{foot + 18:.0f}" class="soft mid">{k * step:g}</text>')
    count = people["best_machines"]
    told = (
        f"One operator could keep {num(people['machines_kept_busy'], 1)} such machines busy; a part costs least with "
        f"{count}. The round takes {num(end, 1)} minutes."
    )
    return Html(
        f"<figure><figcaption>One operator and {count} such machine{'s' if count != 1 else ''}, minutes</figcaption>"
        f'<svg viewBox="0 0 {WIDE:.0f} {high:.0f}" role="img" aria-label="man-machine chart">{"".join(shapes)}</svg>'
        f'{_key(chart["rows"])}<p class="note">{escape(told)}</p></figure>'
    )


def _stretch(what: str, start: float, minutes: float, end: float, scale: float, y: float) -> list[str]:
    """A bar, in two pieces where the round ends within it."""
    kind = _kind(what)
    pieces = [(start, min(minutes, end - start))]
    if start + minutes > end + 1e-9:
        pieces.append((0.0, start + minutes - end))
    return [
        f'<rect x="{LEFT + a * scale:.2f}" y="{y:.0f}" width="{max(n * scale, 0.6):.2f}" height="{BAR:.0f}" '
        f'class="tone{DOING[kind]} seam"><title>{escape(what)}: {num(minutes, 1)} min</title></rect>'
        for a, n in pieces
    ]


def _kind(what: str) -> str:
    return what if what in DOING else "load"


def _key(rows: list[Data]) -> str:
    kinds = dict.fromkeys(_kind(r["what"]) for r in rows)
    return (
        "<p class='note'>"
        + " ".join(f'<i class="sw tone{DOING[k]}"></i>{escape(WORDS[k])}' for k in sorted(kinds, key=list(DOING).index))
        + "</p>"
    )


def sensitivity(data: Data, flow: Data) -> Html:
    """Present value over the years with one input at its 10 % and its 90 % point, the widest bar first."""
    money = flow.get("money")
    if not money or not money["bars"]:
        return Html("")
    bars = [b for b in money["bars"] if abs(b["at_high"] - b["at_low"]) > 0][:MOST_BARS]
    ends = [v for b in bars for v in (b["at_low"], b["at_high"])] + [money["base"]]
    low, high = float(min(ends)), float(max(ends))
    left = 150.0
    scale = (WIDE - left - 60.0) / ((high - low) or 1.0)

    def at(value: float) -> float:
        return left + 30.0 + (value - low) * scale

    shapes = []
    for i, b in enumerate(bars):
        y = ROW * i + 4
        a, z = sorted((b["at_low"], b["at_high"]))
        ends_of = f"{num(b['at_low'], 0)} at its low end, {num(b['at_high'], 0)} at its high end"
        shapes.append(f'<text x="0" y="{y + 13:.0f}" class="ink">{escape(b["name"])}</text>')
        shapes.append(
            f'<rect x="{at(a):.2f}" y="{y:.0f}" width="{max((z - a) * scale, 0.6):.2f}" height="{BAR:.0f}" '
            f'class="tone0"><title>{escape(b["name"])}: {ends_of}</title></rect>'
        )
        mark = "+" if b["at_high"] > b["at_low"] else "−"
        shapes.append(f'<text x="{at(z) + 4:.1f}" y="{y + 13:.0f}" class="soft">{mark}</text>')
    foot = ROW * len(bars) + 6
    shapes.append(f'<path d="M{at(money["base"]):.1f} 0V{foot:.0f}" class="now"/>')
    for value, way in ((low, "start"), (high, "end")):
        shapes.append(
            f'<text x="{at(value):.1f}" y="{foot + 16:.0f}" class="soft" text-anchor="{way}">{num(value, 0)}</text>'
        )
    currency = escape(data["shop"]["rates"]["currency"])
    return Html(
        f"<figure><figcaption>What sways the present value most, {currency}</figcaption>"
        f'<svg viewBox="0 0 {WIDE:.0f} {foot + 22:.0f}" role="img" aria-label="sensitivity of the present value">'
        f'{"".join(shapes)}</svg><p class="note">Each input alone between its 10&#160;% and 90&#160;% point; the line '
        f"is {num(money['base'], 0)}, as planned. +: more of it is better. −: less is.</p></figure>"
    )


def cash(data: Data, flow: Data) -> Html:
    """Money in hand month by month: the capital out first, then the saving, with the likely range as a band."""
    money: Data | None = flow.get("money")
    if not money or not money["cash"]:
        return Html("")
    rows = money["cash"]
    low, high = float(min(r["low"] for r in rows)), float(max(r["high"] for r in rows))
    months, tall, left = int(rows[-1]["month"]), 170.0, 66.0
    span = (high - low) or 1.0

    def x(month: float) -> float:
        return left + month * (WIDE - left - RIGHT) / max(months, 1)

    def y(value: float) -> float:
        return 8.0 + (high - value) * tall / span

    upper = " ".join(f"{x(r['month']):.1f},{y(r['high']):.1f}" for r in rows)
    lower = " ".join(f"{x(r['month']):.1f},{y(r['low']):.1f}" for r in reversed(rows))
    likely = " ".join(f"{x(r['month']):.1f},{y(r['likely']):.1f}" for r in rows)
    shapes = [
        f'<polygon points="{upper} {lower}" class="span"/>',
        f'<polyline points="{likely}" class="now" fill="none"/>',
        f'<path d="M{left:.0f} {y(0.0):.1f}H{WIDE - RIGHT:.0f}" class="line"/>',
    ]
    values = {round(v, 6): v for v in (high, 0.0, rows[0]["likely"]) if low - 1e-9 <= v <= high + 1e-9}
    shapes += [
        f'<text x="{left - 6:.0f}" y="{y(v) + 4:.1f}" class="soft" text-anchor="end">{num(v, 0)}</text>'
        for v in _apart(list(values.values()), y)
    ]
    step = _step(float(months))
    for k in range(int(months / step + 1e-9) + 1):
        shapes.append(f'<text x="{x(k * step):.1f}" y="{8 + tall + 18:.0f}" class="soft mid">{k * step:g}</text>')
    currency = escape(data["shop"]["rates"]["currency"])
    return Html(
        f"<figure><figcaption>Money in hand after so many months, {currency} (band: the likely range)</figcaption>"
        f'<svg viewBox="0 0 {WIDE:.0f} {8 + tall + 24:.0f}" role="img" aria-label="cumulative cash">'
        f"{''.join(shapes)}</svg></figure>"
    )


def _apart(values: list[float], y: Callable[[float], float]) -> list[float]:
    """The values whose labels stand at least a line apart, in their order of importance."""
    kept: list[float] = []
    for v in values:
        if all(abs(y(v) - y(k)) >= 14 for k in kept):
            kept.append(v)
    return kept


def in_numbers(data: Data, way: Data) -> Html:
    """A shift of the way beside today's: parts, spindle, waits, time alone, piles, and the loss of a load."""
    flow, now = way["flow"], data["today"].get("flow")
    rows = [(name, *(_cell(f, key) for f in (now, flow))) for name, key in _ROWS]
    first = flow["starts"][0]
    notes = [first["waiting"], f"alone at most until {first['alone']['limited_by']}"]
    notes += [
        f"before operation {p['operation'] + 1}: {num(p['per_shift'], 1)} more a shift"
        for s in flow["starts"]
        for p in s["piles"]
    ]
    notes += [_over_two(flow["two_machines"])] if flow.get("two_machines") else []
    loss = flow.get("load_loss")
    if loss:
        currency = data["shop"]["rates"]["currency"]
        notes.append(f"a whole load lost would cost {num(loss['money'], 0, currency)}")
    return Html(
        "<figure><figcaption>A shift on the floor, simulated with stops, breaks and late hands</figcaption>"
        + table(("what", "today", way["name"]), rows, "tight words")
        + f'<p class="note">{escape("; ".join(notes))}.</p></figure>'
    )


def _over_two(split: Data) -> str:
    """What a second machine like the first would make of it."""
    on = ["first" if m == 0 else "second" for m in split["machine_of"]]
    runs = ", ".join(f"start {k + 1} on the {name}" for k, name in enumerate(on))
    piles = "".join(
        f"; before start {k + 1} {num(n, 1)} more a shift unless it is held back" for k, n in split["piles"]
    )
    return (
        f"over two such machines ({runs}): {num(split['finished_per_shift'], 0)} parts a shift, paced by "
        f"{split['paced_by']}, a batch in {num(split['lead_seconds'] / 3600, 1)} h{piles}"
    )


_ROWS = (
    ("finished parts a shift, nothing going wrong", "finished_per_shift"),
    ("simulated: usual", "p50"),
    ("on a bad day (P10)", "p10"),
    ("on a good day (P90)", "p90"),
    ("spindle cuts, share of the shift", "utilisation"),
    ("longest with nobody there, min", "alone"),
    ("runs on alone after the shift, min", "after"),
    ("starts until the first finished part", "startup"),
    ("parts half done on the floor", "floor_pile"),
    ("a batch takes, h", "lead"),
)


def _cell(flow: Data | None, key: str) -> str:
    if not flow:
        return "unknown"
    if key in ("p10", "p50", "p90"):
        return num(flow["parts_per_shift"][key], 0)
    if key == "utilisation":
        return f"{100 * flow['utilisation']:.0f}{chr(160)}%"
    if key == "alone":
        return num(max(s["alone"]["minutes"] for s in flow["starts"]), 0)
    if key == "after":
        days = [s["shift"] for s in flow["starts"]]
        return "0" if None in days else num(max(d["alone_after"] for d in days), 0)
    if key == "startup":
        return num(sum(s["startup_starts"] + 1 for s in flow["starts"]), 0)
    if key == "lead":
        return num(flow["batch"]["lead_hours"], 1)
    return sig(flow[key])
