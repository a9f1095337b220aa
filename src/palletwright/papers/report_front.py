"""The first page: makeable or not, what it comes to, what that rests on, and the cautions."""

from __future__ import annotations

from html import escape

from palletwright.papers.drawn_money import cost_bars, payback_range
from palletwright.papers.report_words import Data, Html, bullets, num, plural, sig, size

CAUTION = (
    "Prove out single-block at reduced rapid. The machine builder's limits on speed, swing and clamping stand above "
    "these numbers. Guards closed, every clamp checked. Local codes and a qualified person decide."
)


def front(data: Data, best: Data) -> Html:
    """The page that stands alone."""
    part, job = data["part"], data["job"]
    lede = (
        f"{part['name']}, {part['material']}, {size(part['size_mm'])} from a blank of {size(part['blank_mm'])}; "
        f"{num(job['per_year'], 0)} a year. Proposed: {best['timing']['label']}, "
        f"{plural(best['design']['sets'], 'set')}."
    )
    return Html(
        f'<header class="first"><h1>{escape(data["title"])}</h1><p class="lede">{escape(lede)}</p>'
        + verdict(data)
        + facts(data, best)
        + f'<div class="pair">{cost_bars(data, best)}{payback_range(data, best)}</div>'
        + assumptions(data)
        + f'<p class="caution"><strong>Before the first start:</strong> {escape(CAUTION)}</p></header>'
    )


def verdict(data: Data) -> Html:
    """Makeable or not, with what is left over."""
    if data["makeable"]:
        return Html('<p><span class="verdict yes">✓ Makeable</span> every face that needs cutting is reached.</p>')
    rows = [
        f"{x['feature']}: {num(x['mm3'], 1)} mm³, {x['why']}. {x.get('would_do') or ''}".strip()
        for x in data["left_over"]
    ]
    shown = bullets(rows[:6])
    rest = f"<p class='note'>and {plural(len(rows) - 6, 'more feature')}, listed under the part.</p>"
    return Html(
        '<p><span class="verdict partly">! Makeable, with material left over</span> '
        f"no tool of the shop reaches this:</p>{shown}{rest if len(rows) > 6 else ''}"
    )


def facts(data: Data, best: Data) -> Html:
    """Eight numbers, each with what it is today."""
    today, currency = data["today"], data["shop"]["rates"]["currency"]
    months = (best["payback"] or {}).get("months")
    back = "no payback" if months is None else sig(months, "months")
    why = "of saving pay the capital back" if months is not None else _no_payback(data)
    spread = best["cost_range"]
    likely = f"a part, likely {num(spread[0])} to {num(spread[1])}" if spread else "a part"
    margin = f"{sig(best['least_clearance_mm'], 'mm')}, ×{chr(160)}{sig(best['least_holding_factor'])}"
    cells = [
        (sig(best["parts_per_start"]), "finished parts every start", sig(today["parts_per_start"])),
        (sig(best["spindle_minutes_per_part"], "min"), "spindle a part", sig(today["spindle_minutes_per_part"])),
        (sig(best["attended_minutes_per_part"], "min"), "attended a part", sig(today["attended_minutes_per_part"])),
        (num(best["unattended_minutes"], 0, "min"), "alone in one go", num(today["unattended_minutes"], 0)),
        (num(best["cost_per_part"], 2, currency), likely, num(today["cost_per_part"])),
        (num(best["capital"], 0, currency), f"to spend once, {plural(best['design']['sets'], 'set')}", ""),
        (back, why, ""),
        (margin, "least tool clearance, least holding factor", ""),
    ]
    return Html('<div class="facts">' + "".join(_fact(*c) for c in cells) + "</div>")


def _fact(value: str, text: str, today: str) -> str:
    before = f"<em>today {escape(today)}</em>" if today else ""
    return f'<div class="fact"><b>{escape(value)}</b><span>{escape(text)}</span>{before}</div>'


def _no_payback(data: Data) -> str:
    return "the job doesn't say how it runs today" if data["today"]["cost_per_part"] is None else "there is no saving"


def assumptions(data: Data) -> Html:
    """What the numbers rest on; the caution stands on its own below."""
    notes = [*data["assumptions"], *data["part"]["notes"]]
    kept = [n for n in notes if not n.startswith("Prove out single-block")]
    return Html(f'<div class="rests"><h3>What these numbers rest on</h3>{bullets(kept)}</div>')
