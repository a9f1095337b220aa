"""The bill: totals of the plan, a screw or dowel for every hole, the shop's own numbers; opened by other programs."""

from __future__ import annotations

import csv
import io
import os
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest

from palletwright.papers.bill import bill_csv, bill_xlsx, pieces, pieces_csv
from palletwright.papers.carriers import carrier_model
from palletwright.papers.fasteners import Fixing, fixings, kept_as, screw_length
from palletwright.papers.holes import CLEARANCE, H7, RUNOUT, SUNK, TAP_DRILL
from palletwright.papers.words import Words
from palletwright.shop.model import Fastener

ROOT = Path(__file__).parents[2]
SHARED = Path(os.environ.get("PALLETWRIGHT_SHARED") or ROOT.parent / "shared")
OFFICE = shutil.which("soffice") or shutil.which("libreoffice")


@pytest.fixture(scope="module")
def models(given, live):
    return [carrier_model(given, 0, p, live) for p in given.design.placings]


def test_every_hole_has_its_screw_or_dowel(given, live, models):
    rows = fixings(given, live, models)
    holes = [h for m in models for h in m.holes]
    assert sum(n for f, n in rows if f.kind == "screw") == sum(bool(h.thread) or h.sunk is not None for h in holes)
    assert sum(n for f, n in rows if f.kind == "dowel") == sum(h.fit == "H7" for h in holes)
    two = replace(given, design=replace(given.design, sets=2))
    assert [n for _, n in fixings(two, live, models)] == [2 * n for _, n in rows]


@pytest.mark.parametrize(
    ("size", "through", "thread", "length"),
    [
        ("M12", 19.0, 18.0, 35),
        ("M5", 20.0, 7.5, 25),
        ("M8", 31.0, 12.0, 40),
        ("M5", 21.0, 7.5, 30),
        ("M8", 400.0, 12.0, None),
    ],
)
def test_a_screw_ends_in_its_thread(size, through, thread, length):
    """19 mm of clamp and 18 mm of thread take 35 mm; 21 mm and 7.5 mm of thread take no length between 26 and 28.5,
    so that the next longer one stands there."""
    assert screw_length(size, through, thread) == length


def test_the_shops_own_number_and_price_stand_in_the_bill(given, live, models):
    own = (
        Fastener(id="any-m8", kind="screw", size="M8", price=0.4, part_number="S-08"),
        Fastener(id="m8x40", kind="screw", size="M8", length=40, price=0.5, part_number="S-0840"),
    )
    assert kept_as(Fixing("screw", "M8", 40, "mount"), own) is own[1]
    assert kept_as(Fixing("screw", "M8", 45, "mount"), own) is own[0]
    assert kept_as(Fixing("dowel", "8", 45, "mount"), own) is None
    clamps = tuple(c.model_copy(update={"part_number": f"K-{k}"}) for k, c in enumerate(given.shop.clamps))
    shop = given.shop.model_copy(update={"fasteners": own, "clamps": clamps})
    rows = pieces(replace(given, shop=shop), live, models)
    screw = next(r for r in rows if r.name.startswith("ISO 4762 M8") and r.number)
    assert screw.number in ("S-08", "S-0840")
    assert next(r for r in rows if r.kind == "clamp").number.startswith("K-")
    table = list(csv.DictReader(io.StringIO(pieces_csv(replace(given, shop=shop), live, models))))
    assert {r["own number"] for r in table} >= {screw.number}


def test_every_language_has_every_word_of_the_bill(given, live, models):
    for language in ("en", "de"):
        told = replace(given, words=Words(language, "inch"))
        book = openpyxl.load_workbook(io.BytesIO(bill_xlsx(told, live, models, "Letter")))
        assert len(book.sheetnames) == 3
        assert all(sheet.page_setup.paperSize in (1, "1") for sheet in book)
    assert book.sheetnames[2] == "Sägeliste"


def test_the_lists_of_blanks_print_alone_with_the_identity(given, live, models):
    book = openpyxl.load_workbook(io.BytesIO(bill_xlsx(given, live, models)))
    for sheet in book:
        assert given.identity in sheet.oddHeader.right.text
        assert sheet.print_title_rows == "$1:$1"
        assert sheet.sheet_properties.pageSetUpPr.fitToPage
    cuts = [[c.value for c in row] for row in book["cut list"].iter_rows(min_row=2)]
    assert cuts[0][0] == "blank"
    assert cuts[0][2:4] == ["hinge_yoke", 250]


def test_openpyxl_reads_the_plans_total(given, live, models):
    blob = bill_xlsx(given, live, models)
    want = sum(m for _, m in given.way["bill"])
    book = openpyxl.load_workbook(io.BytesIO(blob), data_only=True)
    row = next(r for r in book["bill"].iter_rows(values_only=True) if r[0] == "Total")
    assert row[1] == pytest.approx(want, abs=1e-9)
    for kind, _number, _name, count, each, both, _remark in book["pieces"].iter_rows(min_row=2, values_only=True):
        if kind and each is not None:
            assert both == pytest.approx(count * each)


@pytest.mark.skipif(OFFICE is None, reason="LibreOffice is not installed: its reading of the workbook isn't tried")
def test_libreoffice_opens_the_workbook_and_works_out_the_plans_total(given, live, models, tmp_path):
    """Formulas are worked out anew: the file is stripped of the values that it carries for them."""
    book = openpyxl.load_workbook(io.BytesIO(bill_xlsx(given, live, models)))
    book.save(tmp_path / "bill.xlsx")  # openpyxl keeps no values beside formulas
    assert openpyxl.load_workbook(tmp_path / "bill.xlsx", data_only=True)["bill"]["B4"].value is None
    command = [OFFICE, "--headless", f"-env:UserInstallation=file://{tmp_path}/profile", "--convert-to", "csv"]
    run = subprocess.run([*command, "--outdir", tmp_path, tmp_path / "bill.xlsx"], capture_output=True, timeout=180)
    assert run.returncode == 0, run.stderr
    rows = list(csv.reader(io.StringIO((tmp_path / "bill.csv").read_text(encoding="utf-8"))))
    (total,) = [r for r in rows if r[0] == "Total"]
    want = sum(m for _, m in given.way["bill"])
    assert float(total[1].replace(",", "")) == pytest.approx(want, abs=0.005)
    ours = list(csv.reader(io.StringIO(bill_csv(given))))
    assert [r[0] for r in rows[1:4]] == [r[0] for r in ours[1:4]]


@pytest.mark.skipif(not SHARED.is_dir(), reason=f"no handbook at {SHARED}")
def test_sizes_of_holes_are_the_handbooks():
    """Our tables against the handbook's rows, which are from memory and unconfirmed themselves."""
    with (SHARED / "handbook" / "threads_and_screws.csv").open(encoding="utf-8") as file:
        rows = {r["thread"]: r for r in csv.DictReader(file)}
    for size, drill in TAP_DRILL.items():
        assert drill == float(rows[size]["tap_drill_ISO2306"])
        assert RUNOUT[size] == float(rows[size]["DIN76_blind_runout_e1"])
    for size, wide in CLEARANCE.items():
        assert wide == float(rows[size]["clear_medium"])
    for size, sunk in SUNK.items():
        assert sunk == (float(rows[size]["DIN974_cbore_d1"]), float(rows[size]["DIN974_depth"]))
    with (SHARED / "handbook" / "dowel_pins.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            limit = next(limit for top, limit in H7 if float(row["d_mm"]) <= top)
            assert limit == int(row["hole_H7_um"].partition("/+")[2]) / 1000
