"""The bill: what is bought or made once, with quantities, as a workbook and as text; its total is the plan's."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from palletwright.papers.carriers import CarrierModel
from palletwright.papers.facts import Facts
from palletwright.papers.fasteners import fixings, kept_as
from palletwright.papers.live import Live
from palletwright.plan.money import BOUGHT_CLAMPS, carriers_needed
from palletwright.shop.model import Carrier, Clamp, Cutter, Holder, Locator

FIXED = datetime(2026, 1, 1, tzinfo=UTC).replace(tzinfo=None)
"""Date in the workbook's properties: the identity tells two bills apart, not the day."""

ITEMS = {
    "blank": "item_blank",
    "making": "item_making",
    BOUGHT_CLAMPS: "item_clamps",
    "stations: making": "item_stations",
    "design and programs": "item_design",
}
"""Keys of the plan's own items of a bill."""

PAPERS = {"Letter": 1, "A3": 8, "A4": 9}
"""Numbers of paper sizes in a workbook (ECMA-376, pageSetup)."""

Models = Sequence[CarrierModel]


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a list: what, its name, the shop's own number, how many, price of one (None: unknown), a remark."""

    kind: str
    name: str
    count: int
    each: float | None
    remark: str = ""
    number: str = ""


def pieces(facts: Facts, live: Live | str, models: Models = ()) -> list[Line]:
    """Blanks, carriers, clamps, locators, screws, dowels and tools with their counts for all sets, prices and numbers
    from the shop file."""
    rows = [_blanks(facts), *_carriers(facts)]
    if not isinstance(live, str):
        rows += _devices(facts, live)
        rows += _fixings(facts, live, models)
    return rows + _tools(facts)


def _blanks(facts: Facts) -> Line:
    """The part's blanks of a batch, at the plan's price of one."""
    part, job, w = facts.data["part"], facts.data["job"], facts.words
    size = " × ".join(w.length(v, 1) for v in part["blank_mm"])
    cost = facts.way["cost"] or {}
    remark = f"{size} {w.length_unit}, {part['material']}"
    return Line("blank", part["name"], job["batch"] or job["per_year"], cost.get("material"), remark)


def _carriers(facts: Facts) -> list[Line]:
    known, w = {c.id: c for c in facts.shop.carriers}, facts.words
    rows = []
    for name, n in sorted(carriers_needed(facts.design).items()):
        carrier = known[name]
        bought = max(0, n - (carrier.how_many if carrier.owned else 0))
        remark = _size(facts, carrier)
        if bought < n:
            remark += ", " + w.say("bill_owned", n=n - bought)
        rows.append(Line("carrier", name, bought, carrier.blank_price, remark, carrier.part_number))
    return rows


def _size(facts: Facts, carrier: Carrier) -> str:
    w = facts.words
    if carrier.kind == "pallet":
        return f"Ø {w.length(carrier.blank_diameter, 1)} × {w.length(carrier.length, 1)} {w.length_unit}"
    sides = (carrier.length, carrier.width, carrier.height)
    return " × ".join(w.length(v, 1) for v in sides) + f" {w.length_unit}"


def _devices(facts: Facts, live: Live) -> list[Line]:
    """Clamps and locators of every station on carriers that are fitted with them (a vise brings its own)."""
    fitted = {p.mount for p in facts.design.placings if p.kind != "vise"}
    counts: Counter[tuple[str, str]] = Counter()
    known: dict[str, Clamp | Locator] = {c.id: c for c in facts.shop.clamps}
    known |= {c.id: c for c in facts.shop.locators}
    for station in facts.design.stations:
        if station.mount in fitted:
            for device in live.options[station.operation].grip.devices:
                # the fixed jaw of a pair comes with the moving one
                if device.kind == "clamp" or not isinstance(known.get(device.catalogue), Clamp):
                    counts[device.kind, device.catalogue] += facts.design.sets
    rows = []
    for (kind, name), n in sorted(counts.items()):
        item = known.get(name)
        remark = ""
        if isinstance(item, Clamp):
            remark = facts.words.say("bill_screw", screw=item.screw, torque=facts.words.number(item.torque, 1))
        rows.append(Line(kind, name, n, _price(item), remark, item.part_number if item else ""))
    return rows


