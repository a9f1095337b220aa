"""Money as SVG: what a part costs today and planned, and when the capital is back."""

from __future__ import annotations

from html import escape

from palletwright.papers.report_words import Data, Html, num, sig, table

NOT_A_SHARE = {"capital", "per_year", "per_part"}
WORDS = {"setup": "setting up", "fixture": "fixture, spread", "bench": "bench work", "wash": "washing"}
LETTERS = "ABCDEFGHIJKLMNOP"


def shares(way: Data) -> dict[str, float]:
    """The parts of a cost, currency a part."""
    return {k: v for k, v in (way["cost"] or {}).items() if k not in NOT_A_SHARE and v is not None}


def cost_bars(data: Data, best: Data) -> Html:
    """Today's cost and the plan's as two stacked bars, every share with its letter and number."""
    currency = data["shop"]["rates"]["currency"]
    rows = [(name, shares(way)) for name, way in (("today", data["today"]), (best["name"], best))]
    names = list(dict.fromkeys(k for _, parts in rows for k in parts))
    names.sort(key=lambda k: -max(parts.get(k, 0.0) for _, parts in rows))
    most = max((sum(parts.values()) for _, parts in rows), default=0.0)
    if not names or most <= 0.0:
        return Html("")
    bars = "".join(_bar(i, name, parts, names, most) for i, (name, parts) in enumerate(rows))
    key = [
        (
            Html(f'<i class="sw tone{i % 8}"></i>{LETTERS[i % 16]} {escape(WORDS.get(k, k))}'),
            *(num(parts[k]) if k in parts else "unknown" for _, parts in rows),
        )
        for i, k in enumerate(names)
    ]
    return Html(
        f"<figure><figcaption>What a part costs, {escape(currency)}</figcaption>"
        f'<svg viewBox="0 0 520 84" role="img" aria-label="cost of a part today and planned">{bars}</svg>'
        + table(("share", "today", best["name"]), key, "tight")
        + "</figure>"
    )


def _bar(row: int, name: str, parts: dict[str, float], names: list[str], most: float) -> str:
    scale, x, y = 380.0 / most, 72.0, 6 + 40 * row
    shapes = [f'<text x="0" y="{y + 20}" class="ink">{escape(name)}</text>']
    if not parts:
        return shapes[0] + f'<text x="{x}" y="{y + 20}" class="soft">unknown: the job doesn\'t describe it</text>'
    for i, k in enumerate(names):
        wide = parts.get(k, 0.0) * scale
        if wide <= 0.0:
            continue
        shapes.append(f'<rect x="{x:.1f}" y="{y}" width="{wide:.2f}" height="30" class="tone{i % 8} seam"/>')
        if wide > 13:
            letter = LETTERS[i % 16]
            shapes.append(f'<text x="{x + wide / 2:.1f}" y="{y + 20}" class="onbar">{letter}</text>')
        x += wide
    shapes.append(f'<text x="{x + 6:.1f}" y="{y + 20}" class="ink strong">{num(sum(parts.values()))}</text>')
    return "".join(shapes)


def payback_range(data: Data, best: Data) -> Html:
    """When the capital is back: likely, with its range, against the shop's limit."""
    back = best["payback"]
    limit = data["shop"]["rates"].get("payback_limit_months")
    if not back or back.get("months") is None:
        return Html("")
    months, low, high = back["months"], back.get("low"), back.get("high")
    end = 1.15 * max(v for v in (months, high, limit, 1.0) if v is not None)

    def at(value: float) -> float:
        return 12 + 496 * value / end

    step = next((s for s in (0.5, 1, 2, 3, 6, 12, 24, 60, 120) if end / s <= 9), 240)
    marks = "".join(
        f'<path d="M{at(i * step):.1f} 58v6" class="line"/>'
        f'<text x="{at(i * step):.1f}" y="78" class="soft mid">{i * step:g}</text>'
        for i in range(int(end / step) + 1)
    )
    shapes = f'<path d="M{at(0):.1f} 58H{at(end):.1f}" class="line"/>{marks}'
    if low is not None and high is not None:
        shapes += f'<rect x="{at(low):.1f}" y="36" width="{at(high) - at(low):.1f}" height="16" class="span"/>'
    shapes += f'<path d="M{at(months):.1f} 30v28" class="now"/>'
    shapes += f'<text x="{max(at(months), 60):.1f}" y="24" class="ink strong mid">{months:.1f} months</text>'
    if limit is not None:
        shapes += f'<path d="M{at(limit):.1f} 30v28" class="limit"/>'
        shapes += f'<text x="{at(limit):.1f}" y="24" class="soft mid">limit {limit:g}</text>'
    return Html(
        "<figure><figcaption>Months until the capital is back (bar: the likely range)</figcaption>"
        f'<svg viewBox="0 0 520 84" role="img" aria-label="payback in months">{shapes}</svg>'
        + table(("payback", "value"), _payback_rows(data, back), "tight words")
        + "</figure>"
    )


def _freed(back: Data) -> str:
    """Hours, and what share of today's they are."""
    share = back.get("machine_hours_share")
    hours = num(back.get("machine_hours_freed"), 0)
    return hours if share is None else f"{hours}, {100 * share:.0f}{chr(160)}% of today's"


def _payback_rows(data: Data, back: Data) -> list[tuple[str, str]]:
    currency = data["shop"]["rates"]["currency"]
    spread = back.get("npv_range")
    rows = [
        ("likely range, months", f"{sig(back.get('low'))} to {sig(back.get('high'))}"),
        ("saving a year", num(back.get("saving_per_year"), 0, currency)),
        ("parts to break even", num(back.get("break_even_parts"), 0)),
        ("machine hours freed a year", _freed(back)),
        ("months, freed hours worth nothing", sig(back.get("months_without_hours"))),
        ("present value", num(back.get("npv"), 0, currency)),
    ]
    if spread:
        rows.append(("present value, range", f"{num(spread[0], 0)} to {num(spread[1], 0)}"))
    chance = back.get("chance_within_limit")
    if chance is not None:
        rows.append(("chance to keep the shop's limit", f"{100 * chance:.0f}{chr(160)}%"))
    if back.get("matters_most"):
        rows.append(("what sways it most", ", ".join(str(name) for name, _ in back["matters_most"])))
    return rows
