"""Nothing is lost: a killed server, an older file, two windows, a job as one file."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path
from typing import Any

import httpx
import pytest
from served import Served, serving
from sqlalchemy import create_engine, inspect

from palletwright.errors import InputError
from palletwright.page import store as store_room
from palletwright.page.store import Store
from palletwright.page.tables import STEPS, JobRow, RunRow, bring_up_to_date


class TestFile:
    def test_an_older_file_is_brought_up_to_date_with_what_it_holds(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        from palletwright.page import tables

        file = tmp_path / "old.sqlite"
        monkeypatch.setattr(tables, "STEPS", STEPS[:1])
        old = Store(file)
        assert "tick" not in inspect(old.engine).get_table_names()
        with old.session() as session:
            session.add(JobRow(id="a", name="kept", draft="{}", created="", changed=""))
        with old.engine.begin() as connection:  # as they were before version 3
            connection.exec_driver_sql("ALTER TABLE edit DROP COLUMN terms")
            connection.exec_driver_sql('ALTER TABLE plan DROP COLUMN "foreign"')
        old.close()
        monkeypatch.undo()
        new = Store(file)
        assert "tick" in inspect(new.engine).get_table_names()
        assert "terms" in {c["name"] for c in inspect(new.engine).get_columns("edit")}
        with new.session() as session:
            row = session.get(JobRow, "a")
            assert row is not None
            assert row.name == "kept"
        new.close()

    def test_a_step_that_breaks_leaves_the_file_as_it_was(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        from palletwright.page import tables

        def broken(connection: Any) -> None:
            connection.exec_driver_sql("CREATE TABLE half (x)")
            raise RuntimeError("power cut")

        monkeypatch.setattr(tables, "STEPS", (*STEPS, broken))
        engine = create_engine(f"sqlite:///{tmp_path / 'x.sqlite'}")

        def opened() -> None:
            with engine.begin() as connection:
                connection.exec_driver_sql("BEGIN IMMEDIATE")
                bring_up_to_date(connection, "x")

        with pytest.raises(RuntimeError):
            opened()
        assert inspect(engine).get_table_names() == []
        engine.dispose()

    def test_a_newer_file_is_left_alone(self, tmp_path: Path) -> None:
        file = tmp_path / "new.sqlite"
        store = Store(file)
        with store.engine.begin() as connection:
            connection.exec_driver_sql("PRAGMA user_version = 99")
        store.close()
        with pytest.raises(InputError, match="newer palletwright"):
            Store(file)

    def test_a_file_that_is_something_else(self, tmp_path: Path) -> None:
        file = tmp_path / "photo.sqlite"
        file.write_bytes(b"\x89PNG" * 500)
        with pytest.raises(InputError, match="isn't a store"):
            Store(file)
        assert file.read_bytes() == b"\x89PNG" * 500

    def test_it_writes_ahead_and_is_its_owner_s_only(self, tmp_path: Path) -> None:
        file = tmp_path / "a" / "jobs.sqlite"
        store = Store(file)
        with store.engine.connect() as connection:
            assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
            assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
        assert file.stat().st_mode & 0o077 == 0
        first = store.key()
        store.close()
        again = Store(file)
        assert again.key() == first
        again.close()

    def test_an_error_inside_a_session_keeps_nothing_of_it(self, tmp_path: Path) -> None:
        store = Store(tmp_path / "jobs.sqlite")

        def half() -> None:
            with store.session() as session:
                session.add(JobRow(id="a", name="half", draft="{}", created="", changed=""))
                session.flush()
                raise ZeroDivisionError

        with pytest.raises(ZeroDivisionError):
            half()
        with store.session() as session:
            assert session.get(JobRow, "a") is None
        store.close()


@pytest.mark.slow
class TestKilled:
    def test_what_was_kept_before_a_kill_is_there_after_it(self, tmp_path: Path, plan_data: dict[str, Any]) -> None:
        file = tmp_path / "jobs.sqlite"
        with serving(file) as first:
            job, plan = first.planned(plan_data)
            revision = first.client.get(f"/api/jobs/{job}").json()["revision"]
            draft = {"name": "renamed", "pain": "too much walking", "material": "6061", "per_year": 41, "today": []}
            for per_year in range(1, 40):
                body = {"revision": revision, "name": "renamed", "draft": {**draft, "per_year": per_year}, "shop": None}
                revision = first.client.put(f"/api/jobs/{job}/draft", json=body).json()["revision"]
            run = first.client.post(f"/api/jobs/{job}/run").json()["run"]
            first.client.put(f"/api/plans/{plan}/ways/0/ticks", json={"item": "load 10.1", "value": "loaded"})
            first.kill()
            key = first.key
        with serving(file) as second:
            assert second.key == key
            kept = second.client.get(f"/api/jobs/{job}").json()
            assert (kept["name"], kept["draft"]["per_year"], kept["revision"]) == ("renamed", 39, revision)
            assert second.client.get(f"/api/runs/{run}").json()["state"] == "interrupted"
            assert [p["id"] for p in kept["plans"]] == [plan]
            sheet = second.client.get(f"/api/plans/{plan}/ways/0/sheet").json()
            assert sheet["ticks"]["load 10.1"]["value"] == "loaded"

    def test_runs_that_a_kill_left_open_are_closed_and_say_so(self, tmp_path: Path) -> None:
        store = Store(tmp_path / "jobs.sqlite")
        with store.session() as session:
            session.add(JobRow(id="a", name="", draft="{}", created="", changed=""))
            session.flush()
            session.add(RunRow(id="r", job="a", state="running", started=store_room.now()))
        store.end_runs()
        with store.session() as session:
            row = session.get(RunRow, "r")
            assert row is not None
            assert row.state == "interrupted"
            assert "Nothing that was entered is lost" in row.message
        store.close()


class TestTwoWindows:
    def test_the_second_one_to_save_is_told_and_nothing_is_overwritten(self, served: Served) -> None:
        job = served.client.post("/api/jobs", json={}).json()["id"]
        first = {"revision": 0, "name": "first", "draft": {"per_year": 1}, "shop": None}
        assert served.client.put(f"/api/jobs/{job}/draft", json=first).status_code == 200
        second = {"revision": 0, "name": "second", "draft": {"per_year": 2}, "shop": None}
        answer = served.client.put(f"/api/jobs/{job}/draft", json=second)
        assert answer.status_code == 409
        assert "another window" in answer.text
        assert served.client.get(f"/api/jobs/{job}").json()["name"] == "first"


@pytest.mark.slow
def test_a_job_goes_out_as_one_file_and_comes_back_the_same(served: Served, plan_data: dict[str, Any]) -> None:
    job, plan = served.planned(plan_data)
    tick = {"item": "fact 1", "value": "12.004"}
    assert served.client.put(f"/api/plans/{plan}/ways/0/ticks", json=tick).status_code == 200
    design = served.client.get(f"/api/plans/{plan}/ways/0").json()["design"]
    design["stations"][0]["x"] += 0.5
    step = {"step": 0, "what": "moved", "design": design}
    assert served.client.post(f"/api/plans/{plan}/ways/0/steps", json=step).status_code == 200
    blob = served.client.get(f"/api/jobs/{job}/archive").content
    assert served.client.get(f"/api/jobs/{job}/archive").content == blob
    back = served.client.post("/api/archives", files={"file": ("a.zip", blob)}).json()["id"]
    before, after = (served.client.get(f"/api/jobs/{j}").json() for j in (job, back))
    assert back != job
    for key in ("name", "draft", "part"):
        assert before[key] == after[key]
    (copy,) = after["plans"]
    one, two = (served.client.get(f"/api/plans/{p}/ways/0").json() for p in (plan, copy["id"]))
    assert one["margins"] == two["margins"]
    assert two["state"]["design"]["stations"][0]["x"] == design["stations"][0]["x"]
    assert two["state"]["checked"] is False
    # what was changed must be checked again before it is printed, here and there
    assert served.client.get(f"/api/plans/{copy['id']}/papers.zip").status_code == 409
    there = f"/api/plans/{copy['id']}"
    assert served.client.post(f"{there}/ways/0/shift?by=-1").json()["changed"] is False
    # nor does the plan itself count as checked, because the file says so
    for paper in ("papers.zip", "report.html", "plan.json", "ways/0/sheet"):
        assert served.client.get(f"{there}/{paper}").status_code == 409
    assert served.client.post(f"{there}/ways/0/check").json()["passed"] is True
    assert served.client.get(f"{there}/report.html").status_code == 200
    assert served.client.get(f"{there}/report.html?way=1").status_code == 409
    assert served.client.get(f"/api/plans/{plan}/report.html?way=1").status_code == 200
    ticks = served.client.get(f"/api/plans/{copy['id']}/ways/0/sheet").json()["ticks"]
    assert ticks["fact 1"]["value"] == "12.004"
    assert any("read from an archive" in p["what"] for p in after["past"])
    assert json.loads(json.dumps(before["draft"])) == after["draft"]


def _archive(served: Served, plan_data: dict[str, Any], spoil: Any) -> httpx.Response:
    """A copy of a job whose plan was spoiled by hand, brought in."""
    job, _ = served.planned(plan_data)
    blob = served.client.get(f"/api/jobs/{job}/archive").content
    with zipfile.ZipFile(io.BytesIO(blob)) as pack:
        files = {n: pack.read(n) for n in pack.namelist()}
    data = json.loads(files["plans/0.json"])
    spoil(data)
    files["plans/0.json"] = json.dumps(data).encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as pack:
        for name, content in files.items():
            pack.writestr(name, content)
    return served.client.post("/api/archives", files={"file": ("a.zip", out.getvalue())})


@pytest.mark.slow
def test_a_plan_that_was_made_better_by_hand_in_its_file_is_found_out(
    served: Served, plan_data: dict[str, Any]
) -> None:
    def closer(data: dict[str, Any]) -> None:
        a, b = data["plans"][0]["design"]["stations"][:2]
        a["x"], a["y"] = b["x"] - 4.0, b["y"]
        data["plans"][0]["cost_per_part"] = 0.01

    job = _archive(served, plan_data, closer).json()["id"]
    (plan,) = served.client.get(f"/api/jobs/{job}").json()["plans"]
    at = f"/api/plans/{plan['id']}"
    assert served.client.get(at).json()["ways"][0]["state"]["foreign"] is True
    answer = served.client.post(f"{at}/ways/0/check")
    assert answer.status_code == 200, answer.text
    verdict = answer.json()
    assert verdict["passed"] is False
    assert verdict["failures"]
    assert served.client.get(f"{at}/papers.zip").status_code == 409


@pytest.mark.slow
@pytest.mark.parametrize(
    "spoil",
    [
        lambda d: d.update(plans=[{}]),
        lambda d: d.update(plans=[]),
        lambda d: d.update(shop={}),
        lambda d: d["plans"][0].update(cost_per_part="<b>cheap</b>"),
        lambda d: d["plans"][0].update(design={"machine": 3}),
        lambda d: d["plans"][0]["margins"][0].update(have="plenty"),
        lambda d: d["plans"][0].update(cycle={"cycles": [{}]}),
        lambda d: d.update(access=None),
        lambda d: d["job"].update(per_year=float("nan")),
    ],
)
def test_a_plan_that_isn_t_one_is_refused_and_nothing_of_it_kept(
    served: Served, plan_data: dict[str, Any], spoil: Any
) -> None:
    before = len(served.client.get("/api/start").json()["jobs"])
    answer = _archive(served, plan_data, spoil)
    assert answer.status_code == 422
    assert "holds something unexpected" in answer.text or "isn't a job of palletwright" in answer.text
    assert len(served.client.get("/api/start").json()["jobs"]) == before + 1  # the one that was copied
