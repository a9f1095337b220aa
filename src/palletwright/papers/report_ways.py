"""Ways side by side, why the first of them, what was turned down, and what would allow more."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from palletwright.flow.compare import ties
from palletwright.papers.report_words import Data, Html, bullets, folded, num, plural, sig, table


def ways(data: Data) -> Html:
    """Today beside the plans in the same units."""
    currency = data["shop"]["rates"]["currency"]
    head = (
        "way",
        "parts a start",
        "starts a part",
        "spindle min a part",
        "attended min a part",
        "alone, min a start",
        f"{currency} a part",
        f"capital, {currency}",
        "payback, months",
        "clear, mm",
        "holding factor",
    )
    every = (data["today"], *data["plans"])
    rows = [_way(w, tie) for w, tie in zip(every, ("", *_tied(data["plans"])), strict=True)]
    marks = ["today" if w["design"] is None else "best" if w is data["plans"][0] else "" for w in every]
    return Html(
        table(head, rows, "first-words stacks", marks)
        + '<p class="note">A ratio of starts says nothing without the attended minutes and the cost beside it. Ways '
        "closer than their error are ties; the roomier or simpler stands first.</p>"
    )


def _tied(plans: Sequence[Data]) -> list[str]:
    """Of each plan the name of the one before it that it ties with in cost; empty where it ties with none."""
    return [plans[first]["name"] if first != at else "" for at, first in enumerate(ties(plans))]


def _way(way: Data, tie: str) -> tuple[object, ...]:
    design = way["design"]
    label = f"{way['timing']['label']}, {plural(design['sets'], 'set')}" if design else "as the job describes it"
    if not way["feasible"]:
        label += "; not workable as it stands"
    if tie:
        label += f"; a tie with {tie}"
    back = (way["payback"] or {}).get("months")
    spread = way["cost_range"]
    likely = f"<small>{num(spread[0])}–{num(spread[1])}</small>" if spread else ""
    return (
        Html(f"<b>{escape(way['name'])}</b><small>{escape(label)}</small>"),
        sig(way["parts_per_start"]),
        sig(way["starts_per_part"]),
        sig(way["spindle_minutes_per_part"]),
        sig(way["attended_minutes_per_part"]),
        num(way["unattended_minutes"], 0),
        Html(f"{num(way['cost_per_part'])}{likely}"),
        num(way["capital"], 0) if design else "–",
        (sig(back) if back is not None else "none") if design else "–",
        num(way["least_clearance_mm"], 1),
        num(way["least_holding_factor"], 1),
    )


def why(data: Data, best: Data) -> Html:
    """What the first plan does better than today and how near the others come."""
    said = [*_against_today(data, best), *(f"{r['about']}: {r['text']}" for r in best["reasons"])]
    rows = [r for w in data["plans"][1:] if (r := _beside(w, best)) is not None]
    head = ("beside it", "parts a start", "cost a part", "capital", "what that means")
    others = Html("<h3>The others beside it</h3>") + table(head, rows, "words") if rows else ""
    return Html(bullets(said) + others)


def _against_today(data: Data, best: Data) -> list[str]:
    before, after = data["today"]["cost_per_part"], best["cost_per_part"]
    currency = data["shop"]["rates"]["currency"]
    rows = []
    if before is not None and after is not None:
        rows.append(
            f"a part costs {num(after)} {currency} where it costs {num(before)} today: "
            f"{num(abs(before - after))} {'less' if after < before else 'more'}"
        )
    a, b = data["today"]["attended_minutes_per_part"], best["attended_minutes_per_part"]
    if a is not None and b is not None:
        rows.append(f"{sig(b)} attended minutes a part instead of {sig(a)}")
    return rows


def _beside(way: Data, best: Data) -> tuple[str, ...] | None:
    if way["cost_per_part"] is None or best["cost_per_part"] is None:
        return None
    more = way["cost_per_part"] - best["cost_per_part"]
    mine, other = best["cost_range"], way["cost_range"]
    near = bool(mine and other and mine[0] <= other[1] and other[0] <= mine[1])
    verdict = "inside each other's likely range: a tie on cost" if near else ("dearer" if more > 0 else "cheaper")
    spent = way["capital"] - best["capital"]
    parts = (way["parts_per_start"] or 0) - (best["parts_per_start"] or 0)
    return (
        f"{way['name']}: {way['timing']['label']}, {plural(way['design']['sets'], 'set')}",
        _signed(parts, 0),
        _signed(more, 2),
        _signed(spent, 0),
        verdict,
    )


def _signed(value: float, digits: int) -> str:
    if round(value, digits) == 0:
        return "same"
    return ("+" if value > 0 else "−") + num(abs(value), digits)


def more(data: Data) -> Html:
    """Changes that were tried on the best plan, each planned again."""
    if not data["one_more"]:
        return Html("<p>No change was tried on this plan.</p>")
    rows, marks = [], []
    for o in data["one_more"]:
        gain = o["parts_per_start"] is not None and o["parts_per_start"] > o["before"]
        came = f"{num(o['parts_per_start'], 0)} instead of {o['before']}" if gain else f"stays at {o['before']}"
        sure = "planned again and checked" if o["verified"] else "estimated, not planned again"
        rows.append((o["change"], came, "; ".join(t for t in (o["note"], sure) if t)))
        marks.append("best" if gain else "")
    gains = sum(1 for m in marks if m)
    lead = f"{plural(gains, 'change')} of {len(rows)} would." if gains else "None of these changes would."
    shown = table(("change", "parts a start", "how that is known"), rows, "words", marks)
    return Html(f"<p>{lead}</p>{shown}")


def turned_down(data: Data) -> Html:
    """Arrangements that weren't offered, by what stopped them."""
    groups: dict[str, list[str]] = {}
    for t in data["turned_down"]:
        reason = t["stopped_by"].removeprefix(f"{t['arrangement']}: ")
        short = f" (by {num(t['amount'], 1, t['unit'])})" if t["amount"] is not None else ""
        groups.setdefault(reason, []).append(t["arrangement"] + short)
    if not groups:
        return Html("")
    lines = []
    for reason, names in sorted(groups.items(), key=lambda g: (-len(g[1]), g[0])):
        counts = {n: names.count(n) for n in dict.fromkeys(names)}
        inside = bullets(n if k == 1 else f"{n}, {k} ways" for n, k in counts.items())
        lines.append(folded(Html(f"<b>{len(names)} ×</b> {escape(reason)}"), inside))
    total = sum(len(v) for v in groups.values())
    return Html(f"<h3>Turned down: {plural(total, 'arrangement')}, by what stopped them</h3>{''.join(lines)}")
