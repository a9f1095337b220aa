"""What a cycle says besides its seconds: minutes a part against parts a start, edges, and parts at risk."""

from __future__ import annotations

from palletwright.papers.report_words import Data, Html, bullets, num, plural, sig, table

WIDE, TALL, LEFT, RIGHT, TOP = 520.0, 190.0, 46.0, 14.0, 12.0
"""Units of the drawing: whole width, height of the field, room for numbers at the left, half a number at the right."""

ENDS = {
    "geometry": "worked out from the geometry (± 25 %)",
    "measured": "measured",
    "program": "from the shop's program",
}


def cycle_more(data: Data, c: Data) -> Html:
    """The curve, the edges and what is at risk; nothing for a plan of an earlier version."""
    if not c.get("curve"):
        return Html("")
    return Html(f"<div class='pair'>{curve(c)}<div><h3>Cutting edges</h3>{edges(data, c)}{said(c)}</div></div>")


def curve(c: Data) -> Html:
    """Minutes a part over parts a start, with the limit that no count goes below and the count that is enough."""
    told = c["curve"]
    points = told["points"]
    most, highest = int(points[-1][0]), float(points[0][1])

    def x(parts: float) -> float:
        return LEFT + (parts - 1) * (WIDE - LEFT - RIGHT) / max(most - 1, 1)

    def y(minutes: float) -> float:
        return TOP + (highest - minutes) * TALL / highest

    line = " ".join(f"{x(n):.1f},{y(t):.1f}" for n, t in points)
    here = min(c["parts"], most)
    at = points[here - 1][1]
    shapes = [
        f'<path d="M{LEFT:.0f} {TOP:.0f}V{y(0):.1f}H{WIDE - RIGHT:.0f}" class="line" fill="none"/>',
        f'<path d="M{LEFT:.0f} {y(told["limit"]):.1f}H{WIDE - RIGHT:.0f}" class="limit"/>',
        f'<polyline points="{line}" class="now" fill="none"/>',
        f'<circle cx="{x(here):.1f}" cy="{y(at):.1f}" r="5" class="fill-loc"/>',
        f'<text x="{x(here):.1f}" y="{y(at) - 10:.1f}" class="ink strong mid">{c["parts"]} parts, {sig(at)} min</text>',
        f'<text x="{WIDE - RIGHT:.0f}" y="{y(told["limit"]) + 15:.1f}" class="soft" text-anchor="end">'
        f"limit {sig(told['limit'])}</text>",
    ]
    if told["enough"] is not None:
        shapes.append(f'<path d="M{x(told["enough"]):.1f} {y(0):.1f}v-14" class="limit"/>')
    shapes += [f'<text x="{x(n):.1f}" y="{y(0) + 17:.1f}" class="soft mid">{n}</text>' for n in range(10, most + 1, 10)]
    shapes += [
        f'<text x="{LEFT - 6:.0f}" y="{y(v) + 4:.1f}" class="soft" text-anchor="end">{sig(v)}</text>'
        for v in (0.0, highest)
    ]
    return Html(
        "<figure><figcaption>Minutes of the machine a part, over parts a start</figcaption>"
        f'<svg viewBox="0 0 {WIDE:.0f} {TOP + TALL + 24:.0f}" role="img" aria-label="minutes a part">'
        f'{"".join(shapes)}</svg><p class="note">{_enough(told, c["parts"])}</p></figure>'
    )


def _enough(told: Data, parts: int) -> str:
    if told["enough"] is None:
        return "Every part more that is shown still gains the job's least gain."
    mark = f"From {plural(told['enough'], 'part')} on, one part more gains less than the job's least gain"
    return f"{mark} (short mark); this start has {parts}."


def edges(data: Data, c: Data) -> Html:
    """Each tool's edges: what a start wears off, whole starts an edge, pieces, edges in the magazine."""
    known = {t["number"]: t["name"] for t in data["shop"]["tools"]}
    rows = []
    for row in sorted(c["edges"]["tools"], key=lambda r: -(r["share"] or 0.0)):
        life = row["share"] is not None
        rows.append(
            (
                f"T{row['tool']} {known.get(row['tool']) or ''}",
                sig(100 * row["share"]) if life else "unknown",
                _starts(row) if life else "–",
                " / ".join(num(v, 0) for v in row["pieces"]) if row["pieces"] else "–",
                str(row["edges"]),
            )
        )
    head = ("tool", "of an edge a start, %", "starts an edge", "pieces an edge, 10 % / mean / 90 %", "in the magazine")
    return table(head, rows, "tight")


def _starts(row: Data) -> str:
    if row["edges_per_start"] > 1:
        return f"{row['edges_per_start']} edges a start"
    return num(row["starts_per_edge"], 0)


def said(c: Data) -> Html:
    """How long the edges last alone, parts at risk, where the cutting times come from."""
    told, risk = c["edges"], c["parts_at_risk"]
    lines = [f"{told['slots']} of {told['magazine']} places of the magazine are used, sisters among them"]
    if told["unattended_minutes"] is not None:
        plain = "" if told["plain_minutes"] is None else f" ({num(told['plain_minutes'] / 60, 1)} h without sisters)"
        hours = num(told["unattended_minutes"] / 60, 1)
        lines.append(f"T{told['first_due']} is due first: after {hours} h of starts one upon another{plain}")
    cap = "" if risk["cap"] is None else f"; the job allows {risk['cap']}"
    first = f"with one part first {risk['first_article_parts']}"
    if risk["added_seconds"] is not None:
        first += f", for {num(risk['added_seconds'], 0)} s a start more"
    lines.append(f"{plural(risk['parts'], 'part')} at risk before one can be measured{cap}; {first}")
    whole = sum(c["cutting_basis"].values())
    shares = {k: v for k, v in c["cutting_basis"].items() if v > 0}
    lines += [f"{num(100 * v / whole, 0)} % of the cutting time is {ENDS[k]}" for k, v in shares.items()]
    if c["order"] != "free":
        lines.append(f"the job forces the order: {c['order']}")
    lines += [f"{r['about']}: {r['text']}" for r in c["reasons"] if r["about"].startswith("operation")]
    return bullets(lines)
