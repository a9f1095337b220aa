"""Sheets from blocks to PDF by typst: our own fonts, a fixed date, the same bytes for the same content."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import as_file, files
from typing import Any

from palletwright.errors import Fault, InputError

Block = dict[str, Any]
FIXED_DATE = 1767225600
"""s since 1970: 2026-01-01. The plan's identity, not the day of printing, tells two prints apart."""

PAPERS: dict[str, tuple[float, float]] = {"A4": (210.0, 297.0), "A3": (297.0, 420.0), "Letter": (215.9, 279.4)}
"""mm: width and height upright (ISO 216; Letter 8.5 x 11 in)."""

MARGIN = 12.0
"""mm left free round a sheet."""

FONT = "DejaVu Sans"


@dataclass(frozen=True)
class Sheet:
    """One PDF: its title, what stands in the head and foot of every page, blocks in order, pictures by name."""

    title: str
    head: str
    identity: str
    page_word: str
    cautions: tuple[str, ...]
    blocks: tuple[Block, ...]
    pictures: Mapping[str, str] = field(default_factory=dict)
    landscape: bool = False


def room(paper: str, landscape: bool = False) -> tuple[float, float]:
    """mm, width and height inside the margins, head and foot already taken off.

    Raises InputError for a paper that we don't print on.
    """
    if paper not in PAPERS:
        raise InputError([Fault("papers", "paper", paper, "isn't a paper size", ", ".join(PAPERS))])
    width, height = PAPERS[paper] if not landscape else PAPERS[paper][::-1]
    return width - 2 * MARGIN, height - 2 * MARGIN - 22.0


@cache
def _template() -> bytes:
    return files("palletwright.papers").joinpath("data", "sheet.typ").read_bytes()


def pdf(sheet: Sheet, paper: str) -> bytes:
    """The sheet as PDF with embedded fonts."""
    import typst

    room(paper, sheet.landscape)
    width, height = PAPERS[paper] if not sheet.landscape else PAPERS[paper][::-1]
    content = {
        "title": sheet.title,
        "head": sheet.head,
        "identity": sheet.identity,
        "page": sheet.page_word,
        "cautions": list(sheet.cautions),
        "blocks": list(sheet.blocks),
        "width": width,
        "height": height,
        "margin": MARGIN,
    }
    given: Any = {"main.typ": _template(), "sheet.json": json.dumps(content, ensure_ascii=False).encode()}
    given |= {f"{name}.svg": text.encode() for name, text in sheet.pictures.items()}
    with as_file(files("palletwright.papers").joinpath("data", "fonts")) as fonts:
        made = typst.compile(
            given, font_paths=[str(fonts)], ignore_system_fonts=True, timestamp=FIXED_DATE, pdf_tags=True
        )
    if not isinstance(made, bytes):
        raise TypeError("typst gave no PDF")
    return made


def table(head: Sequence[str], rows: Sequence[Sequence[str]], align: str, widths: Sequence[str] = ()) -> Block:
    """A table; `align` has one of l, c, r for each column; `widths` are "auto" or "1fr"."""
    if any(len(row) != len(head) for row in rows) or len(align) != len(head):
        raise ValueError("a table's rows and alignment need as many columns as its head")
    return {
        "kind": "table",
        "head": list(head),
        "rows": [list(r) for r in rows],
        "align": align,
        "widths": list(widths) or ["auto"] * len(head),
    }


def heading(text: str) -> Block:
    """A heading inside a sheet."""
    return {"kind": "heading", "text": text}


def words(text: str, size: str = "normal") -> Block:
    """A paragraph: size `small`, `normal` or `big`."""
    return {"kind": "words", "text": text, "size": size}


def checks(items: Sequence[str]) -> Block:
    """A list to tick off."""
    return {"kind": "checks", "items": list(items)}


def steps(items: Sequence[str], start: int = 1) -> Block:
    """A numbered list in big letters."""
    return {"kind": "steps", "items": list(items), "start": start}


def picture(name: str) -> Block:
    """A picture of the sheet at its own size."""
    return {"kind": "picture", "name": name}


def side_by_side(left: Sequence[Block], right: Sequence[Block]) -> Block:
    """Two columns."""
    return {"kind": "columns", "left": list(left), "right": list(right)}


def new_page() -> Block:
    """What follows begins on a new page."""
    return {"kind": "page"}
