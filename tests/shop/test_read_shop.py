"""A shop file: read, or refused with every fault at its line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import get_args

import jsonschema_rs
import pytest

from palletwright.errors import Fault, InputError
from palletwright.shop import Shop, example_shop, read_shop, schema, shipped_materials
from palletwright.shop.model import Clamp
from palletwright.shop.read import DATA

GOOD = """\
name = "Test"
unit = "mm"

[[machine]]
id = "m"
travel = { x = [-300, 300], y = [-200, 200], z = [100, 600] }
table = [700, 420]
table_payload = 300
door = 700
spindle_speed = 10000
spindle_power = 9
spindle_torque = 50
taper = "BT40"
nose = [{ diameter = 90, length = 40 }]
chip_to_chip = 4.0
rapid = [30000, 30000, 30000]
acceleration = [4, 4, 4]
magazine = 24
rate = 30.0

[[carrier]]
id = "p"
kind = "plate"
length = 400
width = 300

[[clamp]]
id = "c"
kind = "edge"
footprint = [16, 19]
height = 9.5
reach_height = 6
stroke = 1.0
force = 3500
screw = "M6"
torque = 9

[[locator]]
id = "l"
kind = "stop"
footprint = [8, 8]
height = 5

[[cutter]]
id = "em"
kind = "end_mill"
DC = 10
LU = 30
LCF = 22
DMM = 10
OAL = 72

[[holder]]
id = "h"
taper = "BT40"
bore = [10, 10]
stack = [{ diameter = 32, length = 63 }, { diameter = 63, length = 27 }]

