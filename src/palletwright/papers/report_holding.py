"""How well it holds: both verdicts, what to set at each clamp, and where the features then stand."""

from __future__ import annotations

from palletwright.papers.report_words import Data, Html, folded, num, sig, table


def proofs(best: Data) -> Html:
    """Both holding verdicts of each operation with what proves them; nothing for plans that carry no proof."""
    rows = [o for o in best["operations"] if "certificate" in o["holding"]]
    if not rows:
        return Html("")
    head = ("operation", "friction limit", "elastic contacts", "needs", "least preloads, N", "part moves at the tool")
    each = [(o["number"], *_verdicts(o["holding"])) for o in rows]
    windows = [(o["number"], *_window(w)) for o in rows for w in o["holding"]["set"]]
    return Html(
        "<h3>How well it holds</h3>"
        + table(head, each, "words")
        + '<p class="note">The smaller of both decides. A virtual motion proves the friction limit: past it no '
        "forces in the contacts balance the load. The elastic one depends on stiffness that is partly estimated.</p>"
        + _set(windows)
        + _places(best)
    )


def _verdicts(h: Data) -> tuple[str, ...]:
    proven = "proven" if h["certificate"].get("checked") else "unproven"
    least = h["least_preload_n"]["each"]
    moved = (h["at_tool"] or {}).get("mm")
    return (
        f"{sig(h['friction'])}, {proven}",
        sig(h["elastic"]),
        sig(h["floor"]),
        ", ".join(f"{p:.0f}" for p in least) if least else "unknown",
        "unknown" if moved is None else f"{moved:.3f} mm at most",
    )


def _set(rows: list[tuple[object, ...]]) -> str:
    if not rows:
        return ""
    head = ("operation", "clamp", "screw", "slides below", "set", "gives past", "what gives")
    return "<h3>What to set at each clamp</h3>" + table(head, rows, "words")


def _window(w: Data) -> tuple[str, ...]:
    most = "unknown" if w["gives"] is None else f"{w['gives']:.1f} {w['unit']}"
    return w["clamp"], w["screw"], f"{w['slides']:.1f} {w['unit']}", f"{w['set']:.1f} {w['unit']}", most, w["by"]


def _places(best: Data) -> str:
    """The worst station of each feature, and every station behind a fold."""
    every = [(o["number"], r) for o in best["operations"] for r in o.get("location", ())]
    if not every:
        return ""
    worst: dict[object, tuple[int, Data]] = {}
    for number, r in every:
        key = number, r["feature"], r["drawing"]
        if key not in worst or r["across_worst_mm"] > worst[key][1]["across_worst_mm"]:
            worst[key] = number, r
    head = ("operation", "feature", "station", "± across the tool", "spread", "± along it", "spread", "drawing")
    rows = table(head, [_place(n, r) for n, r in worst.values()], "words")
    whole = table(head, [_place(n, r) for n, r in every], "words")
    note = (
        '<p class="note">Worst case and root of the squares of locators, carrier and index, mm. The drawing places no '
        "feature where its column is empty; then the one that stands worst is shown.</p>"
    )
    return "<h3>Where the features stand</h3>" + rows + note + folded(f"every station ({len(every)})", whole)


def _place(number: int, r: Data) -> tuple[object, ...]:
    limit = "" if r["limit_mm"] is None else f"{r['drawing']}: ±{num(r['limit_mm'], 3)}"
    if r["with"]:
        limit += f", cut in one clamping with {', '.join(r['with'])}"
    if r["raw"]:
        limit += " (located on a raw face)"
    figures = (r[k] for k in ("across_worst_mm", "across_spread_mm", "along_worst_mm", "along_spread_mm"))
    return (number, r["feature"], r["station"], *(num(v, 3) for v in figures), limit.strip())
