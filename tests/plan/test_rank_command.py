"""The rank verb on the command line: a list with bad rows is answered whole; a list that isn't there is bad input."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from palletwright import cli, verbs
from palletwright.demo import demo_job
from palletwright.errors import InputError

STEP = demo_job().with_suffix(".step")


@pytest.fixture
def jobs(tmp_path):
    file = tmp_path / "jobs.csv"
    file.write_text(
        f"name,part,material,per_year,today\nyoke,{STEP},6061-T6,600,\ngone,gone.step,6061-T6,600,\n"
        f"odd,{STEP},unobtanium,600,2/610/75\n"
    )
    return file


def test_rank_answers_for_every_row_and_exits_1_where_nothing_is_ranked(jobs, tmp_path):
    found = CliRunner().invoke(cli.app, ["rank", str(jobs), "--out", str(tmp_path / "out"), "--json"])
    assert found.exit_code == 0
    data = json.loads(found.stdout)
    assert [r["name"] for r in data["failed"]] == ["gone", "odd"]
    assert [r["name"] for r in data["unknown"]] == ["yoke"]
    assert json.loads((tmp_path / "out" / "ranking.json").read_text()) == data
    shown = CliRunner().invoke(cli.app, ["rank", str(jobs), "--out", str(tmp_path / "out"), "--capital", "9000"])
    assert shown.exit_code == 1
    for words in ("3 jobs", "gone", "unobtanium", "how the part is made today", "within capital 9,000: none"):
        assert words in shown.stdout


def test_a_list_that_is_not_there_is_bad_input(tmp_path, jobs):
    with pytest.raises(InputError, match="isn't there"):
        verbs.rank(tmp_path / "none.csv", out=tmp_path)
    with pytest.raises(InputError, match="workers"):
        verbs.rank(jobs, out=tmp_path, workers=0)
