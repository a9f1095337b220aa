"""Every sheet in other papers, units and languages: no two texts overlap, all inside the frame, letters of 7 points."""

from __future__ import annotations

from dataclasses import replace

import pypdfium2
import pytest
from test_papers import POINT, letter_size

from palletwright.papers.case import case_sheet
from palletwright.papers.facts import facts
from palletwright.papers.loading import load_sheet
from palletwright.papers.proofing import proofing_sheet, wrong_lines, wrong_of
from palletwright.papers.proving import prove_sheet
from palletwright.papers.revision import revision_sheet
from palletwright.papers.setup import places_of, setup_sheet
from palletwright.papers.stationmap import map_sheet
from palletwright.papers.typeset import pdf
from palletwright.papers.words import Words

LONG = "Werkzeugaufnahme mit besonders langer Benennung"
STYLES = [("A4", "mm", "de"), ("A3", "inch", "en"), ("Letter", "inch", "de"), ("Letter", "mm", "en")]


@pytest.fixture(scope="module")
def wrong(given, live):
    return wrong_of(given, live)


@pytest.fixture(scope="module", params=STYLES, ids=["-".join(s) for s in STYLES])
def printed(request, data, live, wrong):
    """Every sheet as PDF; names of tools as long as a shop may write them, a table of offsets in two dialects."""
    paper, unit, language = request.param
    given = facts(data, 0, Words(language, unit))
    tools = tuple(t.model_copy(update={"name": LONG}) if t.number % 2 else t for t in given.shop.tools)
    given = replace(given, shop=given.shop.model_copy(update={"tools": tools}))
    offsets = {"one": ["G54.1 P10"] * len(places_of(given, 0)), "word_address": [""] * len(places_of(given, 0))}
    sheets = {
        "setup": setup_sheet(given, 0, paper, live, offsets, ["word_address/1000_offsets.nc"] * 6),
        "load": load_sheet(given, 0, paper, live, wrong_lines(given, wrong)),
        "proofing": proofing_sheet(given, 0, wrong),
        "prove": prove_sheet(given, 0),
        "inspection": map_sheet(given, 0),
        "case": case_sheet(given),
        "revision": revision_sheet(given, given),
    }
    made = {
        name: pypdfium2.PdfDocument(pdf(replace(sheet, language=language), paper)) for name, sheet in sheets.items()
    }
    yield made
    for document in made.values():
        document.close()


def letters(page):
    """Left, low, right, high and text of every printed sign, in points."""
    text = page.get_textpage()
    return [
        (*text.get_charbox(k), text.get_text_range(k, 1), letter_size(text, k))
        for k in range(text.count_chars())
        if text.get_text_range(k, 1).strip()
    ]


def test_no_two_letters_overlap(printed):
    for name, document in printed.items():
        for page in document:
            rows = sorted(letters(page))
            assert rows, name
            for i, (l0, b0, r0, t0, one, _) in enumerate(rows):
                for l1, b1, r1, t1, two, _ in rows[i + 1 :]:
                    if l1 > r0:
                        break
                    wide, high = min(r0, r1) - l1, min(t0, t1) - max(b0, b1)
                    same = wide > 0.35 * min(r0 - l0, r1 - l1) and high > 0.2 * min(t0 - b0, t1 - b1)
                    assert not same or one + two in ("fi", "fl", "ff"), (name, one, two)


def test_words_of_neighbouring_columns_keep_apart(printed):
    """Letters on one line that follow closely belong to one run of text: none bridges two cells of a table's head."""
    document = printed["setup"]
    told = " ".join(" ".join(p.get_textpage().get_text_bounded().split()) for p in document)
    for pair in ("EinstelllängeAuskragung", "lengthStick", "HalterØ", "FeedCuts"):
        assert pair not in told


def test_all_letters_are_inside_the_frame_and_readable(printed):
    for name, document in printed.items():
        for page in document:
            width, height = page.get_size()
            for left, low, right, high, sign, size in letters(page):
                assert left >= 12.0 / POINT - 0.5, (name, sign)
                assert right <= width - 12.0 / POINT + 0.5, (name, sign)
                assert low >= 10.0, (name, sign)
                assert high <= height - 10.0, (name, sign)
                assert size >= 6.99, (name, sign)


def test_one_load_page_a_side_and_two_pages_for_the_money(printed, given):
    sides = given.way["scene"]["cycles"][0]["sides"]
    assert len(printed["load"]) == len(sides)
    assert len(printed["case"]) == 2
