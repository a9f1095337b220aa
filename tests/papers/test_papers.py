"""The papers as a machine can judge them: pages, fonts, frames, letter sizes, totals, the same bytes twice."""

from __future__ import annotations

import csv
import io
import re
import tomllib
from importlib.resources import files

import openpyxl
import pypdfium2
import pypdfium2.raw as raw
import pytest

from palletwright.errors import InputError
from palletwright.papers import package, write_papers
from palletwright.papers.facts import facts, quarter_turn, side_angle, zero_at
from palletwright.papers.loading import load_sheet, loading_order
from palletwright.papers.proofing import wrong_lines, wrong_of
from palletwright.papers.proving import measured
from palletwright.papers.setup import places_of, setup_sheet
from palletwright.papers.typeset import pdf
from palletwright.papers.words import Words, languages

POINT = 25.4 / 72
SHEETS = ("setup.pdf", "load.pdf", "prove.pdf", "case.pdf")


@pytest.fixture(scope="module")
def written(data, live, tmp_path_factory):
    """All papers, the grips given by hand and the programs (which need real cuts) left out."""
    out = tmp_path_factory.mktemp("papers")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(package, "live_of", lambda given, folder: live)
        patch.setattr(package, "package", lambda given, cycle, rebuilt: package.Package({}, {}))
        paths = write_papers(data, out)
        first = {p.relative_to(out): p.read_bytes() for p in paths}
        again = {p.relative_to(out): p.read_bytes() for p in write_papers(data, out)}
    return out, first, again


def pages(path):
    document = pypdfium2.PdfDocument(path)
    return [document[k] for k in range(len(document))]


def letter_size(text, k) -> float:
    """Points, as printed: the font's size under the matrix that places it."""
    matrix = raw.FS_MATRIX()
    assert raw.FPDFText_GetMatrix(text.raw, k, matrix)
    return float(raw.FPDFText_GetFontSize(text.raw, k) * abs(matrix.a * matrix.d - matrix.b * matrix.c) ** 0.5)


def words_of(path) -> str:
    return "\n".join(p.get_textpage().get_text_bounded() for p in pages(path))


def test_the_same_plan_gives_the_same_bytes(written):
    _, first, again = written
    assert first.keys() == again.keys()
    assert [str(name) for name in first if first[name] != again[name]] == []


def test_every_page_carries_the_identity_and_every_cut_sheet_the_cautions(written, data, given):
    out, _, _ = written
    assert given.identity.startswith(data["identity"])
    for path in out.rglob("*.pdf"):
        for page in pages(path):
            text = " ".join(page.get_textpage().get_text_bounded().split())
            assert given.identity in text, path
            if path.name in ("setup.pdf", "load.pdf", "prove.pdf"):
                assert "single block" in text
                assert "qualified person" in text


def test_all_letters_stand_inside_the_frame_and_are_no_smaller_than_7_points(written):
    out, _, _ = written
    for path in out.rglob("*.pdf"):
        for page in pages(path):
            width, height = page.get_size()
            frame = 12.0 / POINT - 0.5
            text = page.get_textpage()
            for k in range(text.count_chars()):
                char = text.get_text_range(k, 1)
                if not char.strip():
                    continue
                left, bottom, right, top = text.get_charbox(k)
                assert left >= frame, (path.name, char)
                assert right <= width - frame, (path.name, char)
                assert bottom >= 10.0, (path.name, char)
                assert top <= height - 10.0, (path.name, char)
                assert letter_size(text, k) >= 6.99, (path.name, char)


def test_no_two_texts_overlap(written):
    out, _, _ = written
    for path in out.rglob("*.pdf"):
        for page in pages(path):
            text = page.get_textpage()
            boxes = [(*text.get_charbox(k), k) for k in range(text.count_chars()) if text.get_text_range(k, 1).strip()]
            boxes.sort()
            for i, (l0, b0, r0, t0, k) in enumerate(boxes):
                for l1, b1, r1, t1, j in boxes[i + 1 :]:
                    if l1 > r0:
                        break
                    if abs(k - j) == 1 and text.get_text_range(min(k, j), 2) in ("fi", "fl", "ff"):
                        continue  # one sign of the font: a ligature
                    wide, high = min(r0, r1) - l1, min(t0, t1) - max(b0, b1)
                    overlap = wide > 0.35 * min(r0 - l0, r1 - l1) and high > 0.2 * min(t0 - b0, t1 - b1)
                    assert not overlap, (path.name, text.get_text_range(k, 1), text.get_text_range(j, 1))


