"""The part as it was read, and how it is made today."""

from __future__ import annotations

from html import escape

from palletwright.papers.report_words import Data, Html, bullets, direction, folded, num, plural, sig, size, table

FEWEST = {"fixed": "with a fixed spindle", "rotary": "with an indexed rotary axis"}


def part(data: Data) -> Html:
    """Size, material, features with the directions that reach them, and the fewest operations."""
    p, access = data["part"], data["access"]
    said = (
        f"{p['name']} ({p['file']}, read in {p['unit']}): {size(p['size_mm'])}, {sig(p['volume_mm3'] / 1000.0)} cm³, "
        f"{p['faces']} faces. Its blank is {size(p['blank_mm'])} and weighs {num(p['blank_kg'], 2, 'kg')}, "
        f"{p['material']}."
    )
    facts = [f"{f['kind']} {f['value']} at ({', '.join(f'{v:g}' for v in f['at'])})" for f in data["job"]["facts"]]
    told = f"<p>From the drawing: {Html(bullets(facts))}</p>" if facts else NO_FACTS
    return Html(
        f"<p>{escape(said)}</p>{told}"
        + bullets(_fewest(access))
        + folded(f"{plural(len(access['features']), 'feature')} and the directions that reach them", _features(access))
        + _left_over(data)
    )


NO_FACTS = '<p class="note">No datums, fits or tolerances were given: locating faces are assumed.</p>'


def _fewest(access: Data) -> list[str]:
    rows = []
    for family, found in access["operations"].items():
        if not found:
            continue
        count = len(found["clampings"])
        proof = "proven the fewest" if found["proven"] else f"at least {found['bound']}"
        rows.append(f"{plural(count, 'operation')} {FEWEST.get(family, family)}, {proof}")
    return rows


def _features(access: Data) -> Html:
    rows = [
        (
            f["id"],
            sig(f.get("diameter_mm")) if f.get("diameter_mm") else "",
            sig(f.get("depth_mm")) if f.get("depth_mm") else "",
            f.get("thread") or "",
            ", ".join(direction(v) for v in f["directions"]) or "none",
            ", ".join(f"T{t}" for t in f["tools"]),
            "; ".join(f["notes"]),
        )
        for f in access["features"]
    ]
    return table(("feature", "diameter, mm", "depth, mm", "thread", "reached from", "tools", "note"), rows, "words")


def _left_over(data: Data) -> Html:
    if not data["left_over"]:
        return Html("")
    rows = [(x["feature"], num(x["mm3"], 1), x["why"], x.get("would_do") or "") for x in data["left_over"]]
    shown = table(("feature", "mm³ left", "why", "what would do"), rows, "words")
    return Html(f"<h3>What no tool reaches</h3>{shown}")


def present(data: Data) -> Html:
    """Today's operations, the time and the cost of a part."""
    today = data["today"]
    said = bullets(r["text"] for r in today["reasons"])
    if not today["operations"]:
        return Html(f"<p>The job doesn't describe it; there is nothing to compare with, and no payback.</p>{said}")
    rows = [
        (
            o["operation"],
            o.get("machine") or "unknown",
            sig(o["parts_per_start"]),
            num(o["cycle_seconds"], 0),
            num(o["load_seconds"], 0),
            "yes" if o["attended"] else "no",
            sig(o["setup_hours"]),
            num(100 * o["scrap"], 1),
        )
        for o in today["operations"]
    ]
    head = ("operation", "machine", "parts a start", "cycle, s", "loading, s", "attended", "setting up, h", "scrap, %")
    sums = (
        f"Together {sig(today['starts_per_part'])} starts, {sig(today['spindle_minutes_per_part'])} min of spindle and "
        f"{sig(today['attended_minutes_per_part'])} attended minutes a part, for {num(today['cost_per_part'])} "
        f"{data['shop']['rates']['currency']}. These figures are the job file's, not measured here."
    )
    return Html(f"{table(head, rows, 'first-words')}<p>{escape(sums)}</p>{said}")