[[tool]]
number = 1
cutter = "em"
holder = "h"
stick_out = 33
"""

Write = Callable[..., Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    def _write(text: str, name: str = "shop.toml") -> Path:
        file = tmp_path / name
        file.write_text(text, encoding="utf-8")
        return file

    return _write


def faults_of(file: Path) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        read_shop(file)
    return caught.value.faults


def only(file: Path) -> Fault:
    faults = faults_of(file)
    assert len(faults) == 1, "\n".join(map(str, faults))
    return faults[0]


def line_of(text: str, part: str) -> int:
    return next(n for n, row in enumerate(text.splitlines(), start=1) if part in row)


def test_a_good_file_is_read(write: Write) -> None:
    shop = read_shop(write(GOOD))
    assert shop.machines[0].travel.z == (100, 600)
    assert shop.tools[0].gauge_length == 33 + 63 + 27
    assert shop.material("EN AW-6061") is shop.material("6061-t6")


@pytest.mark.parametrize(
    ("old", "new", "key", "value", "problem", "allowed"),
    [
        ("stick_out = 33", "stick_out = 80", "tool[1].stick_out", "80", "more than the cutter is long", "at most OAL"),
        ("bore = [10, 10]", "bore = [12, 12]", "tool[1].holder", "'h'", "doesn't fit holder h", "takes 12 to 12 mm"),
        ('cutter = "em"', 'cutter = "emm"', "tool[1].cutter", "'emm'", "is no cutter here", "'em' (did you mean"),
        ('holder = "h"', 'holder = "hh"', "tool[1].holder", "'hh'", "is no holder here", "h"),
        ("x = [-300, 300]", "x = [300, -300]", "machine[1].travel.x", "[300, -300]", "isn't below", "[least, great"),
        ("door = 700", "door = -7", "machine[1].door", "-7", "isn't allowed", "greater than 0"),
        ("door = 700", 'door = "7 kg"', "machine[1].door", "'7 kg'", "has unit 'kg'", "converts to mm"),
        ("door = 700", "door = nan", "machine[1].door", "nan", "isn't a finite number", "a finite number"),
        ("door = 700", "door = true", "machine[1].door", "true", "needs a number", "such as '38 mm'"),
        ("door = 700\n", "", "machine[1].door", "", "is missing", "mm of free width at the door"),
        ('kind = "edge"', 'kind = "egde"', "clamp[1].kind", "'egde'", "isn't allowed", "'edge', 'wedge'"),
        ("stroke = 1.0", "stroke = 1.0\nstrok = 2", "clamp[1].strok", "2", "isn't a known key", "'stroke' (did you"),
        ("diameter = 32", "diametre = 32, diameter = 32", "holder[1].stack[1].diametre", "32", "known key", "diameter"),
        ('kind = "plate"', 'kind = "pallet"', "carrier[1].blank_diameter", "", "a pallet needs it", "greater than 0"),
        ("LCF = 22", "LCF = 82", "cutter[1].LCF", "82", "longer than the whole cutter", "at most OAL, 72 mm"),
        ('"end_mill"', '"tap"', "cutter[1].TP", "", "a tap needs its pitch", "greater than 0"),
        ('"end_mill"', '"ball_mill"', "cutter[1].RE", "", "half its diameter", "5 mm"),
        (
            '[[holder]]\nid = "h"\ntaper = "BT40"',
            '[[holder]]\nid = "h"\ntaper = "BT30"',
            "tool[1].holder",
            "'h'",
            "BT30",
            "BT40",
        ),
        (
            "magazine = 24",
            "magazine = 24\ngreatest_tool_length = 100",
            "tool[1].stick_out",
            "33",
            "too long",
            "up to 100 mm",
        ),
        (
            "rate = 30.0",
            "rate = 30.0\nlocator = 3",
            "machine[1].locator",
            "3",
            "isn't a key of this table",
            "above the file's first",
        ),
        ('unit = "mm"', 'unit = "cm"', "unit", "'cm'", "isn't a unit", "'mm' or 'in'"),
        (
            'unit = "mm"',
            'include = ["more.toml"]',
            "include[1]",
            "'more.toml'",
            "isn't there",
            "from this file's folder",
        ),
        ('unit = "mm"', 'include = ["shop.toml"]', "include[1]", "'shop.toml'", "includes itself", "files that don't"),
        (
            '[[locator]]\nid = "l"\nkind = "stop"\nfootprint = [8, 8]\nheight = 5\n',
            "",
            "locator",
            "",
            "at least one",
            "[[locator]]",
        ),
    ],
)
def test_each_fault_names_key_value_and_what_is_allowed(
    write: Write, old: str, new: str, key: str, value: str, problem: str, allowed: str
) -> None:
    assert old in GOOD
    file = write(GOOD.replace(old, new, 1))
    fault = only(file)
    assert (fault.file, fault.key, fault.value) == (str(file), key, value)
    assert problem in fault.problem
    assert allowed in fault.allowed


def test_the_line_is_that_of_the_key(write: Write) -> None:
    text = GOOD.replace("stick_out = 33", "stick_out = 80")
    fault = only(write(text))
    assert fault.line == line_of(text, "stick_out = 80")
    assert f"line {fault.line}: tool[1].stick_out = 80:" in str(fault)


@pytest.mark.parametrize("kind", ["machine", "carrier", "clamp", "locator", "cutter", "holder", "tool"])
def test_a_name_twice_is_a_fault_at_its_second_place(write: Write, kind: str) -> None:
    start = GOOD.index(f"[[{kind}]]")
    block = GOOD[start:].split("\n\n")[0].rstrip()
    fault = only(write(f"{GOOD}\n{block}\n"))
    assert fault.key == f"{kind}[2].{'number' if kind == 'tool' else 'id'}"
    assert f"{kind}[1], line {line_of(GOOD, f'[[{kind}]]')}" in fault.problem


def test_all_faults_come_at_once(write: Write) -> None:
    text = GOOD
    for old, new in (
        ("door = 700", "door = 0"),
        ("force = 3500", 'force = "3500 mm"'),
        ('kind = "stop"', 'kind = "stopp"'),
        ("LCF = 22", "LCF = 90"),
        ('holder = "h"', 'holder = "x"'),
    ):
        text = text.replace(old, new, 1)
    keys = {fault.key for fault in faults_of(write(text))}
    assert keys == {"machine[1].door", "clamp[1].force", "locator[1].kind", "cutter[1].LCF", "tool[1].holder"}


def test_bad_toml_names_its_line(write: Write) -> None:
    fault = only(write(GOOD.replace("door = 700", "door = ")))
    assert fault.line == line_of(GOOD, "door = 700")
    assert "isn't valid TOML" in fault.problem


@pytest.mark.parametrize(("content", "problem"), [(b"\xff\xfe\x00", "isn't UTF-8"), (None, "can't be read")])
def test_what_is_no_text_file(tmp_path: Path, content: bytes | None, problem: str) -> None:
    file = tmp_path / "shop.toml"
    if content is not None:
        file.write_bytes(content)
    assert problem in only(file).problem


def test_a_directory_is_no_file(tmp_path: Path) -> None:
    assert "can't be read" in only(tmp_path).problem


def test_an_inch_file_means_the_same(write: Write) -> None:
    inch = GOOD.replace('unit = "mm"', 'unit = "in"')
    for old, new in (
        ("x = [-300, 300], y = [-200, 200], z = [100, 600]", 'x = ["-300 mm", "300 mm"], y = [-8, 8], z = [4, 24]'),
        ("DC = 10", "DC = 0.5"),
        ("DMM = 10", 'DMM = "1/2 in"'),
        ("bore = [10, 10]", "bore = [0.5, 0.5]"),
        ("stick_out = 33", 'stick_out = "1 1/4 in"'),
        ("magazine = 24", "magazine = 24\ngreatest_tool_length = 400"),
    ):
        inch = inch.replace(old, new, 1)
    shop = read_shop(write(inch))
    assert shop.machines[0].travel.x == (-300, 300)
    assert shop.machines[0].travel.z == pytest.approx((101.6, 609.6))
    assert pytest.approx(12.7) == shop.tools[0].cutter.DC
    assert shop.tools[0].stick_out == pytest.approx(31.75)
    assert shop.machines[0].rapid == (30000, 30000, 30000)


def test_records_may_be_spread_over_files_of_other_units(write: Write) -> None:
    write('unit = "in"\n[[locator]]\nid = "i"\nkind = "pin"\nfootprint = [0.25, 0.25]\nheight = 1\n', "more.toml")
    shop = read_shop(write(GOOD.replace('unit = "mm"', 'include = ["more.toml"]')))
    assert [loc.id for loc in shop.locators] == ["l", "i"]
    assert shop.locators[1].height == pytest.approx(25.4)


def test_own_materials_win_over_shipped_ones(write: Write) -> None:
    row = """
