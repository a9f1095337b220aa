"""Many jobs ranked: the same by any crew, no more planned than the bounds ask for, and nothing stops the rest."""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pytest
from cheap_planner import bound, cheap_bound, cheap_plan, value

from palletwright.demo import demo_job
from palletwright.errors import InputError, SolidError
from palletwright.job import read_job
from palletwright.plan import portfolio
from palletwright.plan.crew import Crew
from palletwright.plan.joblist import read_jobs
from palletwright.plan.money import DESIGN_HOURS, material_price
from palletwright.plan.planning import prepare
from palletwright.plan.portfolio import rank_folder
from palletwright.plan.ranktable import COLUMNS, ranking_notes, ranking_rows
from palletwright.plan.today import today_cost
from palletwright.plan.worth import bound_of, least_operations, least_running, worth_of
from palletwright.progress import Progress, Stop
from palletwright.shop import example_shop

SHOP = example_shop()


def csv_of(folder: Path, names: list[str], demand=lambda k: 100 + (k * 37) % 400) -> Path:
    (folder / "part.step").write_text("ISO-10303-21;\n")
    lines = ["name,part,material,per_year", *(f"{n},part.step,6061-T6,{demand(k)}" for k, n in enumerate(names))]
    file = folder / "jobs.csv"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return file


def rank(source: Path, out: Path, **more):
    return rank_folder(source, SHOP, out, planner=cheap_plan, bounder=cheap_bound, **more)


@pytest.fixture
def threads(monkeypatch):
    """The crew in threads of this process: the driver's own logic without the price of spawning."""

    @contextmanager
    def crew(work, workers, scheduler=None, tasks_a_worker=7) -> Iterator[Crew]:
        made = Crew(work, lambda: ThreadPoolExecutor(workers), workers, replace_after=7)
        yield made
        made.close()

    monkeypatch.setattr(portfolio, "crew", crew)


def planned(out: Path) -> list[str]:
    return sorted(p.parent.name for p in out.glob("plans/*/planned.txt"))


@pytest.mark.usefixtures("threads")
@pytest.mark.parametrize("workers", [1, 2, 5])
def test_the_top_is_that_of_planning_every_job(tmp_path, workers):
    source = csv_of(tmp_path, [f"job {k}" for k in range(200)])
    entries = read_jobs(source, SHOP)
    best = sorted((-value(e.job), e.id) for e in entries)[:20]
    found = rank(source, tmp_path / "out", workers=workers)
    assert [(r["id"], r["saving_per_hour"]) for r in found["jobs"]] == [(i, pytest.approx(-v)) for v, i in best]
    assert found["proven"]
    assert found["bounds_passed"] == []
    # Nobody is planned whose bound can't enter, but for those that were under way: at most one a worker.
    floor = -best[-1][0]
    could_enter = sum(bound(e.job) >= floor for e in entries)
    assert could_enter <= len(planned(tmp_path / "out")) <= could_enter + workers
    assert could_enter < 150


@pytest.mark.usefixtures("threads")
def test_the_ranking_is_the_same_for_any_number_of_workers(tmp_path):
    source = csv_of(tmp_path, [f"{'bad' if k % 9 == 0 else 'job'} {k}" for k in range(90)])
    one, many = (rank(source, tmp_path / f"out{n}", workers=n) for n in (1, 4))
    assert one == many
    assert (tmp_path / "out1/ranking.json").read_text() == (tmp_path / "out4/ranking.json").read_text()


@pytest.mark.usefixtures("threads")
def test_bad_jobs_stand_with_their_faults_and_stop_nobody(tmp_path):
    names = ["job 1", "bad 2", "hopeless 3", "unbounded 4", "silent 5", "job 6"]
    source = csv_of(tmp_path, names)
    with source.open("a") as file:
        file.write("broken,part.step,unobtanium,100\nmissing,gone.step,6061-T6,100\nodd,part.step,6061-T6,many\n")
    found = rank(source, tmp_path / "out")
    assert {r["name"] for r in found["jobs"]} == {"job 1", "job 6"}
    why = {r["name"]: r["why"] for r in found["failed"]}
    assert why["bad 2"] == "ValueError: this one is bad"
    assert why["unbounded 4"] == "RuntimeError: no bound today"
    assert "unobtanium" in why["broken"]
    assert "jobs.csv, line 9: part = gone.step: isn't there" in why["missing"]
    assert "whole number" in why["odd"]
    assert [r["name"] for r in found["without_fixtures"]] == ["hopeless 3"]
    assert "nothing holds it" in found["without_fixtures"][0]["why"]
    assert [(r["name"], r["why"]) for r in found["unknown"]] == [("silent 5", "nothing is said")]
    assert found["count"] == 9


