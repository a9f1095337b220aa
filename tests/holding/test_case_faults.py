"""A case typed by hand: what is read, and every fault at once with its place."""

from __future__ import annotations

import json

import pytest

from palletwright.errors import InputError
from palletwright.holding import hold, read_case

GOOD = """
friction = 0.2
safety = 2
mass_kg = "1200 g"
[[locator]]
at = [0, 0, 0]
normal = [0, 0, 2]
[[locator]]
at = ["1 in", 0, 0]
normal = [0, 0, 1]
friction = 0.1
[[clamp]]
at = [12, 0, 20]
normal = [0, 0, -1]
preload = "1.5 kN"
stiffness = 1e4
[[load]]
at = [12, 0, 20]
force = [10, 0, 0]
moment = [0, 0, "1 N*m"]
"""


def test_units_and_defaults(tmp_path):
    path = tmp_path / "case.toml"
    path.write_text(GOOD)
    case = read_case(path)
    assert case.contacts.at[1, 0] == pytest.approx(25.4)
    assert case.contacts.normal[0].tolist() == [0, 0, 1]
    assert case.contacts.mu.tolist() == [0.2, 0.1, 0.2]
    assert case.contacts.preload.tolist() == [0, 0, 1500]
    assert case.contacts.stiffness[2] == 1e4
    assert case.moment[0, 2] == pytest.approx(1000)
    assert case.gravity[2] == pytest.approx(-1.2 * 9.80665)
    json.dumps(hold(path), allow_nan=False)


def test_all_faults_come_at_once(tmp_path):
    path = tmp_path / "bad.toml"
    path.write_text(
        """
friction = -0.1
safty = 2
[[locator]]
at = [0, 0]
normal = [0, 0, 0]
[[clamp]]
at = [0, 0, 0]
preload = "5 mm"
colour = "red"
[[load]]
at = [0, 0, 0]
force = [0, 0, 0]
"""
    )
    with pytest.raises(InputError) as caught:
        hold(path)
    keys = {f.key for f in caught.value.faults}
    assert keys == {
        "friction", "safty", "safety", "locator[1].at", "locator[1].normal", "clamp[1].normal", "clamp[1].preload",
        "clamp[1].colour", "load[1].force",
    }  # fmt: skip
    assert all(f.file == str(path) and f.allowed for f in caught.value.faults)
    assert "zero or more" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("friction = ", "isn't TOML"),
        ("friction = 0.2\nsafety = 2", "no contact at all"),
        ("locator = 3", "[[locator]]"),
    ],
)
def test_unusable_files_say_why(tmp_path, text, told):
    path = tmp_path / "bad.toml"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        hold(path)
    assert told in str(caught.value)


def test_missing_file_is_named(tmp_path):
    with pytest.raises(InputError) as caught:
        hold(tmp_path / "none.toml")
    assert "can't be read" in str(caught.value)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), True, "two"])
def test_odd_numbers_are_refused(value):
    case = {"friction": 0.2, "safety": value, "locator": [{"at": [0, 0, 0], "normal": [0, 0, 1]}]}
    case["load"] = [{"at": [0, 0, 0], "force": [1, 0, 0]}]
    with pytest.raises(InputError) as caught:
        hold(case)
    assert [f.key for f in caught.value.faults] == ["safety"]
