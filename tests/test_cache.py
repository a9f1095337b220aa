"""What was computed once is read back; what isn't whole is computed again, and said."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from palletwright import cache
from palletwright.cache import CacheWarning, cached, fingerprint, trim
from palletwright.shop import example_shop
from palletwright.solid.model import Mesh


@dataclass(frozen=True)
class Question:
    size: float
    name: str = "a"


class Counter:
    """A computation that counts how often it runs."""

    def __init__(self, answer: Any) -> None:
        self.answer = answer
        self.runs = 0

    def __call__(self) -> Any:
        self.runs += 1
        return self.answer


def entries(folder: Path) -> list[Path]:
    return sorted(folder.rglob("*.pickle"))


def test_the_second_answer_comes_from_disk_and_equals_the_first(tmp_path: Path) -> None:
    work = Counter({"sum": np.arange(4.0), "question": Question(2.0)})
    first = cached("field", [Question(1.0)], work, tmp_path)
    second = cached("field", [Question(1.0)], work, tmp_path)
    assert work.runs == 1
    assert second["question"] == first["question"]
    assert np.array_equal(second["sum"], first["sum"])
    assert second["sum"] is not first["sum"]


@pytest.mark.parametrize(
    ("room", "inputs"), [("field", [Question(1.5)]), ("reach", [Question(1.0)]), ("field", [Question(1.0), None])]
)
def test_another_question_is_computed(tmp_path: Path, room: str, inputs: list[object]) -> None:
    work = Counter(3)
    cached("field", [Question(1.0)], work, tmp_path)
    cached(room, inputs, work, tmp_path)
    assert work.runs == 2


def test_another_program_or_library_never_reads_an_old_answer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    work = Counter(3)
    cached("field", [1], work, tmp_path)
    with monkeypatch.context() as changed:
        changed.setattr(cache, "libraries", lambda: ("numpy 0.1",))
        cached("field", [1], work, tmp_path)
    with monkeypatch.context() as changed:
        changed.setattr(cache, "program", lambda: "edited")
        cached("field", [1], work, tmp_path)
    assert work.runs == 3


def _cut_short(content: bytes) -> bytes:
    return content[: len(content) // 2]


def _flip_a_bit(content: bytes) -> bytes:
    return content[:-3] + bytes([content[-3] ^ 1]) + content[-2:]


@pytest.mark.parametrize("spoil", [_cut_short, _flip_a_bit, lambda content: b""])
def test_a_corrupt_entry_is_said_and_computed_again(tmp_path: Path, spoil: Callable[[bytes], bytes]) -> None:
    work = Counter([1, 2, 3])
    cached("field", [1], work, tmp_path)
    (file,) = entries(tmp_path)
    file.write_bytes(spoil(file.read_bytes()))
    with pytest.warns(CacheWarning, match=r"is corrupt .*; computed again"):
        assert cached("field", [1], work, tmp_path) == [1, 2, 3]
    assert cached("field", [1], work, tmp_path) == [1, 2, 3]
    assert work.runs == 2


def test_nothing_half_written_stays(tmp_path: Path) -> None:
    cached("field", [1], Counter(3), tmp_path)
    assert [file.suffix for file in tmp_path.rglob("*") if file.is_file()] == [".pickle"]


def test_where_nothing_can_be_written_the_answer_still_comes(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("no folder")
    with pytest.warns(CacheWarning):
        assert cached("field", [1], Counter(3), blocked) == 3


def test_off_is_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    work = Counter(3)
    monkeypatch.setenv("PALLETWRIGHT_CACHE", str(tmp_path))
    cached("field", [1], work)
    assert len(entries(tmp_path)) == 1
    monkeypatch.setenv("PALLETWRIGHT_CACHE", "off")
    cached("field", [1], work)
    assert work.runs == 2
    assert cache.place() is None


def test_read_only_arrays_stay_read_only(tmp_path: Path) -> None:
    mesh = Mesh(np.eye(3), np.array([[0, 1, 2]], dtype=np.int32))
    made = [cached("solid", [1], lambda: (mesh, np.zeros(2)), tmp_path) for _ in range(2)]
    for back, loose in made:
        assert not back.vertices.flags.writeable
        assert loose.flags.writeable
        assert back.key == mesh.key


def test_the_oldest_answers_go_first(tmp_path: Path) -> None:
    import os

    for age in range(5):
        cached("field", [age], Counter(b"x" * 1000), tmp_path)
        for file in entries(tmp_path):
            if file.stat().st_mtime > 1e9:
                os.utime(file, (age, age))
    oldest = min(entries(tmp_path), key=lambda f: f.stat().st_mtime)
    trim(tmp_path, greatest=4500)
    assert 0 < len(entries(tmp_path)) < 5
    assert not oldest.exists()


def test_a_path_counts_with_its_content(tmp_path: Path) -> None:
    file = tmp_path / "a.step"
    file.write_text("one")
    before = fingerprint(file)
    (tmp_path / "b.step").write_text("one")
    assert fingerprint(tmp_path / "b.step") == before
    file.write_text("two")
    assert fingerprint(file) != before


values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text() | st.binary(),
    lambda inner: st.lists(inner, max_size=3).map(tuple) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=6,
)


@given(values, values)
def test_equal_hash_means_equal_content(one: object, other: object) -> None:
    assert fingerprint(one) == fingerprint(one)
    assert (fingerprint(one) == fingerprint(other)) == (repr(_sorted(one)) == repr(_sorted(other)))


def _sorted(value: object) -> object:
    """Dictionaries by key, so that their order doesn't count."""
    if isinstance(value, dict):
        return {"map": sorted((k, repr(_sorted(v))) for k, v in value.items())}
    return tuple(map(_sorted, value)) if isinstance(value, tuple) else value


def test_order_of_a_mapping_or_set_does_not_count() -> None:
    assert fingerprint({"a": 1, "b": 2}) == fingerprint({"b": 2, "a": 1})
    assert fingerprint(frozenset("abc")) == fingerprint(frozenset("cba"))


def test_arrays_count_with_type_and_shape() -> None:
    arrays = [np.zeros(4), np.zeros((2, 2)), np.zeros(4, dtype=np.float32), np.zeros(4, dtype=np.int64)]
    assert len({fingerprint(a) for a in arrays}) == 4
    assert fingerprint(np.arange(9.0).reshape(3, 3).T) == fingerprint(
        np.ascontiguousarray(np.arange(9.0).reshape(3, 3).T)
    )


def test_what_has_no_content_is_refused() -> None:
    with pytest.raises(TypeError, match="a object has no content to hash"):
        fingerprint([object()])


def test_the_same_hash_in_another_process() -> None:
    code = (
        "from palletwright.cache import fingerprint\n"
        "from palletwright.shop import example_shop\n"
        "print(fingerprint(example_shop()))"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert ran.stdout.strip() == fingerprint(example_shop())