@pytest.mark.usefixtures("threads")
def test_a_broken_off_run_goes_on_where_it_stopped(tmp_path):
    source = csv_of(tmp_path, [f"job {k}" for k in range(60)])
    whole = rank(source, tmp_path / "whole", workers=1)
    stop, out = Stop(), tmp_path / "out"

    def after_ten(stage: str, done: float, total: float) -> None:
        if stage == "plans" and done >= 10:
            stop.set()

    first = rank(source, out, workers=1, progress=Progress(after_ten, stop))
    assert first["stopped_early"]
    assert not first["proven"]
    before = len(planned(out))
    assert 10 <= before <= 12
    with (out / "plans.jsonl").open("a") as ledger:
        ledger.write('{"id": "torn')
    again = rank(source, out, workers=1)
    assert again == whole
    runs = [p.read_text().count("\n") for p in out.glob("plans/*/planned.txt")]
    assert set(runs) == {1}
    assert rank(source, out, workers=1) == whole
    assert [p.read_text().count("\n") for p in out.glob("plans/*/planned.txt")] == runs


@pytest.mark.usefixtures("threads")
def test_a_changed_job_is_planned_again(tmp_path):
    source = csv_of(tmp_path, ["job 1", "job 2"])
    rank(source, tmp_path / "out", workers=1)
    text = source.read_text().replace(",137", ",9000")
    source.write_text(text)
    found = rank(source, tmp_path / "out", workers=1)
    assert found["jobs"][0]["name"] == "job 2"
    counts = [p.read_text().count("\n") for p in sorted((tmp_path / "out").glob("plans/*/planned.txt"))]
    assert counts == [1, 2]


@pytest.mark.usefixtures("threads")
def test_the_chosen_are_within_the_limits(tmp_path):
    source = csv_of(tmp_path, [f"job {k}" for k in range(30)])
    found = rank(source, tmp_path / "out", capital=650.0 * 4)
    assert found["chosen"] == [r["id"] for r in found["jobs"][:4]]
    assert found["chosen_saving_per_year"] == pytest.approx(sum(r["saving_per_year"] for r in found["jobs"][:4]))


@pytest.mark.usefixtures("threads")
@pytest.mark.parametrize("count", range(1, 11))
def test_up_to_ten_jobs_rank_and_choose_as_trying_every_set_does(tmp_path, count):
    """Every order position and the chosen set by enumeration; no set of the list passes the saving that is told."""
    source = csv_of(tmp_path, [f"job {k}" for k in range(count)], demand=lambda k: 100 + (k * 211) % 700)
    entries = read_jobs(source, SHOP)
    values = {e.id: value(e.job) for e in entries}
    for top in (3, 20):
        found = rank(source, tmp_path / f"out{top}", top=top, capital=650.0 * 4 + 10)
        best = sorted(values, key=lambda i: (-values[i], i))
        assert [r["id"] for r in found["jobs"]] == best[:top]
        offered = best[:top]
        sets = [s for n in range(len(offered) + 1) for s in itertools.combinations(offered, n) if 650.0 * n <= 2610]
        most = max(sum(10 * values[i] for i in s) for s in sets)
        assert found["chosen_saving_per_year"] == pytest.approx(most)
        assert sum(10 * values[i] for i in found["chosen"]) == pytest.approx(most)
        every = [s for n in range(count + 1) for s in itertools.combinations(best, n) if 650.0 * n <= 2610]
        assert found["chosen_at_most"] >= max(sum(10 * values[i] for i in s) for s in every) - 0.02
        if top > count:
            assert found["chosen_at_most"] == pytest.approx(most)


def test_jobs_closer_than_their_error_are_ties():
    def row(place, saving, low, high):
        return {"place": place, "saving_per_hour": saving, "range_per_hour": [low, high]}

    rows = [row(1, 100, 90, 110), row(2, 95, 85, 105), row(3, 91, 80, 99), row(4, 86, 80, 92), row(5, 50, 10, 200)]
    assert [r["tie"] for r in portfolio.with_ties(rows)] == [1, 1, 3, 3, 5]