def _price(item: Any) -> float | None:
    """A price of 0 in the shop file is one that isn't known."""
    return item.price or None if item is not None else None


def _fixings(facts: Facts, live: Live, models: Models) -> list[Line]:
    """Screws and dowels, one for each hole that is drawn; the shop's own where it keeps one that fits."""
    rows = []
    for fixing, n in fixings(facts, live, models):
        own = kept_as(fixing, facts.shop.fasteners)
        key = "bill_open" if fixing.length is None else f"bill_{fixing.holds}"
        remark = facts.words.say(key)
        rows.append(Line(fixing.kind, fixing.name, n, _price(own), remark, own.part_number if own else ""))
    return rows


def _tools(facts: Facts) -> list[Line]:
    known = {t.number: t for t in facts.shop.tools}
    rows = []
    for number in sorted({n for c in facts.cycles for n in facts.tools(c)}):
        tool = known[number]
        both: tuple[tuple[str, Cutter | Holder, str], ...] = (
            ("cutter", tool.cutter, f"T{number} {tool.name}".strip()),
            ("holder", tool.holder, f"T{number}"),
        )
        rows += [Line(kind, x.id, 1, _price(x), remark, x.part_number) for kind, x, remark in both]
    return rows


def billed(facts: Facts) -> list[tuple[str, float]]:
    """The plan's bill, its items in the papers' language as far as they are the plan's own words."""
    rows = []
    for name, money in facts.way["bill"]:
        carrier, _, what = name.rpartition(": ")
        key = ITEMS.get(name) or ITEMS.get(what)
        rows.append((name if key is None else facts.words.say(key, carrier=carrier), float(money)))
    return rows


def bill_csv(facts: Facts) -> str:
    """The plan's bill as comma separated text with its total and the identity; numbers with a point in every language,
    so that programs can read them."""
    w, rows = facts.words, billed(facts)
    rows.append((w.say("total"), sum(m for _, m in facts.way["bill"])))
    head = [w.say("item"), facts.shop.rates.currency, w.say("bill_plan")]
    return _text([head, *([name, f"{money:.2f}", facts.identity] for name, money in rows)])


def pieces_csv(facts: Facts, live: Live | str, models: Models = ()) -> str:
    """The list of pieces as comma separated text."""
    w, money = facts.words, facts.shop.rates.currency
    keys = ("bill_kind", "bill_number", "bill_name", "bill_count", "bill_each", "bill_together", "bill_remark")
    rows = [[*(w.say(k, currency=money) for k in keys), w.say("bill_plan")]]
    for row in pieces(facts, live, models):
        each = "" if row.each is None else f"{row.each:.2f}"
        both = "" if row.each is None else f"{row.count * row.each:.2f}"
        rows.append([w.say(f"kind_{row.kind}"), row.number, row.name, str(row.count), each, both, row.remark])
        rows[-1].append(facts.identity)
    return _text(rows)