def test_fonts_are_embedded(written):
    out, _, _ = written
    for path in out.rglob("*.pdf"):
        blob = path.read_bytes()
        descriptors = len(re.findall(rb"/Type\s*/FontDescriptor", blob))
        embedded = len(re.findall(rb"/FontFile[23]?\s+\d+ 0 R", blob))
        if descriptors:
            assert embedded >= descriptors, path
        for page in pages(path):
            for item in page.get_objects(filter=[raw.FPDF_PAGEOBJ_TEXT]):
                font = raw.FPDFTextObj_GetFont(item.raw)
                assert raw.FPDFFont_GetIsEmbedded(font) == 1, path


def test_the_offsets_table_has_every_station_at_its_angle(written, given):
    out, _, _ = written
    text = words_of(out / "setup.pdf")
    mounts = given.mounts(0)
    assert places_of(given, 0) == [("10.1", 0.0), ("10.2", 0.0), ("20.1", 0.0), ("20.2", 270.0)]
    for s in given.stations(0):
        for angle in s.angles:
            row = " ".join([s.name, str(s.number), s.side])
            assert row in text
            for v in zero_at(s, mounts[s.mount], angle):
                assert f"{v + 0.0:.3f}".replace("-0.000", "0.000") in text


def test_a_zero_turned_to_the_spindle_stands_over_the_axis(given):
    """Station 20.2 on side 2 is brought up by its angle: it stands as high as station 20.1 at 0 degrees."""
    rows = {s.name: s for s in given.stations(0)}
    mount = given.mounts(0)["turning"]
    assert side_angle(rows["20.2"], mount) == pytest.approx(270.0)
    one, two = zero_at(rows["20.1"], mount, 0.0), zero_at(rows["20.2"], mount, 270.0)
    assert two - one == pytest.approx([50.0, 0.0, 0.0], abs=1e-4)
    assert quarter_turn(rows["10.2"], given.mounts(0)["fixed"], 0.0) == 2
    assert quarter_turn(rows["20.2"], mount, 270.0) == quarter_turn(rows["20.1"], mount, 0.0) == 0


def test_the_tool_list_prints_gauge_length_and_the_slowest_to_fastest(written, given):
    text = words_of(written[0] / "setup.pdf")
    tool = next(t for t in given.shop.tools if t.number == 37)
    assert f"{tool.gauge_length:.1f} {tool.stick_out:.1f} 4\u202f000 800 4" in text.replace("\xa0", " ")


def test_one_load_page_a_side_with_every_part_once(written, given):
    document = pages(written[0] / "load.pdf")
    sides = given.way["scene"]["cycles"][0]["sides"]
    assert len(document) == len(sides) == 3
    for page, side in zip(document, sides, strict=True):
        text = page.get_textpage().get_text_bounded()
        for s in side["stations"]:
            assert s["parts"][0] in text
    clamp = next(c for c in given.shop.clamps if c.kind == "edge")
    assert f"screw {clamp.screw}, {clamp.torque:.1f} N·m" in words_of(written[0] / "load.pdf")


def test_loading_goes_from_the_far_row_from_left_to_right():
    def station(name, x, y):
        return {"parts": [name], "x": x, "y": y}

    side = {"stations": [station("d", 5, -50), station("b", 40, 48), station("a", -40, 50), station("c", -5, -52)]}
    assert loading_order(side) == {"a": 1, "b": 2, "c": 3, "d": 4}


def test_a_part_that_is_turned_over_says_so(given, live):
    rows = [t for b in load_sheet(given, 0, "A4", live).blocks if b["kind"] == "steps" for t in b["items"]]
    assert any("Op 20" in t and "turned over" in t for t in rows)
    assert any("Op 10" in t and "blanks" in t for t in rows)


def test_a_wrong_way_that_clamps_stands_on_the_load_sheet(given, live):
    """The block of 40 x 30 x 25 mm can stand on end: nothing locates it along x."""
    lines = wrong_lines(given, wrong_of(given, live))
    rows = [t for b in load_sheet(given, 0, "A4", live, lines).blocks if b["kind"] == "steps" for t in b["items"]]
    assert any("Op 10: the part can also be clamped WRONG, turned 90°" in t for t in rows)