@pytest.mark.usefixtures("threads")
def test_a_ranking_is_printed_with_its_ties_limits_and_faults(tmp_path):
    """Values 100, 95 and 50 with ± 10 %: the first two tie."""
    demand = {"job 0": 100, "job 404": 95, "job 101": 50, "bad 1": 400, "silent 2": 10}
    source = csv_of(tmp_path, list(demand), demand=lambda k: list(demand.values())[k] * 10 // 3)
    found = rank(source, tmp_path / "out", capital=1300.0)
    rows = [dict(zip(COLUMNS, r, strict=True)) for r in ranking_rows(found)]
    assert [(r["place"], r["job"]) for r in rows] == [("1=", "job 0"), ("1=", "job 404"), ("3", "job 101")]
    assert {len(r) for r in ranking_rows(found)} == {len(COLUMNS)}
    notes = "\n".join(ranking_notes(found))
    assert "no other of known saving can enter" in notes
    assert "a tie" in notes
    assert "within capital 1,300: job 0, job 404; saves" in notes
    assert "failed: bad 1 (jobs.csv:00005): ValueError: this one is bad" in notes
    assert "not known: silent 2 (jobs.csv:00006): nothing is said" in notes


def test_spawned_workers_and_one_that_dies(tmp_path):
    """Two processes of one thread each; a job that kills its worker fails alone, its neighbours are planned.
    Ctrl-C, which reaches the workers too, doesn't end what they are at."""
    source = csv_of(tmp_path, ["job 1", "deadly 2", "interrupted 3", "job 4"])
    found = rank(source, tmp_path / "out", workers=2)
    assert {r["name"] for r in found["jobs"]} == {"job 1", "interrupted 3", "job 4"}
    assert [(r["name"], r["why"]) for r in found["failed"]] == [("deadly 2", "its worker died")]
    lines = [p.read_text().split() for p in (tmp_path / "out").glob("plans/*/planned.txt")]
    assert {threads for _, threads, *_ in lines} == {"1"}
    assert found["proven"]


def test_a_cluster_gives_the_same_ranking(tmp_path):
    distributed = pytest.importorskip("distributed", reason="the cluster extra isn't installed")
    source = csv_of(tmp_path, [f"{'bad' if k % 9 == 0 else 'job'} {k}" for k in range(60)])
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None
    ) as cluster:
        there = rank(source, tmp_path / "cluster", scheduler=cluster.scheduler_address)
    monkey = Crew(portfolio.work, lambda: ThreadPoolExecutor(1), 1)
    assert there["jobs"]
    run = portfolio._Run(read_jobs(source, SHOP), SHOP, tmp_path / "here", cheap_plan, cheap_bound, 20, Progress())
    run.bound_all(monkey)
    run.plan_best(monkey)
    assert run.ranking(None, None) == there


class Dying(Executor):
    """Breaks whenever a task named `killer` is among those given to it."""

    def submit(self, fn, /, *args, **kwargs):
        future: Future = Future()
        if args[0] == "killer":
            future.set_exception(BrokenExecutor("gone"))
        else:
            future.set_result(fn(*args))
        return future


def test_only_the_killer_pays_for_a_dead_worker():
    hands = Crew(str.upper, Dying, 3)
    tasks = iter(["a", "killer", "b", "c", "killer", "d"])
    found = {}
    for n, (task, answer) in enumerate(hands.run(lambda: next(tasks, None))):
        found[f"{task} {n}" if task == "killer" else task] = answer
    assert {k: v for k, v in found.items() if not k.startswith("killer")} == {c: c.upper() for c in "abcd"}
    assert sum(isinstance(v, BrokenExecutor) for v in found.values()) == 2


def test_a_folder_of_jobs_is_read_and_a_shop_in_it_is_none(tmp_path):
    (tmp_path / "a.step").write_text("ISO-10303-21;\n")
    good = 'part = "a.step"\nmaterial = "6061-T6"\nper_year = 100\n'
    (tmp_path / "one.toml").write_text(good)
    (tmp_path / "two.toml").write_text(good.replace("100", "-5"))
    (tmp_path / "shop.toml").write_text('name = "us"\n[[machine]]\nid = "m"\n')
    found = read_jobs(tmp_path, SHOP)
    assert [(e.id, e.job is not None) for e in found] == [("one.toml", True), ("two.toml", False)]
    assert "per_year" in found[1].fault


