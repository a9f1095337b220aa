"""A side of a fixture with its stations as a flat picture in SVG."""

from __future__ import annotations

from math import atan2, degrees

from palletwright.papers.report_words import Data, Html, html, plural

LOCATES = ("locator", "stop", "rail", "pin", "rest", "seat", "fixed-jaw")


def path_of(rings: list[list[list[float]]]) -> str:
    """An SVG path of rings, y upwards turned into y downwards."""
    return " ".join("M" + "L".join(f"{x:.2f} {-y:.2f}" for x, y in ring) + "Z" for ring in rings)


def pattern() -> Html:
    """The hatching of clamps, once a page."""
    return Html(
        '<svg class="defs" aria-hidden="true"><defs><pattern id="hatch" width="3" height="3" '
        'patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="3" height="3" class="clamp-under"/>'
        '<path d="M0 0V3" class="clamp-line"/></pattern></defs></svg>'
    )


def is_locator(name: str) -> bool:
    """Whether a device's name says that it locates."""
    return any(word in name for word in LOCATES)


def facing(bodies: list[Data], side: Data, along: str) -> float | None:
    """Index angle (degrees) at which the side faces the spindle; None where it doesn't turn.

    A device's pose carries the side's normal as its third column, with the axis at zero.
    """
    names = {name for s in side["stations"] for name in s["parts"]}
    body = next((b for b in bodies if b["owner"] in names and b["group"] == "rotary"), None)
    if body is None or along not in ("x", "y"):
        return None
    x, y, z = body["pose"][2], body["pose"][6], body["pose"][10]
    return round(degrees(atan2(y, z) if along == "x" else atan2(-x, z)), 3) % 360.0


def side_figure(side: Data, name: str, angle: float | None) -> Html:
    """A side seen against its normal, at one scale in both ways, names on the parts, y upwards."""
    points = [p for ring in side["area"] for p in ring]
    points += [p for s in side["stations"] for b in s["bodies"] for ring in b["rings"] for p in ring]
    x0, x1 = min(p[0] for p in points), max(p[0] for p in points)
    y0, y1 = min(p[1] for p in points), max(p[1] for p in points)
    pad = 0.02 * max(x1 - x0, y1 - y0) + 2
    shapes = [f'<path d="{path_of(side["area"])}" class="free"/>']
    shapes += [_body(b, s["operation"]) for s in side["stations"] for b in s["bodies"]]
    shapes += [t for s in side["stations"] for t in _names(s, x1 - x0)]
    shapes.append(_scale(x0, y0 - pad, x1 - x0))
    box = f"{x0 - pad:.1f} {-y1 - pad:.1f} {x1 - x0 + 2 * pad:.1f} {y1 - y0 + 3.2 * pad:.1f}"
    count = sum(len(s["parts"]) for s in side["stations"])
    turned = "" if angle is None else f", faces the spindle at {angle:g}°"
    said = f"{plural(count, 'part')} in {plural(len(side['stations']), 'station')}{turned}"
    tall = " tall" if y1 - y0 > x1 - x0 else ""
    return Html(
        f'<figure class="side{tall}"><figcaption><b>{html(name)}</b> of {html(_carrier(side))}: {html(said)}'
        f'</figcaption><svg viewBox="{box}" role="img" aria-label="{html(name)}, {html(said)}">{"".join(shapes)}'
        "</svg></figure>"
    )


def _carrier(side: Data) -> str:
    return str(side["side"]).rsplit("/", 1)[0]


def _body(body: Data, operation: int) -> str:
    part = body["id"].startswith("part")
    kind = f"op{operation % 5}" if part else ("loc" if is_locator(body["id"]) else "clamp")
    return (
        f'<path d="{path_of(body["rings"])}" class="fill-{kind} edge" fill-rule="evenodd">'
        f"<title>{html(body['id'])}</title></path>"
    )


def _names(station: Data, width: float) -> list[str]:
    held = [b for b in station["bodies"] if b["id"].startswith("part")]
    shapes = []
    for name, body in zip(station["parts"], held, strict=False):
        xs, ys = [p[0] for p in body["rings"][0]], [p[1] for p in body["rings"][0]]
        wide, high = max(xs) - min(xs), max(ys) - min(ys)
        size = min(1.5 * wide / max(len(name), 3), 0.6 * high, 0.045 * width + 3)
        shapes.append(
            f'<text x="{(min(xs) + max(xs)) / 2:.1f}" y="{-(min(ys) + max(ys)) / 2:.1f}" font-size="{size:.1f}" '
            f'class="name">{html(name)}</text>'
        )
    return shapes


def _scale(x: float, y: float, width: float) -> str:
    """A scale bar below the side, mm."""
    length = next(n for n in (500, 200, 100, 50, 20, 10, 5, 0) if n <= width / 3)
    size = 0.022 * width + 1.5
    return (
        f'<path d="M{x:.1f} {-y:.1f}h{length}" class="bar"/><text x="{x + length + size / 2:.1f}" '
        f'y="{-y + 0.35 * size:.1f}" font-size="{size:.1f}" class="fine">{length} mm; x to the right, y up</text>'
    )
