"""The bill: what is bought or made once, with quantities, as a workbook and as text; its total is the plan's."""

from __future__ import annotations

import csv
import io
from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime

from palletwright.papers.facts import Facts
from palletwright.papers.live import Live

FIXED = datetime(2026, 1, 1, tzinfo=UTC).replace(tzinfo=None)
"""Date in the workbook's properties: the identity tells two bills apart, not the day."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a list: what, which number of the shop, how many, price of one (None: unknown), a remark."""

    kind: str
    name: str
    count: int
    each: float | None
    remark: str = ""


def pieces(facts: Facts, live: Live | str) -> list[Line]:
    """Carriers, clamps, locators and tools with their counts for all sets, prices from the shop file."""
    rows = [*_carriers(facts)]
    if not isinstance(live, str):
        rows += _devices(facts, live)
    known = {t.number: t for t in facts.shop.tools}
    for number in sorted({n for c in facts.cycles for n in facts.tools(c)}):
        tool = known[number]
        rows.append(Line("cutter", tool.cutter.id, 1, tool.cutter.price or None, f"T{number} {tool.name}"))
        rows.append(Line("holder", tool.holder.id, 1, tool.holder.price or None, f"T{number}"))
    return rows


def _carriers(facts: Facts) -> list[Line]:
    known, sets = {c.id: c for c in facts.shop.carriers}, facts.design.sets
    rows = []
    for name, n in sorted(Counter(p.carrier for p in facts.design.placings).items()):
        carrier = known[name]
        bought = max(0, n * sets - (carrier.how_many if carrier.owned else 0))
        remark = f"{n * sets - bought} owned" if bought < n * sets else ""
        if carrier.kind == "pallet":
            size = f"round {carrier.blank_diameter:g} × {carrier.length:g} mm"
        else:
            size = f"{carrier.length:g} × {carrier.width:g} × {carrier.height:g} mm"
        rows.append(Line("carrier", name, bought, carrier.blank_price, ", ".join(t for t in (size, remark) if t)))
    return rows


def _devices(facts: Facts, live: Live) -> list[Line]:
    """Clamps and locators of every station on carriers that are fitted with them (a vise brings its own)."""
    fitted = {p.mount for p in facts.design.placings if p.kind != "vise"}
    counts: Counter[tuple[str, str]] = Counter()
    for station in facts.design.stations:
        if station.mount in fitted:
            for device in live.options[station.operation].grip.devices:
                counts[device.kind, device.catalogue] += facts.design.sets
    clamps = {c.id: c for c in facts.shop.clamps}
    prices = {c.id: c.price for c in facts.shop.clamps} | {c.id: c.price for c in facts.shop.locators}
    rows = []
    for (kind, name), n in sorted(counts.items()):
        remark = f"screw {clamps[name].screw}, {clamps[name].torque:g} N·m" if name in clamps else ""
        rows.append(Line(kind, name, n, prices.get(name), remark))
    return rows


def bill_csv(facts: Facts) -> str:
    """The plan's bill as comma separated text with its total and the identity."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["item", facts.shop.rates.currency, "plan"])
    for name, money in facts.way["bill"]:
        writer.writerow([name, f"{money:.2f}", facts.identity])
    writer.writerow(["total", f"{sum(m for _, m in facts.way['bill']):.2f}", facts.identity])
    return out.getvalue()


def pieces_csv(facts: Facts, live: Live | str) -> str:
    """The list of pieces as comma separated text."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["kind", "name", "count", f"each {facts.shop.rates.currency}", "remark", "plan"])
    for row in pieces(facts, live):
        each = "" if row.each is None else f"{row.each:.2f}"
        writer.writerow([row.kind, row.name, row.count, each, row.remark, facts.identity])
    return out.getvalue()


def bill_xlsx(facts: Facts, live: Live | str) -> bytes:
    """A workbook: the bill with its total as a formula that carries its value, the pieces, and the cut list."""
    import xlsxwriter

    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    book.set_properties({"title": facts.data["title"], "comments": facts.identity, "created": FIXED})
    bold = book.add_format({"bold": True})
    money = book.add_format({"num_format": "#,##0.00"})
    sheet = book.add_worksheet("bill")
    sheet.set_column(0, 0, 40)
    sheet.write_row(0, 0, ["item", facts.shop.rates.currency], bold)
    bill = facts.way["bill"]
    for k, (name, value) in enumerate(bill, start=1):
        sheet.write(k, 0, name)
        sheet.write(k, 1, value, money)
    total = sum(v for _, v in bill)
    sheet.write(len(bill) + 1, 0, "total", bold)
    sheet.write_formula(len(bill) + 1, 1, f"=SUM(B2:B{len(bill) + 1})" if bill else "=0", money, total)
    sheet.write(len(bill) + 3, 0, f"plan {facts.identity}")
    _pieces_page(book, bold, money, facts, pieces(facts, live))
    _cut_list(book, bold, facts)
    book.close()
    return out.getvalue()


def _pieces_page(book, bold, money, facts: Facts, rows: list[Line]) -> None:  # type: ignore[no-untyped-def]
    sheet = book.add_worksheet("pieces")
    sheet.set_column(1, 1, 24)
    sheet.write_row(0, 0, ["kind", "name", "count", f"each {facts.shop.rates.currency}", "together", "remark"], bold)
    for k, row in enumerate(rows, start=1):
        sheet.write_row(k, 0, [row.kind, row.name, row.count])
        if row.each is not None:
            sheet.write(k, 3, row.each, money)
            sheet.write_formula(k, 4, f"=C{k + 1}*D{k + 1}", money, row.count * row.each)
        sheet.write(k, 5, row.remark)
    sheet.write(len(rows) + 2, 0, "cutters and holders are the shop's own and not in the bill's total")


def _cut_list(book, bold, facts: Facts) -> None:  # type: ignore[no-untyped-def]
    """What is sawn: blanks of a batch and of the carriers; prints alone."""
    sheet = book.add_worksheet("cut list")
    part = facts.data["part"]
    sheet.write_row(0, 0, ["what", "count", "size mm", "material"], bold)
    size = " x ".join(f"{v:g}" for v in part["blank_mm"])
    batch = facts.data["job"]["batch"] or facts.data["job"]["per_year"]
    sheet.write_row(1, 0, [f"blank of {part['name']}", batch, size, part["material"]])
    known = {c.id: c for c in facts.shop.carriers}
    for k, row in enumerate(_carriers(facts), start=2):
        material = "steel" if known[row.name].steel else "aluminium"
        sheet.write_row(k, 0, [row.name, row.count, row.remark, material])
    sheet.write(len(_carriers(facts)) + 3, 0, f"plan {facts.identity}")