def test_the_totals_are_the_plans(written, given):
    out, _, _ = written
    want = sum(m for _, m in given.way["bill"])
    assert want == pytest.approx(given.way["capital"])
    rows = list(csv.reader(io.StringIO((out / "bill.csv").read_text())))
    assert float(rows[-1][1]) == pytest.approx(want, abs=0.005)
    values = openpyxl.load_workbook(out / "bill.xlsx", data_only=True)["bill"]
    formulas = openpyxl.load_workbook(out / "bill.xlsx")["bill"]
    last = len(given.way["bill"]) + 2
    assert values.cell(last, 2).value == pytest.approx(want, abs=1e-9)
    assert formulas.cell(last, 2).value == f"=SUM(B2:B{last - 1})"
    assert sum(values.cell(k, 2).value for k in range(2, last)) == pytest.approx(want, abs=1e-9)


def test_pieces_count_the_devices_of_all_sets(written, given):
    rows = list(csv.DictReader(io.StringIO((written[0] / "pieces.csv").read_text())))
    counts = {r["kind"]: int(r["count"]) for r in rows}
    assert counts["clamp"] == counts["locator"] == 4 * given.design.sets


def test_a_drawing_fact_is_printed_beside_its_hole(given):
    assert [(name, text) for name, _, _, _, text in measured(given)] == [("hole-1", "12 H7, position 0.3 (A)")]


def test_every_text_has_every_language():
    table = tomllib.loads(files("palletwright.papers").joinpath("data", "words.toml").read_text(encoding="utf-8"))
    for key, texts in table.items():
        assert set(texts) == set(languages()), key
        fields = [sorted(set(re.findall(r"{(\w+)}", t))) for t in texts.values()]
        assert all(f == fields[0] for f in fields), key


@pytest.mark.parametrize("paper", ["A4", "A3", "Letter"])
def test_german_inches_and_other_papers(data, live, paper):
    given = facts(data, 0, Words("de", "inch"))
    blob = pdf(setup_sheet(given, 0, paper, live, {}, []), paper)
    document = pypdfium2.PdfDocument(blob)
    text = "\n".join(document[k].get_textpage().get_text_bounded() for k in range(len(document)))
    assert "Einrichteblatt" in text
    assert re.search(r"X\s*\[in\]", text)
    assert "0,0000" in text
    width, _ = document[0].get_size()
    assert width * POINT == pytest.approx({"A4": 210.0, "A3": 297.0, "Letter": 215.9}[paper], abs=0.05)


def test_without_its_grips_the_plan_still_prints_and_says_what_is_missing(data, tmp_path, monkeypatch):
    monkeypatch.setattr(package, "live_of", lambda given, folder: "grip edge-1 isn't there any more")
    names = {p.relative_to(tmp_path).as_posix() for p in write_papers(data, tmp_path)}
    assert set(SHEETS) <= names
    assert not any(n.startswith(("programs", "carrier")) for n in names)
    assert "grip edge-1 isn't there any more" in (tmp_path / "contents.txt").read_text()
    assert "grip edge-1 isn't there any more" in words_of(tmp_path / "setup.pdf").replace("\r\n", " ")


@pytest.mark.parametrize(
    ("wrong", "key", "allowed"),
    [
        ({"paper": "B5"}, "paper", "A4, A3, Letter"),
        ({"language": "xx"}, "language", "de, en"),
        ({"unit": "cubit"}, "unit", "mm, inch"),
        ({"way": 7}, "way", "0 to 1"),
        ({"way": 1}, "plans[1]", "way 0"),
    ],
)
def test_what_cannot_be_printed_is_named(data, tmp_path, wrong, key, allowed):
    with pytest.raises(InputError) as caught:
        write_papers(data, tmp_path, **wrong)
    fault = caught.value.faults[0]
    assert fault.key == key
    assert fault.allowed == allowed
    assert not list(tmp_path.iterdir())


def test_the_plans_own_order_of_loading_wins(given):
    side = given.way["scene"]["cycles"][0]["sides"][0]
    names = [n for s in side["stations"] for n in s["parts"]]
    told = side | {"loading": {"order": names[::-1], "steps": [], "reasons": []}}
    assert loading_order(told) == {name: i + 1 for i, name in enumerate(names[::-1])}
    assert set(loading_order(side)) == set(names)
