"""Pictures of tool assemblies to one scale, with gauge length and stick-out."""

from __future__ import annotations

from collections.abc import Sequence

from palletwright.papers.typeset import FONT
from palletwright.papers.views import SMALLEST
from palletwright.papers.words import Words
from palletwright.shop.model import Tool

WIDE = 26.0
"""mm of paper for one tool."""

TALL = 62.0
"""mm of paper for the longest tool."""

SCALE = 0.5
"""Paper mm per mm, at most."""


def tool_rows(tools: Sequence[Tool], words: Words, width: float) -> list[str]:
    """SVG strips, each as wide as `width` mm at most, of all tools to one scale, spindle up."""
    if not tools:
        return []
    longest = max(t.gauge_length for t in tools)
    broadest = max(2 * r for t in tools for r, _, _ in t.stack())
    scale = min(SCALE, TALL / longest, (WIDE - 10.0) / broadest)
    many = max(1, int(width // WIDE))
    return [_strip(tools[k : k + many], words, scale) for k in range(0, len(tools), many)]


def _strip(tools: Sequence[Tool], words: Words, scale: float) -> str:
    top, tall = 6.0, max(t.gauge_length for t in tools) * scale
    height = top + tall + 9.0
    parts = []
    for k, tool in enumerate(tools):
        x = WIDE * k + 11.0
        gauge = top
        parts.append(_text(x, 3.6, f"T{tool.number}", 3.4, bold=True))
        for i, (radius, low, high) in enumerate(tool.stack()):
            y = gauge + (tool.gauge_length - high) * scale
            fill = "#c8c8c8" if low >= tool.stick_out - 1e-9 else "#ffffff" if i else "#8f8f8f"
            parts.append(
                f'<rect x="{x - radius * scale:.3f}" y="{y:.3f}" width="{2 * radius * scale:.3f}" '
                f'height="{(high - low) * scale:.3f}" fill="{fill}" stroke="#000" stroke-width="0.2"/>'
            )
        tip = gauge + tool.gauge_length * scale
        front = tip - tool.stick_out * scale
        right = x + 10.0
        parts.append(_line(x - 10.0, gauge, right + 2.0, gauge))
        parts += [_line(right, gauge, right, tip), _line(x, tip, right + 2.0, tip)]
        parts += [_line(right - 2.6, front, right - 2.6, tip), _line(x, front, right - 1.0, front)]
        parts.append(_text(x, tip + 3.8, words.length(tool.gauge_length, 1), SMALLEST))
        parts.append(_text(x, tip + 7.2, f"({words.length(tool.stick_out, 1)})", SMALLEST))
        height = max(height, tip + 8.0)
    w = WIDE * len(tools)
    size = f'width="{w:.3f}mm" height="{height:.3f}mm" viewBox="0 0 {w:.3f} {height:.3f}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>' + "".join(parts) + "</svg>"


def _line(x0: float, y0: float, x1: float, y1: float) -> str:
    return f'<path d="M{x0:.3f} {y0:.3f}L{x1:.3f} {y1:.3f}" stroke="#000" stroke-width="0.15"/>'


def _text(x: float, y: float, text: str, size: float, bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-family="{FONT}" font-size="{size:.2f}" text-anchor="middle"{weight}>'
        f"{text}</text>"
    )
