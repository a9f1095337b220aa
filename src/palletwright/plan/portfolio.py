"""Which part next: a shop's many jobs ranked by what a dense fixture saves an hour of building it.

Bounds first for all; then full plans, the greatest bound first, until no bound can enter the top. Every answer is
written as it comes, so that a broken-off run goes on where it stopped. The ranking is the same for any number of
workers, because it names only what the bounds prove.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import BrokenExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal

from palletwright.cache import fingerprint, program
from palletwright.errors import Fault, InputError, NoPlan
from palletwright.flow.rank import RankJob, rank_jobs
from palletwright.job.model import Job
from palletwright.plan.crew import Crew, crew
from palletwright.plan.joblist import Entry, read_jobs
from palletwright.plan.worth import Bound, Worth, bound_of, plan_job, worth_of
from palletwright.progress import Progress
from palletwright.shop.model import Shop

Planner = Callable[[Job, Shop, Path], dict[str, Any]]
Bounder = Callable[[Job, Shop], Bound]

TOP = 20
"""Jobs that a ranking names."""

BOUNDS_A_WORKER = 2000
"""Bounds after which a worker is replaced; they leave little behind."""

ROUNDING = 1e-9
"""Relative error of sums of money that a bound forgives."""


@dataclass(frozen=True)
class Task:
    """One job to bound or to plan, as it goes to a worker. `key` is the content that the answer depends on."""

    stage: Literal["bound", "plan"]
    id: str
    key: str
    job: Job
    shop: Shop
    folder: Path
    bounder: Bounder
    planner: Planner


def work(task: Task) -> dict[str, Any]:
    """Bound or plan one job in a worker; what goes wrong comes back as text, never as an exception."""
    try:
        if task.stage == "bound":
            return asdict(task.bounder(task.job, task.shop))
        return asdict(worth_of(task.planner(task.job, task.shop, task.folder)))
    except NoPlan as error:
        return asdict(Worth(None, note=str(error)))
    except Exception as error:  # one bad job never stops the rest: its error is its answer
        return {"error": f"{type(error).__name__}: {error}"}


class Ledger:
    """Answers of one stage on disk, one line each; what was answered for the same content isn't asked again."""

    def __init__(self, file: Path) -> None:
        self.file = file
        self.answers: dict[str, dict[str, Any]] = {}
        text = file.read_text(encoding="utf-8", errors="replace") if file.is_file() else ""
        self.torn = bool(text) and not text.endswith("\n")
        for line in text.splitlines():
            try:
                row = json.loads(line)
                self.answers[row["key"]] = row["answer"]
            except (json.JSONDecodeError, KeyError, TypeError):
                continue  # the line that a broken-off run left half written

    def add(self, task: Task, answer: dict[str, Any]) -> None:
        """Keep an answer, on disk at once."""
        line = json.dumps({"id": task.id, "key": task.key, "answer": answer}, ensure_ascii=False)
        self.answers[task.key] = json.loads(line)["answer"]
        self.file.parent.mkdir(parents=True, exist_ok=True)
        with self.file.open("a", encoding="utf-8") as out:
            out.write(("\n" if self.torn else "") + line + "\n")
        self.torn = False


