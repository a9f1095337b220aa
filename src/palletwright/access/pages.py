"""The page around access's pictures: clampings, features with their tools, and what stays."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from palletwright.access.model import Access, Feature
from palletwright.access.model import Sequence as Order
from palletwright.verdict import Vec

STYLE = """
body{font:15px/1.45 system-ui,sans-serif;margin:2rem auto;max-width:1080px;padding:0 1rem;color:#1c2430}
h1{font-size:1.5rem}h2{font-size:1.1rem;margin-top:2rem}
.views{display:grid;grid-template-columns:repeat(auto-fill,minmax(320px,1fr));gap:1.2rem}
figure{margin:0;border:1px solid #d5dae0;border-radius:6px;padding:.8rem}figcaption{margin-bottom:.5rem}
img{max-width:100%;height:auto}
.key{list-style:none;margin:.5rem 0 0;padding:0;display:flex;flex-wrap:wrap;gap:.2rem .9rem}
.key span{display:inline-block;width:.8em;height:.8em;margin-right:.35em;border-radius:2px}
table{border-collapse:collapse;width:100%}th,td{text-align:left;padding:.25rem .6rem .25rem 0;vertical-align:top}
tr{border-bottom:1px solid #e3e7eb}.n{text-align:right}
"""


def page(access: Access, cards: Sequence[str]) -> str:
    """The whole HTML page; `cards` are the directions' figures."""
    title = f"Access of {escape(access.solid.name)}"
    accuracy = f"Looked at every {access.pitch:.3g} mm; an edge of reach may be off by {access.error_bound:.3g} mm."
    parts = [
        f'<!doctype html><html lang="en"><meta charset="utf-8"><title>{title}</title><style>{STYLE}</style>',
        f"<h1>{title}</h1><p>{accuracy} Times are estimated from geometry, ±25 %.</p>",
        "<p>A face has the colour of the feature that makes it where that is cut from there, else it is grey. "
        "Red stripes: some of the feature stays uncut.</p>",
        f'<div class="views">{"".join(cards)}</div>',
        operations("Fixed spindle", access.fixed),
        operations("With a rotary axis", access.rotary),
        features(access.features),
        stays(access),
    ]
    if access.reasons:
        parts.append("<h2>Remarks</h2><ul>" + "".join(f"<li>{escape(r.text)}</li>" for r in access.reasons) + "</ul>")
    return "\n".join(p for p in parts if p) + "\n</html>\n"


def operations(title: str, orders: Sequence[Order]) -> str:
    if not orders:
        return f"<h2>{title}</h2><p>No sequence of clampings cuts everything.</p>"
    first = orders[0]
    proof = "proven least" if first.proven else f"at least {first.bound}, not proven"
    rows = "".join(
        f"<li>{'; '.join(way(d) for d in c.directions)}: "
        f"{escape(', '.join(dict.fromkeys(name for name, _ in c.features)))}</li>"
        for c in first.clampings
    )
    return f"<h2>{title}: {len(first.clampings)} clampings ({proof})</h2><ol>{rows}</ol>"


def way(direction: Vec) -> str:
    """The direction's three numbers."""
    return " ".join(f"{v:.3g}" for v in direction)


def features(rows: Sequence[Feature]) -> str:
    body = "".join(
        f"<tr><td>{escape(f.id)}</td><td>{size(f)}</td><td>{tools(f)}</td><td class=n>{seconds(f)}</td>"
        f"<td>{escape('; '.join(f.notes))}</td></tr>"
        for f in rows
    )
    head = "<tr><th>feature</th><th>size</th><th>tools</th><th>s</th><th>remarks</th></tr>"
    return f"<h2>Features</h2><table>{head}{body}</table>"


def size(f: Feature) -> str:
    if f.kind == "hole":
        return f"Ø{f.diameter:.2f} × {f.depth:.2f} mm, {'through' if f.through else 'blind'}"
    made = f" ({', '.join(f.forms)})" if f.forms else ""
    return f"{f.volume:,.0f} mm³{made}"


def tools(f: Feature) -> str:
    return ", ".join(str(t) for t in sorted({c.tool for r in f.routes for c in r.cuts})) or "none"


def seconds(f: Feature) -> str:
    return f"{min(r.seconds for r in f.routes):.0f}" if f.routes else ""


def stays(access: Access) -> str:
    if not access.left_over:
        return "<h2>What stays</h2><p>Nothing: every feature can be cut.</p>"
    rows = "".join(
        f"<tr><td>{escape(x.feature)}</td><td class=n>{x.mm3:,.0f} mm³</td><td>{escape(x.why)}</td>"
        f"<td>{escape(x.would_do)}</td></tr>"
        for x in access.left_over
    )
    head = "<tr><th>feature</th><th>stays</th><th>why</th><th>what would do</th></tr>"
    return f"<h2>What stays</h2><table>{head}{rows}</table>"
