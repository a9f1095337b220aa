"""Planning runs: each in a child of its own, followed live, kept when it is done, stopped without losing the best."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from palletwright.page.children import Child
from palletwright.page.store import Store, found, new_id, noted, now, packed
from palletwright.page.tables import JobRow, PlanRow, RunRow

MOST = 2
"""Runs at once: more would only slow each other down on a small machine."""


class Busy(RuntimeError):
    """Too many runs at once, or one for this job already."""


@dataclass
class Live:
    """What a run has said so far; `version` grows with every word."""

    id: str
    job: str
    child: Child
    began: float = field(default_factory=time.monotonic)
    stages: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    since: dict[str, float] = field(default_factory=dict)
    ways: list[dict[str, Any]] = field(default_factory=list)
    first_way_at: float | None = None
    state: str = "running"
    stopping: bool = False
    message: str = ""
    faults: list[dict[str, Any]] = field(default_factory=list)
    plan: str = ""
    version: int = 0

    def told(self) -> dict[str, Any]:
        """The state as the page hears it."""
        stages = [{"name": n, "done": d, "total": t, "seconds": s} for n, (d, t, s) in self.stages.items()]
        left = [s * (t - d) / d for d, t, s in list(self.stages.values())[-1:] if 0 < d < t]
        return {
            "state": self.state,
            "stopping": self.stopping,
            "seconds": time.monotonic() - self.began,
            "stages": stages,
            "seconds_left": left[0] if left else None,
            "ways": self.ways,
            "first_way_at": self.first_way_at,
            "message": self.message,
            "faults": self.faults,
            "plan": self.plan,
        }


class Runs:
    """All runs since the server started."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.live: dict[str, Live] = {}
        self.lock = threading.Lock()

    def start(self, job: str, data: dict[str, Any], shop: dict[str, Any]) -> str:
        """Begin to plan a job. Raises Busy."""
        with self.lock:
            running = [r for r in self.live.values() if r.state == "running"]
            if any(r.job == job for r in running):
                raise Busy("this job is being planned already")
            if len(running) >= MOST:
                raise Busy(f"{MOST} jobs are being planned already: wait for one, or stop it")
            id = new_id()
            run = Live(id, job, Child("palletwright.page.planner", data, shop))
            self.live[id] = run
        with self.store.session() as session:
            session.add(RunRow(id=id, job=job, state="running", started=now()))
            noted(session, job, "planning started")
        threading.Thread(target=self._follow, args=(run,), daemon=True).start()
        return id

    def stop(self, id: str) -> None:
        """Ask a run to stop; what it has found is kept. Asked again before anything is found, it ends at once."""
        run = self.live.get(id)
        if run is None or run.state != "running":
            return
        if run.stopping and not run.ways:
            run.child.end()
        run.stopping = True
        run.version += 1
        run.child.send("stop")

    def close(self) -> None:
        for run in self.live.values():
            if run.state == "running":
                run.child.end(0.5)

    def _follow(self, run: Live) -> None:
        for message in run.child.heard():
            kind, *rest = message
            if kind == "progress":
                self._progress(run, *rest)
            elif kind == "ways":
                run.ways = rest[0]
                run.first_way_at = run.first_way_at or time.monotonic() - run.began
            else:
                self._ended(run, kind, rest[0])
                break
            run.version += 1
        if run.state == "running":
            run.message = "" if run.stopping else "The planner stopped without an answer."
            self._close(run, "stopped" if run.stopping else "failed")
        run.child.end()

    def _progress(self, run: Live, stage: str, done: float, total: float) -> None:
        since = run.since.setdefault(stage, time.monotonic())
        run.stages[stage] = (done, total, time.monotonic() - since)

    def _ended(self, run: Live, kind: str, answer: Any) -> None:
        if kind == "plan":
            run.plan = keep_plan(self.store, run.job, answer)
            self._close(run, "done")
        elif kind == "no plan":
            run.faults = [{"problem": f"{r['about']}: {r['text']}"} for r in answer]
            run.message = "There is no workable plan with this shop. What stopped it:"
            self._close(run, "failed")
        elif kind == "faults":
            run.faults, run.message = answer, "The job can't be planned as it stands:"
            self._close(run, "failed")
        else:
            run.message = f"Planning broke off: {answer}"
            self._close(run, "failed")

    def _close(self, run: Live, state: str) -> None:
        with self.store.session() as session:
            row = session.get(RunRow, run.id)
            if row is not None:
                row.state, row.ended, row.message, row.plan = state, now(), run.message, run.plan
                words = {
                    "done": "a plan was made",
                    "failed": "planning gave no plan",
                    "stopped": "planning was stopped",
                }
                noted(session, run.job, words.get(state, state))
        run.state = state
        run.version += 1


def keep_plan(store: Store, job: str, data: dict[str, Any]) -> str:
    """Keep a plan's data with its job; the part is named without its folder. Returns the plan's id."""
    id = new_id()
    data["job"]["part"] = Path(data["job"]["part"]).name
    data["job"]["shop"] = None
    with store.session() as session:
        found(session, JobRow, job).changed = now()
        session.add(PlanRow(id=id, job=job, made=now(), title=data["title"], data=packed(data)))
    return id
