"""Numbers, tables and files of the report as text: everything from a plan is escaped here."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from importlib import resources
from typing import Any

Data = dict[str, Any]
UNKNOWN = "unknown"
THIN = "\u202f"


class Html(str):
    """Text that is markup already; any other text is escaped before it reaches the page."""


def html(value: object) -> Html:
    """A value as markup: markup stays, everything else is escaped."""
    return value if isinstance(value, Html) else Html(escape(str(value)))


def shipped(name: str) -> str:
    """Text of a file beside this module's data."""
    return resources.files("palletwright.papers").joinpath("data", name).read_text(encoding="utf-8")


def num(value: float | None, digits: int = 2, unit: str = "") -> str:
    """A number with fixed digits; unknown is said."""
    if value is None:
        return UNKNOWN
    text = f"{value:,.{digits}f}".replace(",", THIN)
    return f"{text}{chr(160)}{unit}" if unit else text


def sig(value: float | None, unit: str = "") -> str:
    """A number with as many digits as matter at its size; unknown is said."""
    if value is None:
        return UNKNOWN
    size = abs(value)
    digits = 0 if size >= 100 else 1 if size >= 10 else 2 if size >= 0.1 or size == 0 else 3
    text = num(value, digits)
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return f"{text}{chr(160)}{unit}" if unit else text


def size(values: Sequence[float]) -> str:
    """Lengths along x, y, z in mm."""
    return " × ".join(f"{v:.1f}".rstrip("0").rstrip(".") for v in values) + f"{chr(160)}mm"


def plural(count: int, word: str) -> str:
    """A count with its word."""
    return f"{count} {word}{'' if count == 1 else 's'}"


def direction(vector: Sequence[float]) -> str:
    """A direction in the part's frame: an axis by its name, anything else by its parts."""
    for axis, value in zip("xyz", vector, strict=True):
        if abs(abs(value) - 1.0) < 1e-9:
            return f"{'+' if value > 0 else '−'}{axis}"
    return "(" + ", ".join(f"{v:.2f}" for v in vector) + ")"


def table(head: Sequence[str], rows: Iterable[Sequence[object]], kind: str = "", marks: Sequence[str] = ()) -> Html:
    """A table that becomes one block a row on a narrow page; `marks` are the rows' classes."""
    body = []
    for i, row in enumerate(rows):
        cells = "".join(f'<td data-of="{escape(h)}"><div>{html(c)}</div></td>' for h, c in zip(head, row, strict=True))
        mark = f' class="{escape(marks[i])}"' if i < len(marks) and marks[i] else ""
        body.append(f"<tr{mark}>{cells}</tr>")
    top = "".join(f'<th scope="col">{escape(h)}</th>' for h in head)
    return Html(
        f'<div class="wide"><table class="{escape(kind)}"><thead><tr>{top}</tr></thead>'
        f"<tbody>{''.join(body)}</tbody></table></div>"
    )


def bullets(items: Iterable[object]) -> Html:
    """A list; the same thing is said once."""
    once = dict.fromkeys(str(html(i)) for i in items)
    return Html("<ul>" + "".join(f"<li>{i}</li>" for i in once) + "</ul>") if once else Html("")


def folded(title: object, inside: str) -> Html:
    """Something long behind its title."""
    return Html(f"<details><summary>{html(title)}</summary>{inside}</details>")


def section(id: str, title: str, *inside: str) -> Html:
    """One question of the reader with its answer."""
    return Html(f'<section id="{id}"><h2>{escape(title)}</h2>{"".join(inside)}</section>')
