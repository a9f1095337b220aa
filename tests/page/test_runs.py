"""Planning runs: followed, stopped, refused twice, and ended with the server."""

from __future__ import annotations

import json
import os
import time
from pathlib import Path

import pytest
from served import Served, serving

pytestmark = pytest.mark.slow


def ended(served: Served, run: str, seconds: float = 60.0) -> dict[str, object]:
    """The run's state once it no longer runs."""
    for _ in range(int(seconds * 5)):
        state: dict[str, object] = served.client.get(f"/api/runs/{run}").json()
        if state["state"] != "running":
            return state
        time.sleep(0.2)
    raise AssertionError(f"still running after {seconds:g} s")


def children_of(pid: int) -> list[int]:
    """Processes whose parent is `pid`, from the process table."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            parent = int((folder / "stat").read_text().rpartition(")")[2].split()[1])
        except (OSError, ValueError, IndexError):
            continue
        if parent == pid:
            found.append(int(folder.name))
    return found


def alive(pid: int) -> bool:
    try:
        return (Path("/proc") / str(pid) / "stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def test_a_run_tells_its_stages_is_alone_for_its_job_and_stops(served: Served) -> None:
    job = served.example()
    run = served.client.post(f"/api/jobs/{job}/run").json()["run"]
    again = served.client.post(f"/api/jobs/{job}/run")
    assert again.status_code == 409
    assert "being planned already" in again.text
    with served.client.stream("GET", f"/api/runs/{run}/events", timeout=60) as told:
        for line in told.iter_lines():
            if line.startswith("data:") and (stages := json.loads(line[5:])["stages"]):
                assert {"name", "done", "total", "seconds"} <= set(stages[0])
                break
    for _ in range(2):  # the second time nothing is found yet: it ends at once
        assert served.client.post(f"/api/runs/{run}/stop").status_code == 200
    state = ended(served, run)
    assert state["state"] == "stopped"
    assert state["plan"] == ""
    shown = served.client.get(f"/api/jobs/{job}").json()
    assert shown["runs"][0]["state"] == "stopped"
    assert shown["past"][0]["what"] == "planning was stopped"
    third = served.client.post(f"/api/jobs/{job}/run").json()["run"]
    for _ in range(2):
        served.client.post(f"/api/runs/{third}/stop")
    ended(served, third)


def test_a_job_without_a_way_says_what_stopped_it(served: Served) -> None:
    from palletwright.page.shopfiles import edited, example_files

    files = example_files()
    top = next(iter(files))
    heavy = served.client.post("/api/shops", json={"files": edited(files, top, ["machine", 0, "table_payload"], 1)})
    assert heavy.status_code == 200, heavy.text
    shop = served.client.get(f"/api/shops/{heavy.json()['id']}").json()
    machine = shop["data"][top]["machine"][0]["id"]
    job = served.example()
    draft = {
        "material": "C45",
        "per_year": 10,
        "machines": [machine],
        "blank": {"kind": "block", "size": [300, 300, 300]},
    }
    body = {"revision": 0, "name": "heavy", "draft": draft, "shop": heavy.json()["id"]}
    assert served.client.put(f"/api/jobs/{job}/draft", json=body).status_code == 200
    run = served.client.post(f"/api/jobs/{job}/run").json()["run"]
    state = ended(served, run)
    assert state["state"] == "failed"
    assert any("weighs" in f["problem"] for f in state["faults"])  # type: ignore[index, attr-defined]


def test_a_killed_server_leaves_nobody_running(tmp_path: Path) -> None:
    with serving(tmp_path / "jobs.sqlite") as made:
        job = made.example()
        made.client.post(f"/api/jobs/{job}/run")
        time.sleep(1.0)
        left = children_of(made.process.pid)
        assert left
        made.kill()
        for _ in range(100):
            if not any(alive(pid) for pid in left):
                break
            time.sleep(0.1)
        assert [pid for pid in left if alive(pid)] == []
        assert os.getpid() not in left