def test_csv_rows_may_change_a_job_file_and_say_how_it_is_made_today(tmp_path):
    (tmp_path / "a.step").write_text("ISO-10303-21;\n")
    (tmp_path / "base.toml").write_text('part = "a.step"\nmaterial = "6061-T6"\nper_year = 100\n')
    (tmp_path / "jobs.csv").write_text(
        "job,name,per_year,batch,today\nbase.toml,big,5000,250,2/610/75; 1/95/40\nbase.toml,small,,,\n"
        "base.toml,wrong,,,2/610\n"
    )
    big, small, wrong = read_jobs(tmp_path / "jobs.csv", SHOP)
    assert (big.job.per_year, big.job.batch, small.job.per_year, small.name) == (5000, 250, 100, "small")
    assert [(s.parts_per_start, s.cycle_seconds, s.load_seconds) for s in big.job.today] == [(2, 610, 75), (1, 95, 40)]
    assert "jobs.csv, line 4: today = 2/610: can't be read" in wrong.fault


@pytest.mark.parametrize(
    ("text", "what"), [("part,weight\n", "column 'weight' isn't known"), ("part,material\n", "needs a column job")]
)
def test_a_csv_without_its_columns_is_refused(tmp_path, text, what):
    (tmp_path / "jobs.csv").write_text(text)
    with pytest.raises(InputError, match=what):
        read_jobs(tmp_path / "jobs.csv", SHOP)


def test_a_list_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(InputError, match="isn't there"):
        rank_folder(tmp_path / "none", SHOP, tmp_path / "out")
    with pytest.raises(InputError, match="holds no job file"):
        rank_folder(tmp_path, SHOP, tmp_path / "out")


def test_building_hours_come_from_the_bill():
    rates = SHOP.rates
    way = {
        "name": "plan 2",
        "capital": 2000.0,
        "parts_per_start": 9.0,
        "bill": [
            ["plate: blank", 200.0],
            ["plate: making", 8 * rates.toolroom],
            ["stations: making", 4 * rates.toolroom],
            ["clamps and locators", 300.0],
            ["design and programs", 12 * rates.design],
        ],
        "payback": {"saving_per_year": 4800.0},
    }
    free = way | {"name": "plan 1", "capital": 0.0, "bill": []}
    data = json.loads(json.dumps({"shop": {"rates": rates.model_dump()}, "plans": [free, way]}))
    found = worth_of(data)
    assert (found.way, found.building_hours, found.making_hours) == ("plan 2", pytest.approx(24), pytest.approx(12))
    assert found.saving_per_hour == pytest.approx(200)
    assert worth_of(data | {"plans": [free]}).saving_per_hour is None
    # A second set for half as many hours again that saves a quarter more: the first is the better hour's work.
    more = way | {"name": "plan 1", "bill": [["design and programs", 36 * rates.design]]}
    more["payback"] = {"saving_per_year": 6000.0, "saving_range": [5000.0, 7000.0]}
    assert worth_of(data | {"plans": [more, way]}).way == "plan 2"
    assert worth_of(data | {"plans": [more]}).range_per_hour == pytest.approx((5000 / 36, 7000 / 36))


def test_a_priced_blank_is_bounded_without_its_solid_but_not_without_its_file(tmp_path):
    job = read_job(demo_job(), SHOP)
    assert job.blank.price is not None
    part = tmp_path / "short.step"
    part.write_text("ISO-10303-21;\nHEADER;\n")
    with pytest.raises(SolidError, match="cut short"):
        bound_of(job.model_copy(update={"part": part}), SHOP)
    part.write_text("ISO-10303-21;\nEND-ISO-10303-21;\n")
    assert bound_of(job.model_copy(update={"part": part}), SHOP) == bound_of(job, SHOP)


def test_the_bound_of_a_real_job_leaves_what_no_way_avoids():
    """The demo's yoke: the bound is today's running cost less the unavoidable, over two operations' design."""
    job = read_job(demo_job(), SHOP)
    context = prepare(job, SHOP)
    _, now = today_cost(context)
    found = bound_of(job, SHOP)
    assert least_operations(job) == 2
    least = least_running(job, SHOP, material_price(context))
    assert now.material + now.bench + now.wash + now.inspection < least < now.running
    assert found.saving_per_year == pytest.approx((now.running - least) * job.per_year)
    assert found.saving_per_hour == pytest.approx(found.saving_per_year / (2 * DESIGN_HOURS))
    silent = bound_of(job.model_copy(update={"today": ()}), SHOP)
    assert silent.saving_per_hour is None
    assert "how the part is made today" in silent.note