def rank_folder(
    path_or_csv: str | Path,
    shop: Shop,
    out: str | Path,
    workers: int = 2,
    scheduler: str | None = None,
    *,
    planner: Planner | None = None,
    bounder: Bounder | None = None,
    top: int = TOP,
    capital: float | None = None,
    machine_hours: float | None = None,
    seconds_each: float | None = None,
    progress: Progress | None = None,
) -> dict[str, Any]:
    """Rank many jobs of a shop by what a dense fixture would save a year per hour of fixture building.

    Parameters
    ----------
    path_or_csv : folder of job files (TOML), or a CSV (see `joblist.COLUMNS`)
    shop : the shop that makes them
    out : folder for the answers as they come, one plan.json a planned job, and ranking.json
    workers : processes of one thread each; without meaning for a cluster, which has its own
    scheduler : address of a Dask scheduler; None: local processes
    planner, bounder : what plans and bounds one job; functions at the top of a module, which workers can import
    top : jobs that the ranking names
    capital, machine_hours : limits of the chosen set; making the fixtures is what takes machine hours
    seconds_each : clock limit of one plan; with it plans may differ from run to run

    Returns the ranking as plain data: `jobs` (the top, proven unless `stopped_early`; jobs of one `tie` are closer than
    their error), `chosen` of them within the limits, `chosen_at_most` (a saving that no set of the whole list passes),
    `others` with their bounds, `failed` with their faults, `without_fixtures` for which no fixture came out, `unknown`
    that no bound is known of. Raises InputError for a list that can't be read.
    """
    if top < 1:
        raise InputError([Fault("rank", "top", str(top), "isn't a count", "at least 1")])
    run = _Run(
        entries=read_jobs(path_or_csv, shop),
        shop=shop,
        out=Path(out),
        planner=planner or functools.partial(plan_job, seconds=seconds_each),
        bounder=bounder or bound_of,
        top=top,
        progress=progress or Progress(),
    )
    with crew(work, workers, scheduler, BOUNDS_A_WORKER) as hands:
        run.bound_all(hands)
    with crew(work, workers, scheduler) as hands:
        run.plan_best(hands)
    data = run.ranking(capital, machine_hours)
    part = run.out / "ranking.json.part"
    part.write_text(json.dumps(data, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    part.replace(run.out / "ranking.json")
    return data


class _Run:
    """One ranking under way: the ledgers, and what they say so far."""

    def __init__(
        self,
        entries: Sequence[Entry],
        shop: Shop,
        out: Path,
        planner: Planner,
        bounder: Bounder,
        top: int,
        progress: Progress,
    ) -> None:
        self.shop, self.out, self.top, self.progress = shop, out, top, progress
        self.planner, self.bounder = planner, bounder
        self.bounds, self.plans = Ledger(out / "bounds.jsonl"), Ledger(out / "plans.jsonl")
        self.shop_key = fingerprint((shop, program()))
        self.keys: dict[str, str] = {}
        self.entries = [self._keyed(e) for e in entries]
        self.jobs = {e.id: e.job for e in self.entries if e.job is not None}
        self.names = {e.id: e.name for e in entries}
        out.mkdir(parents=True, exist_ok=True)

    def _keyed(self, entry: Entry) -> Entry:
        """The entry with its content's key kept; a part file that can't be read is its fault."""
        if entry.job is not None:
            try:
                content = (self.shop_key, entry.job, _named(self.planner), _named(self.bounder))
                self.keys[entry.id] = fingerprint(content)
            except OSError as error:
                return Entry(entry.id, entry.name, None, str(error))
        return entry

    def task(self, stage: Literal["bound", "plan"], id: str) -> Task:
        folder = self.out / "plans" / id.replace("/", "_").replace(":", "_").removesuffix(".toml")
        return Task(stage, id, self.keys[id], self.jobs[id], self.shop, folder, self.bounder, self.planner)

    def bound_all(self, hands: Crew[Task, dict[str, Any]]) -> None:
        """A bound for every job that has none yet."""
        missing = iter([id for id in self.jobs if self.keys[id] not in self.bounds.answers])

        def next_task() -> Task | None:
            id = None if self.progress.stopped else next(missing, None)
            return None if id is None else self.task("bound", id)

        for task, answer in hands.run(next_task):
            self.bounds.add(task, _answer(answer))
            self.progress("bounds", len(self.bounds.answers), len(self.jobs))

    def bounded(self) -> list[tuple[float, str]]:
        """(bound, id) of every job that has one, the greatest first, by id at a tie."""
        rows = []
        for id, key in self.keys.items():
            bound = self.bounds.answers.get(key, {}).get("saving_per_hour")
            if bound is not None:
                rows.append((float(bound), id))
        return sorted(rows, key=lambda r: (-r[0], r[1]))

    def planned(self) -> list[tuple[float, str]]:
        """(saving an hour, id) of every planned job that has fixtures, best first."""
        rows = []
        for id, key in self.keys.items():
            value = self.plans.answers.get(key, {}).get("saving_per_hour")
            if value is not None:
                rows.append((float(value), id))
        return sorted(rows, key=lambda r: (-r[0], r[1]))

    def threshold(self) -> float:
        """The saving an hour that a job must reach to enter the top."""
        rows = self.planned()
        return rows[self.top - 1][0] if len(rows) >= self.top else float("-inf")

    def plan_best(self, hands: Crew[Task, dict[str, Any]]) -> None:
        """Full plans, the greatest bound first, until no bound can enter the top."""
        queue: Iterator[tuple[float, str]] = iter(
            [(b, id) for b, id in self.bounded() if self.keys[id] not in self.plans.answers]
        )
        waiting: list[tuple[float, str]] = []

        def next_task() -> Task | None:
            if self.progress.stopped:
                return None
            if not waiting:
                waiting.extend([row] if (row := next(queue, None)) else [])
            if not waiting or waiting[0][0] < self.threshold():
                return None
            return self.task("plan", waiting.pop()[1])

        for task, answer in hands.run(next_task):
            self.plans.add(task, _answer(answer))
            self.progress("plans", len(self.plans.answers), len(self.jobs))

    def ranking(self, capital: float | None, machine_hours: float | None) -> dict[str, Any]:
        """The ranking as plain data, from what stands in the ledgers."""
        best, bounds = self.planned()[: self.top], self.bounded()
        floor = self.threshold()
        open_ids = [id for b, id in bounds if b >= floor and self.keys[id] not in self.plans.answers]
        named = {id for _, id in best}
        rows = with_ties([self._row(place, id) for place, (_, id) in enumerate(best, start=1)])
        by_bound = {id: b for b, id in bounds}
        offered = [
            RankJob(r["id"], r["saving_per_year"], r["building_hours"], r["capital"], r["making_hours"]) for r in rows
        ]
        chosen = rank_jobs(offered, capital=capital, machine_hours=machine_hours)
        return {
            "jobs": rows,
            "proven": not open_ids and self._all_bounded(),
            "stopped_early": self.progress.stopped,
            "chosen": [j.name for j in sorted(chosen.chosen, key=lambda j: (-j.saving_per_hour, j.name))],
            "chosen_saving_per_year": chosen.saving,
            "chosen_at_most": self._at_most(offered, capital, machine_hours),
            "chosen_among": "the jobs named here, not all of the list",
            "limits": {"capital": capital, "machine_hours": machine_hours},
            "others": [{"id": i, "name": self.names[i], "bound": b} for b, i in bounds if i not in named],
            "failed": self._failed(floor, by_bound),
            "without_fixtures": self._without_fixtures(floor, by_bound),
            "unknown": self._unknown(),
            "bounds_passed": [r["id"] for r in rows if r["saving_per_hour"] > by_bound[r["id"]] * (1 + ROUNDING)],
            "count": len(self.entries),
        }

    def _at_most(self, offered: list[RankJob], capital: float | None, machine_hours: float | None) -> float:
        """A saving a year that no set of all the list's jobs within the limits passes: those that weren't asked of a
        plan count with their bounds, and cost no more than their least hours of design."""
        floor, named = self.threshold(), {j.name for j in offered}
        others = []
        for bound, id in self.bounded():
            answer = self.plans.answers.get(self.keys[id], {}) if bound >= floor else {}
            saving = self.bounds.answers[self.keys[id]].get("saving_per_year") or 0.0
            if id in named or saving <= 0 or "error" in answer or answer.get("saving_per_hour", 0.0) is None:
                continue
            if answer:
                row = RankJob(
                    id, answer["saving_per_year"], answer["building_hours"], answer["capital"], answer["making_hours"]
                )
            else:
                hours = saving / bound
                row = RankJob(id, saving, hours, hours * self.shop.rates.design)
            others.append(row)
        found = rank_jobs([*offered, *others], capital=capital, machine_hours=machine_hours)
        return found.saving if found.proven else found.bound

    def _row(self, place: int, id: str) -> dict[str, Any]:
        found = self.plans.answers[self.keys[id]]
        where = self.task("plan", id).folder.relative_to(self.out)
        return {"place": place, "id": id, "name": self.names[id], **found, "folder": where.as_posix()}

    def _all_bounded(self) -> bool:
        return all(key in self.bounds.answers for key in self.keys.values())

    def _failed(self, floor: float, by_bound: dict[str, float]) -> list[dict[str, str]]:
        """Jobs that couldn't be read, bounded, or planned; of the last those only that might have entered the top."""
        rows = [{"id": e.id, "name": e.name, "why": e.fault} for e in self.entries if e.job is None]
        for id, key in self.keys.items():
            plan = self.plans.answers.get(key, {}) if by_bound.get(id, floor) >= floor else {}
            why = self.bounds.answers.get(key, {}).get("error") or plan.get("error")
            if why:
                rows.append({"id": id, "name": self.names[id], "why": why})
        return sorted(rows, key=lambda r: r["id"])

    def _without_fixtures(self, floor: float, by_bound: dict[str, float]) -> list[dict[str, str]]:
        """Planned jobs that might have entered the top, but for which no fixture pays or none came out."""
        rows = []
        for id, key in self.keys.items():
            plan = self.plans.answers.get(key, {"error": ""})
            if by_bound.get(id, float("-inf")) >= floor and "error" not in plan and plan["saving_per_hour"] is None:
                rows.append({"id": id, "name": self.names[id], "why": plan["note"]})
        return rows

    def _unknown(self) -> list[dict[str, str]]:
        rows = []
        for id, key in self.keys.items():
            answer = self.bounds.answers.get(key, {})
            if answer.get("saving_per_hour") is None and "error" not in answer:
                rows.append({"id": id, "name": self.names[id], "why": answer.get("note", "not bounded yet")})
        return rows


def with_ties(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The rows, each with `tie`: the place of the first that it is closer to than their error. Rows of one tie each lie
    within the first one's range, and it within theirs; the order within a tie is no finding."""
    made: list[dict[str, Any]] = []
    for row in rows:
        first = next((r for r in made if made[-1]["tie"] == r["place"]), None)
        near = first is not None and _within(row, first) and _within(first, row)
        made.append(row | {"tie": first["place"] if near and first is not None else row["place"]})
    return made


def _within(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether one's saving an hour lies in the other's range."""
    low, high = other["range_per_hour"]
    return bool(low <= one["saving_per_hour"] <= high)


def _answer(answer: dict[str, Any] | BaseException) -> dict[str, Any]:
    if isinstance(answer, BrokenExecutor):
        return {"error": "its worker died"}
    return {"error": f"{type(answer).__name__}: {answer}"} if isinstance(answer, BaseException) else answer


def _named(function: Callable[..., Any]) -> str:
    """The name by which an answer remembers who made it."""
    if isinstance(function, functools.partial):
        return f"{_named(function.func)} {sorted(function.keywords.items())}"
    return f"{function.__module__}.{function.__qualname__}"