def _text(rows: Sequence[Sequence[str]]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


def bill_xlsx(facts: Facts, live: Live | str, models: Models = (), paper: str = "A4") -> bytes:
    """A workbook: the bill with its total as a formula that carries its value, the pieces, and the cut list."""
    import xlsxwriter

    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    book.set_properties({"title": facts.data["title"], "comments": facts.identity, "created": FIXED})
    styles = _Styles(book.add_format({"bold": True}), book.add_format({"num_format": "#,##0.00"}), PAPERS[paper])
    _bill_page(book, styles, facts)
    _pieces_page(book, styles, facts, pieces(facts, live, models))
    _cut_list(book, styles, facts)
    book.close()
    return out.getvalue()


@dataclass(frozen=True)
class _Styles:
    bold: Any
    money: Any
    paper: int


def _sheet(book: Any, facts: Facts, key: str, widths: Sequence[float], paper: int) -> Any:
    """A page that prints alone: its own head and identity, as wide as the paper."""
    sheet = book.add_worksheet(facts.words.say(key))
    for k, wide in enumerate(widths):
        sheet.set_column(k, k, wide)
    sheet.set_landscape()
    sheet.set_paper(paper)
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
    sheet.set_header(f"&L{facts.data['title'].replace('&', '&&')}&R{facts.identity}")
    sheet.set_footer("&C&P / &N")
    return sheet


def _bill_page(book: Any, styles: _Styles, facts: Facts) -> None:
    w, bill = facts.words, billed(facts)
    sheet = _sheet(book, facts, "bill_page", [44, 14], styles.paper)
    sheet.write_row(0, 0, [w.say("item"), facts.shop.rates.currency], styles.bold)
    for k, (name, value) in enumerate(bill, start=1):
        sheet.write_string(k, 0, name)
        sheet.write(k, 1, value, styles.money)
    end = len(bill) + 1
    sheet.write(end, 0, w.say("total"), styles.bold)
    formula = f"=SUM(B2:B{end})" if bill else "=0"
    sheet.write_formula(end, 1, formula, styles.money, sum(v for _, v in bill))
    sheet.write(end + 2, 0, f"{w.say('bill_plan')} {facts.identity}")


def _pieces_page(book: Any, styles: _Styles, facts: Facts, rows: Sequence[Line]) -> None:
    w = facts.words
    sheet = _sheet(book, facts, "bill_pieces", [12, 16, 30, 8, 12, 12, 52], styles.paper)
    keys = ("bill_kind", "bill_number", "bill_name", "bill_count", "bill_each", "bill_together", "bill_remark")
    sheet.write_row(0, 0, [w.say(k, currency=facts.shop.rates.currency) for k in keys], styles.bold)
    for k, row in enumerate(rows, start=1):
        for column, text in enumerate((w.say(f"kind_{row.kind}"), row.number, row.name)):
            sheet.write_string(k, column, text)
        sheet.write_number(k, 3, row.count)
        if row.each is not None:
            sheet.write(k, 4, row.each, styles.money)
            sheet.write_formula(k, 5, f"=D{k + 1}*E{k + 1}", styles.money, row.count * row.each)
        sheet.write_string(k, 6, row.remark)
    sheet.write(len(rows) + 2, 0, w.say("bill_own"))


def _cut_list(book: Any, styles: _Styles, facts: Facts) -> None:
    """What is sawn: blanks of a batch and of the carriers; prints alone."""
    w = facts.words
    sheet = _sheet(book, facts, "bill_cuts", [12, 16, 30, 8, 34, 16], styles.paper)
    keys = ("bill_kind", "bill_number", "bill_name", "bill_count", "bill_size", "bill_material")
    sheet.write_row(0, 0, [w.say(k) for k in keys], styles.bold)
    blank, part = _blanks(facts), facts.data["part"]
    size = blank.remark.rpartition(",")[0]
    rows = [[w.say("kind_blank"), "", blank.name, blank.count, size, part["material"]]]
    known = {c.id: c for c in facts.shop.carriers}
    for row in _carriers(facts):
        carrier = known[row.name]
        material = w.say("draw_steel" if carrier.steel else "draw_aluminium")
        if row.count and carrier.kind != "vise":
            rows.append([w.say("kind_carrier"), row.number, row.name, row.count, _size(facts, carrier), material])
    for k, cells in enumerate(rows, start=1):
        sheet.write_row(k, 0, cells)
    sheet.write(len(rows) + 2, 0, f"{w.say('bill_plan')} {facts.identity}")
