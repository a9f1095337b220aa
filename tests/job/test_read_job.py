"""A job file: read against its shop, or refused with every fault at its line."""

from __future__ import annotations

import tomllib
from pathlib import Path

import jsonschema_rs
import pytest

from palletwright.errors import Fault, InputError
from palletwright.job import Job, least_job, read_job, read_job_and_shop, schema
from palletwright.shop import example_shop
from palletwright.shop.read import DATA

GOOD = """\
name = "Drawbar lug"
part = "parts/lug.step"
material = "en aw 6061"
per_year = 6000
machines = ["mc-rotary"]

[blank]
allowance = 1.5
tolerance = 0.5

[[facts]]
at = [1.0, 2.0, 3.0]
kind = "no_mark"

[[facts]]
at = "hole 2"
kind = "fit"
value = "H7"

[[operations]]
directions = [[0, 0, 2], [1, 1, 0]]

[[today]]
operation = "op 1"
parts_per_start = 2
cycle_seconds = 300
load_seconds = 40
machine = "mc-small"

[[overrides]]
feature = "hole 2"
tool = 23
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts" / "lug.step").write_text("ISO-10303-21;\n")
    return tmp_path


def write(folder: Path, text: str) -> Path:
    file = folder / "job.toml"
    file.write_text(text, encoding="utf-8")
    return file


def only(file: Path) -> Fault:
    with pytest.raises(InputError) as caught:
        read_job(file, example_shop())
    assert len(caught.value.faults) == 1, str(caught.value)
    return caught.value.faults[0]


def test_a_good_job_is_read(folder: Path) -> None:
    job = read_job(write(folder, GOOD), example_shop())
    assert job.part == folder / "parts" / "lug.step"
    assert job.material == "6061-T6"
    assert job.operations[0].directions[0] == (0, 0, 1)
    assert job.operations[0].directions[1] == pytest.approx((0.5**0.5, 0.5**0.5, 0))


def test_paths_count_from_the_job_file(folder: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    write(folder, GOOD)
    monkeypatch.chdir(tmp_path.parent)
    assert read_job(Path(tmp_path.name) / "job.toml").part == (folder / "parts" / "lug.step").resolve()


def test_bare_lengths_count_in_the_files_unit(folder: Path) -> None:
    text = 'unit = "in"\n' + GOOD.replace("allowance = 1.5", 'allowance = "1.5 mm"').replace(
        "tolerance = 0.5", "tolerance = 0.02"
    )
    job = read_job(write(folder, text))
    assert job.blank.allowance == 1.5
    assert job.blank.tolerance == pytest.approx(0.508)
    assert job.facts[0].at == pytest.approx((25.4, 50.8, 76.2))


def test_an_operation_is_limited_to_clamps_that_the_shop_has(folder: Path) -> None:
    step, shop = folder / "parts" / "lug.step", example_shop()
    only = [{"feature": "hole-1", "clamps": ["edge-m8"]}]
    assert least_job(step, "1045", 100, shop, held_by=only).held_by[0].clamps == ("edge-m8",)
    with pytest.raises(InputError, match="is no clamp of shop") as caught:
        least_job(step, "1045", 100, shop, held_by=[{"feature": "hole-1", "clamps": ["edge-m8", "thumb"]}])
    assert [f.value for f in caught.value.faults] == ["'thumb'"]


def test_the_least_job_needs_three_things(folder: Path) -> None:
    job = read_job(write(folder, 'part = "parts/lug.step"\nmaterial = "C45"\nper_year = 100\n'), example_shop())
    assert job.name == "lug"
    assert job.allow_left_over
    assert least_job(folder / "parts" / "lug.step", "1045", 100, example_shop()) == job


@pytest.mark.parametrize(
    ("old", "new", "key", "value", "problem", "allowed"),
    [
        ('"parts/lug.step"', '"parts/lg.step"', "part", "'parts/lg.step'", "isn't there", "there are lug.step"),
        ('"parts/lug.step"', '"job.toml"', "part", "'job.toml'", "ends in .toml", ".step, .stp"),
        ('"en aw 6061"', '"6061-T7"', "material", "'6061-T7'", "is no material", "'6061-T6' (did you mean that?)"),
        ('"mc-rotary"', '"mc-rotry"', "machines[1]", "'mc-rotry'", "is no machine", "mc-large, mc-rotary, mc-small"),
        ('"mc-small"', '"mill"', "today[1].machine", "'mill'", "is no machine", "mc-large"),
        ("tool = 23", "tool = 999", "overrides[1].tool", "999", "is no tool", "1 to 61"),
        ("per_year = 6000", "per_year = 0", "per_year", "0", "isn't allowed", "greater than 0"),
        ("per_year = 6000\n", "", "per_year", "", "is missing", "integer"),
        ("per_year", "per_yaer = 3\nper_year", "per_yaer", "3", "isn't a known key", "'per_year' (did you"),
        ("[[0, 0, 2]", "[[0, 0, 0]", "operations[1].directions[1]", "[0, 0, 0]", "points nowhere", "not all 0"),
        ('"no_mark"', '"nomark"', "facts[1].kind", "'nomark'", "isn't allowed", "'no_mark'"),
        ("load_seconds = 40\n", "", "today[1].load_seconds", "", "is missing", "to unload and load"),
        ("allowance = 1.5", 'kind = "file"', "blank.file", "", "is missing", "STEP file"),
        ("allowance = 1.5", 'kind = "file"\nfile = "b.stp"', "blank.file", "'b.stp'", "isn't there", ".step"),
        ("[blank]", 'shop = "none.toml"\n[blank]', "shop", "'none.toml'", "isn't there", ".toml"),
        ("[[today]]", '[[overrides]]\nfeature = "hole 2"\n[[today]]', None, "'hole 2'", "more than once", "once"),
    ],
)  # fmt: skip
def test_each_fault_names_key_value_and_what_is_allowed(
    folder: Path, old: str, new: str, key: str | None, value: str, problem: str, allowed: str
) -> None:
    assert old in GOOD
    file = write(folder, GOOD.replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        read_job(file, example_shop())
    faults = caught.value.faults
    assert {f.key for f in faults} == ({key} if key else {"overrides[1].feature", "overrides[2].feature"})
    for fault in faults:
        assert (fault.file, fault.value) == (str(file), value)
        assert problem in fault.problem
        assert allowed in fault.allowed


def test_the_line_is_that_of_the_key(folder: Path) -> None:
    text = GOOD.replace("cycle_seconds = 300", "cycle_seconds = -3")
    assert only(write(folder, text)).line == text[: text.index("cycle_seconds")].count("\n") + 1


def test_faults_of_job_and_shop_come_together(folder: Path) -> None:
    (folder / "shop.toml").write_text('name = "x"\nnonsense = 1\n')
    file = write(folder, 'shop = "shop.toml"\n' + GOOD.replace("per_year = 6000", "per_year = -1"))
    with pytest.raises(InputError) as caught:
        read_job_and_shop(file)
    assert {"per_year", "nonsense", "machine", "tool"} <= {f.key for f in caught.value.faults}


def test_the_shop_is_the_one_handed_in_then_the_jobs_then_the_example(folder: Path) -> None:
    file = write(folder, GOOD)
    assert read_job_and_shop(file)[1] == example_shop()
    (folder / "mine.toml").write_text(f'name = "Mine"\ninclude = ["{DATA / "example_shop.toml"}"]\n')
    assert read_job_and_shop(write(folder, 'shop = "mine.toml"\n' + GOOD))[1].name == "Mine"
    assert read_job_and_shop(file, DATA / "example_shop.toml")[1] == example_shop()


def test_the_command_line_is_named_as_the_place(folder: Path) -> None:
    with pytest.raises(InputError, match=r"command line: material = 'cheese': is no material") as caught:
        least_job(folder / "none.step", "cheese", 0, example_shop())
    assert {f.key for f in caught.value.faults} == {"part", "material", "per_year"}


def test_the_schema_takes_what_the_reader_takes() -> None:
    check = jsonschema_rs.validator_for(schema())
    check.validate(tomllib.loads(GOOD))
    assert not check.is_valid({"part": "a.step", "material": "C45"})
    assert not check.is_valid({"part": "a.step", "material": "C45", "per_year": 3, "nonsense": 1})


def test_a_job_is_frozen(folder: Path) -> None:
    job = read_job(write(folder, GOOD))
    assert isinstance(job, Job)
    with pytest.raises(ValueError, match="frozen"):
        job.seed = 2  # type: ignore[misc]


def test_values_from_outside_are_checked_like_the_files_own(folder: Path) -> None:
    file = write(folder, GOOD)
    assert read_job(file, per_year=77).per_year == 77
    with pytest.raises(InputError, match="per_year = -5"):
        read_job(file, per_year=-5)


def test_an_operations_program_counts_from_the_job_file(folder: Path) -> None:
    plain = "directions = [[0, 0, 2], [1, 1, 0]]\n"
    file = write(folder, GOOD.replace(plain, plain + 'program = "first.nc"\nprogram_zero = [1, 2, 3]\n'))
    fault = only(file)
    assert (fault.key, fault.value, fault.problem) == ("operations[1].program", "'first.nc'", "isn't there")
    (folder / "first.nc").write_text("G21 G90\nT1 M6\nG0 X0 Y0\nG1 Z-1 F100\nM30\n")
    job = read_job(file, example_shop())
    assert job.operations[0].program == (folder / "first.nc").resolve()
    assert job.operations[0].program_zero == (1.0, 2.0, 3.0)
    assert (job.order, job.least_gain) == ("free", 0.01)
