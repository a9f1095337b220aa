"""A length is a length: inch and millimetre, tagged and bare, say the same."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from palletwright.shop.model import Locator, Travel
from palletwright.units import to

INCH = 25.4
lengths = st.floats(min_value=-1e4, max_value=1e4, allow_nan=False)
plain_numbers = st.decimals(min_value=-1000, max_value=1000, places=4, allow_nan=False).map(float)


@given(lengths)
def test_inch_and_millimetre_agree(value: float) -> None:
    assert to(value, "mm", "in") == pytest.approx(value * INCH, rel=1e-12, abs=1e-12)
    assert to(value, "mm", "in") == to(f"{value!r} in", "mm") or "e" in repr(value)


@given(plain_numbers)
def test_a_tagged_text_does_not_care_for_the_files_unit(value: float) -> None:
    assert to(f"{value:.4f} mm", "mm", "in") == to(f"{value:.4f} mm", "mm", "mm") == pytest.approx(value, abs=1e-9)


@given(plain_numbers)
def test_a_bare_text_counts_in_the_files_unit(value: float) -> None:
    assert to(f"{value:.4f}", "mm", "in") == pytest.approx(value * INCH, rel=1e-12, abs=1e-12)


@given(st.integers(0, 50), st.integers(1, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_fractions_of_an_inch(whole: int, top: int, bottom: int) -> None:
    expected = (whole + top / bottom) * INCH
    assert to(f"{whole} {top}/{bottom} in", "mm") == pytest.approx(expected, rel=1e-12)
    assert to(f"{whole}-{top}/{bottom} in", "mm") == pytest.approx(expected, rel=1e-12)
    assert to(f"{top}/{bottom} in", "mm") == pytest.approx(top / bottom * INCH, rel=1e-12)


@given(st.floats(min_value=1e-3, max_value=1e3), st.floats(min_value=1e-3, max_value=1e3))
def test_a_record_in_inches_equals_the_same_in_millimetres(width: float, depth: float) -> None:
    row = {"id": "a", "kind": "stop", "repeatability": 0.0}
    inch = Locator.model_validate({**row, "footprint": [width, depth], "height": 0.5}, context={"length": "in"})
    metric = Locator.model_validate({**row, "footprint": [width * INCH, depth * INCH], "height": 12.7})
    assert inch.footprint == pytest.approx(metric.footprint, rel=1e-12)
    assert inch.height == pytest.approx(metric.height, rel=1e-12)


@given(st.floats(-1e3, 1e3), st.floats(-1e3, 1e3))
def test_a_travel_exists_only_with_its_ends_in_order(least: float, greatest: float) -> None:
    row = {"x": [least, greatest], "y": [0, 1], "z": [0, 1]}
    if least < greatest:
        assert Travel.model_validate(row).x == (least, greatest)
    else:
        with pytest.raises(ValueError, match=r"isn't below"):
            Travel.model_validate(row)


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("38 mm", "mm", 38.0),
        ("1.5in", "mm", 38.1),
        ('2"', "mm", 50.8),
        ("-1 1/2 in", "mm", -38.1),
        ("12 kN", "N", 12_000.0),
        ("100 lbf", "N", 444.8221615260500),  # lbf = 4.4482216152605 N, exact by definition
        ("40 ft*lbf", "N*m", 54.232717933),
        ("12 N·m", "N*m", 12.0),
        ("400 in/min", "mm/min", 10_160.0),
        ("2 hp", "kW", 1.49139974316),
        ("33 lb", "kg", 14.96854821),
    ],
)
def test_what_people_write(text: str, unit: str, expected: float) -> None:
    assert math.isclose(to(text, unit), expected, rel_tol=1e-8)


@pytest.mark.parametrize(
    ("value", "message"),
    [
        ("wide", "can't read a quantity; allowed is a number or a text such as '38 mm'"),
        ("5 kg", "has unit 'kg'; allowed is anything that converts to mm"),
        ("1,5 mm", "can't read the unit ',5 mm'"),
        ("9**9**9 mm", "can't read the unit"),
        ("3/0 in", "divides by zero"),
        ("nan", "can't read a quantity"),
        (float("inf"), "isn't a finite number"),
        (float("nan"), "isn't a finite number"),
        (True, "needs a number"),
        (None, "needs a number"),
        ([1], "needs a number"),
    ],
)
def test_what_is_no_length_says_so(value: object, message: str) -> None:
    with pytest.raises(ValueError) as caught:
        to(value, "mm")
    assert message in str(caught.value)
