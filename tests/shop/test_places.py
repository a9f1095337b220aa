"""The line of every key, whatever the way it is written."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from palletwright.shop.places import Path, lines_of
from palletwright.shop.read import DATA

TEXT = '''\
# a comment with = and [brackets]
top = 1
"quoted key" = "a # no comment"
dotted.inner.key = [1, 2] # trailing
many = """
x = 1
[not.a.table]
"""
literal = \'\'\'
y = """\'\'\'
escaped = "a \\" b"
when = 1979-05-27 07:32:00
rows = [
  { a = 1, b = { c = [
      10,
      # between
      20] } },
  { a = 2 },   { a = 3 },
]

[table]
x = 'it is = "fine"'

[[list]]
z = 1
[list.sub]
w = 2
[[list.deep]]
v = 1
[[list]]
z = 2
[[list.deep]]
v = 2
last = true'''

EXPECTED: dict[Path, str] = {
    ("top",): "top = 1",
    ("quoted key",): '"quoted key"',
    ("dotted", "inner", "key"): "dotted.inner.key",
    ("many",): 'many = """',
    ("literal",): "literal = ",
    ("escaped",): "escaped",
    ("when",): "when",
    ("rows",): "rows = [",
    ("rows", 0, "b", "c"): "{ a = 1, b",
    ("rows", 0, "b", "c", 0): "      10,",
    ("rows", 0, "b", "c", 1): "      20] } },",
    ("rows", 1, "a"): "{ a = 2 }",
    ("rows", 2, "a"): "{ a = 2 }",
    ("table",): "[table]",
    ("table", "x"): "x = 'it is",
    ("list", 0, "z"): "z = 1",
    ("list", 0, "sub", "w"): "w = 2",
    ("list", 0, "deep", 0, "v"): "v = 1",
    ("list", 1, "z"): "z = 2",
    ("list", 1, "deep", 0, "v"): "v = 2",
    ("list", 1, "deep", 0, "last"): "last = true",
}


def paths(value: Any, at: Path = ()) -> Iterator[Path]:
    """Every key and element of read data."""
    pairs = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in pairs:
        yield (*at, key)
        yield from paths(inner, (*at, key))


@pytest.mark.parametrize(("path", "start"), EXPECTED.items(), ids=lambda x: str(x) if isinstance(x, tuple) else "")
def test_where_each_key_stands(path: Path, start: str) -> None:
    row = TEXT.splitlines()[lines_of(TEXT)[path] - 1]
    assert start.strip() in row


def test_no_key_is_missed_and_none_invented() -> None:
    assert set(lines_of(TEXT)) == set(paths(tomllib.loads(TEXT)))


@pytest.mark.parametrize("name", ["example_shop.toml", "example_tools.toml", "materials.toml"])
def test_every_key_of_the_shipped_files_has_its_line(name: str) -> None:
    text = (DATA / name).read_text(encoding="utf-8")
    found = lines_of(text)
    rows = text.splitlines()
    assert set(found) == set(paths(tomllib.loads(text)))
    assert all(str(path[-1]) in rows[line - 1] for path, line in found.items() if isinstance(path[-1], str))


def test_windows_line_ends_count_the_same() -> None:
    assert lines_of(TEXT.replace("\n", "\r\n")) == lines_of(TEXT)


keys = st.text("abcxyz_-019", min_size=1, max_size=5)
scalars = st.integers() | st.booleans() | st.text("ab\"#=[]{},.'\\\n é", max_size=8)


def written(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        inner = value.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
        return f'"{inner}"'
    if isinstance(value, list):
        return "[\n" + "".join(f"  {written(v)}, # ] }}\n" for v in value) + "]"
    return "{ " + ", ".join(f"{k} = {written(v)}" for k, v in value.items()) + " }"


flat = st.dictionaries(keys, scalars | st.lists(scalars, max_size=3), max_size=3)
tables = st.dictionaries(keys, scalars | flat | st.lists(flat, max_size=3), min_size=1, max_size=4)


@given(tables)
def test_any_file_that_can_be_read_is_placed_whole(data: dict[str, Any]) -> None:
    text = "\n".join(f"{key} = {written(value)}" for key, value in data.items())
    assert set(lines_of(text)) == set(paths(tomllib.loads(text)))