[[material]]
id = "my 6061"
aliases = ["6061-T6"]
group = "N"
kc11 = 900
mc = 0.2
source = "own test"
density = 2700
yield_strength = 270
price = 5
mill = { vc = 300, feed = 0.06 }
drill = { vc = 100, feed = 0.2 }
tap_vc = 10
friction = [0.1, 0.2]
"""
    shop = read_shop(write(GOOD + row))
    found = shop.material("6061-T6")
    assert found is not None
    assert found.kc11 == 900
    assert len(shop.materials) == len(shipped_materials())
    own = read_shop(write(GOOD.replace('unit = "mm"', 'materials = "own"') + row))
    assert [m.id for m in own.materials] == ["my 6061"]


def test_the_example_and_its_materials_are_good() -> None:
    shop = example_shop()
    assert len(shop.machines) == 3
    assert all(part.source for group in (shop.machines, shop.carriers, shop.clamps, shop.locators) for part in group)
    assert all(t.cutter.source and t.holder.source for t in shop.tools)
    assert all(m.source and m.cutting_source and m.friction_source and m.taylor_source for m in shop.materials)


def test_the_example_has_enough_of_each() -> None:
    shop = example_shop()
    assert {c.kind for c in shop.carriers} == {"plate", "pallet", "vise"}
    assert {c.kind for c in shop.clamps} == set(get_args(Clamp.model_fields["kind"].annotation))
    assert {x.kind for x in shop.locators} == {"stop", "rail", "pin", "rest"}
    kinds = {t.cutter.kind for t in shop.tools}
    assert len(kinds) == 10
    rotary = next(m.rotary for m in shop.machines if m.rotary)
    assert all(c.length <= rotary.between for c in shop.carriers if c.kind == "pallet")


def test_pallets_and_a_plate_stand_side_by_side_on_the_first_machine() -> None:
    """Rotary, its longest pallet and the tailstock leave room on the table, within travel, for the least plate."""
    machine = example_shop().machines[0]
    rotary = machine.rotary
    assert rotary is not None
    left = rotary.faceplate_at[0] - rotary.housing_length
    right = rotary.faceplate_at[0] + rotary.between + rotary.tailstock_length
    plate = min(c.length for c in example_shop().carriers if c.kind == "plate")
    assert left >= -machine.table[0] / 2
    assert machine.table[0] / 2 - right >= plate
    assert machine.travel.x[1] - right >= plate - 2 * 8.0


def test_every_tap_has_its_drill() -> None:
    """A core-hole drill for each tap of the example: DC - TP within 0.3 mm (pitches: ISO 261, ISO 228)."""
    tools = example_shop().tools
    drills = [t.cutter.DC for t in tools if t.cutter.kind == "drill"]
    for tap in (t.cutter for t in tools if t.cutter.kind == "tap"):
        assert tap.TP is not None
        assert min(abs(d - (tap.DC - tap.TP)) for d in drills) <= 0.3, tap.id


@pytest.mark.parametrize("name", ["example_shop.toml", "example_tools.toml", "materials.toml"])
def test_the_schema_takes_the_shipped_files(name: str) -> None:
    import tomllib

    jsonschema_rs.validator_for(schema()).validate(tomllib.loads((DATA / name).read_text(encoding="utf-8")))


def test_the_schema_refuses_what_the_reader_refuses() -> None:
    check = jsonschema_rs.validator_for(schema())
    assert not check.is_valid({"clamp": [{"id": "x"}]})
    assert not check.is_valid({"nonsense": 1})
    assert not check.is_valid({"unit": "cm"})


def test_reading_twice_gives_the_same_shop() -> None:
    assert read_shop(DATA / "example_shop.toml") == example_shop()
    assert isinstance(example_shop(), Shop)
