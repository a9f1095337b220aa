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
    owner: str = ""
    logo: bytes | None = None
    language: str = "en"


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
        "owner": sheet.owner,
        "logo": "" if sheet.logo is None else f"logo.{_kind(sheet.logo)}",
        "identity": sheet.identity,
        "language": sheet.language,
        "page": sheet.page_word,
        "cautions": list(sheet.cautions),
        "blocks": list(sheet.blocks),
        "width": width,
        "height": height,
        "margin": MARGIN,
    }
    given: Any = {"main.typ": _template(), "sheet.json": json.dumps(content, ensure_ascii=False).encode()}
    given |= {f"{name}.svg": text.encode() for name, text in sheet.pictures.items()}
    if sheet.logo is not None:
        given[f"logo.{_kind(sheet.logo)}"] = sheet.logo
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


def words(text: str, size: str = "normal", lead: bool = False) -> Block:
    """A paragraph: size `small`, `normal` or `big`; `lead`: it stays on the page of what follows."""
    return {"kind": "words", "text": text, "size": size, "lead": lead}


def checks(items: Sequence[str]) -> Block:
    """A list to tick off."""
    return {"kind": "checks", "items": list(items)}


def notes(items: Sequence[str]) -> Block:
    """A list to read."""
    return {"kind": "notes", "items": list(items)}


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


def drawn_pdf(
    sheets: Sequence[tuple[float, float, str]],
    title: str,
    identity: str,
    logo: tuple[bytes, float, float, float, float] | None = None,
) -> bytes:
    """Drawings (width, height mm, SVG of the whole sheet) as one PDF at their own sizes.

    logo : SVG or PNG bytes, and its box: left and lower edge from the right and lower edge of the sheet, width, height.
    """
    import typst

    rows = []
    given: Any = {}
    for k, (width, height, svg) in enumerate(sheets):
        given[f"s{k}.svg"] = svg.encode()
        mark = ""
        if logo is not None:
            left, low, wide, high = logo[1:]
            mark = (
                f"#place(top + left, dx: {width - left}mm, dy: {height - low - high}mm, "
                f'image("logo.{_kind(logo[0])}", width: {wide}mm, height: {high}mm, fit: "contain"))'
            )
        rows.append(
            f"#page(width: {width}mm, height: {height}mm, margin: 0mm)["
            f'{mark}#place(top + left, image("s{k}.svg", width: {width}mm))]'
        )
    if logo is not None:
        given[f"logo.{_kind(logo[0])}"] = logo[0]
    head = f'#set document(title: {json.dumps(f"{title} {identity}", ensure_ascii=False)}, author: "palletwright", '
    head += "date: datetime(year: 2026, month: 1, day: 1))\n"
    head += f'#set text(font: "{FONT}", fallback: false)\n'
    given["main.typ"] = (head + "\n".join(rows)).encode()
    with as_file(files("palletwright.papers").joinpath("data", "fonts")) as fonts:
        made = typst.compile(
            given, font_paths=[str(fonts)], ignore_system_fonts=True, timestamp=FIXED_DATE, pdf_tags=False
        )
    if not isinstance(made, bytes):
        raise TypeError("typst gave no PDF")
    return made


def _kind(picture: bytes) -> str:
    return "png" if picture.startswith(b"\x89PNG") else "svg"
