"""Many jobs ranked: the demo's parts with varied size and demand.

    python -m benchmarks.portfolio [--jobs 60] [--workers 2] [--full] [--seconds-each S] [--out DIR]

Without --full a stand-in plans: it reads nothing and burns the processor for a fixed count of work, so that the figure
is the driver's own: speed-up of workers over one, the same ranking with a local cluster of two, memory. Other work on
the machine spoils clock times, so two more figures stand beside them: what as many bare processes get at the same
moment, and the speed-up by processor time (all work over the busiest worker's and the driver's own). With --full the
real bounds and plans are made, once, and the ranking is resumable in --out; with --bounds the bounds alone.
"""

from __future__ import annotations

import argparse
import csv
import json
import math
import multiprocessing
import os
import random
import resource
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from palletwright.demo import demo_job
from palletwright.job import read_job
from palletwright.job.model import Job
from palletwright.plan.portfolio import rank_folder
from palletwright.plan.worth import Bound
from palletwright.progress import Progress, Stop
from palletwright.shop import example_shop
from palletwright.shop.model import Shop

PARTS = ("hinge_yoke", "valve_block")

BURN = 12_000_000
"""Steps of pure arithmetic a stand-in plan: about a second."""

LEAST_A_YEAR, MOST_A_YEAR, PARETO = 100, 60_000, 1.16
"""Parts a year of a job: Pareto's law at 80 to 20, a fifth of the jobs is four fifths of the parts (common practice,
no source)."""


def write_jobs(folder: Path, count: int, scaled: bool, seed: int = 1) -> Path:
    """A CSV of `count` jobs from the demo's; `scaled`: each part in its own size, 0.8 to 1.25 of the demo's."""
    rng = random.Random(seed)
    shop, rows = example_shop(), []
    for k in range(count):
        source = demo_job(PARTS[k % len(PARTS)])
        job = read_job(source, shop)
        demand = min(MOST_A_YEAR, round(LEAST_A_YEAR * (1.0 - rng.random()) ** (-1.0 / PARETO)))
        row = {"name": f"{job.name} {k}", "job": str(source), "per_year": demand, "batch": max(20, demand // 24)}
        if scaled:
            part = folder / f"part_{k}.step"
            scale_step(job.part, part, rng.uniform(0.8, 1.25))
            row["part"] = str(part)
        rows.append(row)
    file = folder / "jobs.csv"
    with file.open("w", newline="", encoding="utf-8") as out:
        writer = csv.DictWriter(out, sorted({k for row in rows for k in row}))
        writer.writeheader()
        writer.writerows(rows)
    return file


def scale_step(source: Path, target: Path, factor: float) -> None:
    """A part in another size: the file's length unit is changed, which is exact and needs no kernel.

    Raises ValueError where the file doesn't say its unit as millimetres.
    """
    text = source.read_text(encoding="utf-8")
    unit = "SI_UNIT(.MILLI.,.METRE.)"
    if text.count(unit) != 1 or "CONVERSION_BASED_UNIT('MILLIMETRE'" in text:
        raise ValueError(f"{source.name} doesn't state millimetres once")
    numbered = max(int(line[1:].split("=")[0]) for line in text.splitlines() if line.startswith("#") and "=" in line)
    base, measure, dimensions = numbered + 1, numbered + 2, numbered + 3
    head, _, tail = text.partition(unit)
    start = head.rindex("#")
    number = head[start:].split("=")[0].strip()
    end = tail.index(";") + 1
    changed = (
        f"{number}=(CONVERSION_BASED_UNIT('OWN',#{measure})LENGTH_UNIT()NAMED_UNIT(#{dimensions}));\n"
        f"#{base}=(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.));\n"
        f"#{measure}=LENGTH_MEASURE_WITH_UNIT(LENGTH_MEASURE({factor:.9f}),#{base});\n"
        f"#{dimensions}=DIMENSIONAL_EXPONENTS(1.,0.,0.,0.,0.,0.,0.);"
    )
    target.write_text(text[:start] + changed + tail[end:], encoding="utf-8")


def stand_in_bound(job: Job, shop: Shop) -> Bound:
    """A bound that goes with demand."""
    return Bound(float(job.per_year), float(job.per_year))


def burn(steps: int) -> float:
    """Pure arithmetic."""
    total = 0.0
    for i in range(steps):
        total += math.sqrt(i)
    return total


def ceiling(workers: int) -> float:
    """The speed-up that as many bare processes get over one at this moment, ready and without any driver."""
    spawned = multiprocessing.get_context("spawn")
    seconds = []
    for count in (1, workers):
        with spawned.Pool(count) as pool:
            pool.map(burn, [1000] * count, chunksize=1)
            before = time.perf_counter()
            pool.map(burn, [BURN] * 4 * workers, chunksize=1)
            seconds.append(time.perf_counter() - before)
    return seconds[0] / seconds[1]


def by_processor(out: Path, driver: float) -> float:
    """Speed-up without other work on the machine: all plans' processor time over the busiest worker's, the driver's
    own time added to it in full."""
    spent: dict[str, float] = {}
    for file in out.glob("plans/*/spent.txt"):
        worker, seconds = file.read_text().split()
        spent[worker] = spent.get(worker, 0.0) + float(seconds)
    whole = sum(spent.values())
    return (whole + driver) / (max(spent.values()) + driver)


def stand_in_plan(job: Job, shop: Shop, folder: Path) -> dict[str, Any]:
    """Burn the processor, and find a saving of 30 to 100 % of the bound."""
    before = time.process_time()
    burn(BURN)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "spent.txt").write_text(f"{os.getpid()} {time.process_time() - before}")
    share = 0.3 + 0.7 * (hash_of(job.name) % 1000) / 1000
    way = {
        "name": "plan 1",
        "capital": 1000.0,
        "parts_per_start": 9.0,
        "bill": [["design and programs", 10 * shop.rates.design]],
        "payback": {"saving_per_year": 10 * share * job.per_year},
    }
    return {"shop": {"rates": shop.rates.model_dump()}, "plans": [way]}


def hash_of(text: str) -> int:
    """A number from a text, the same in every process."""
    return sum((i + 1) * 31 * ord(c) for i, c in enumerate(text))


def drive(source: Path, out: Path, workers: int, scheduler: str | None = None) -> tuple[float, dict[str, Any]]:
    """Seconds and ranking of one run of the stand-in from nothing; every job is planned, so that runs compare."""
    shutil.rmtree(out, ignore_errors=True)
    before = time.perf_counter()
    found = rank_folder(
        source,
        example_shop(),
        out,
        workers,
        scheduler,
        planner=stand_in_plan,
        bounder=stand_in_bound,
        top=10_000,
    )
    return time.perf_counter() - before, found


def measure(folder: Path, count: int, workers: int) -> int:
    """Print the driver's own figures; 1 when rankings differ."""
    source = write_jobs(folder, count, scaled=False)
    idle = drive(write_jobs(folder / _made(folder, "few"), 2, scaled=False), folder / "warm", 1)[0]
    one, alone = drive(source, folder / "one", 1)
    own = time.process_time()
    many, together = drive(source, folder / "many", workers)
    own = time.process_time() - own
    print(f"{count} jobs, every one planned by a stand-in; start-up of workers about {idle:.1f} s")
    print(f"1 worker {one:.1f} s, {workers} workers {many:.1f} s: {one / many:.2f} times as fast by the clock")
    print(f"{workers} bare processes at the same moment: {ceiling(workers):.2f} times as fast as one")
    print(f"by processor time: {by_processor(folder / 'many', own):.2f} times as fast; the driver's own {own:.2f} s")
    print(f"same ranking: {alone == together}")
    same = alone == together
    try:
        from distributed import LocalCluster
    except ImportError:
        print("cluster: not measured, the extra isn't installed")
    else:
        with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
            seconds, there = drive(source, folder / "cluster", 2, cluster.scheduler_address)
        print(f"local cluster of two: {seconds:.1f} s, same ranking: {there == alone}")
        same = same and there == alone
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"greatest memory of the driver {peak:.0f} MB")
    return 0 if same else 1


def _made(folder: Path, name: str) -> Path:
    (folder / name).mkdir(parents=True, exist_ok=True)
    return folder / name


def bounds_alone(folder: Path, count: int, workers: int) -> int:
    """Real bounds for all jobs, none planned: what the first stage takes, and how memory goes."""
    source = write_jobs(folder, count, scaled=True)
    before, own = time.perf_counter(), time.process_time()
    progress = Progress(stop=Stop(None))
    stopped = Progress(lambda stage, done, total: progress.stop.set() if stage == "plans" else None, progress.stop)
    found = rank_folder(source, example_shop(), folder / "out", workers, progress=stopped, top=1, planner=no_plan)
    seconds, own = time.perf_counter() - before, time.process_time() - own
    known = [r["bound"] for r in found["others"]]
    print(f"{count} jobs bounded in {seconds:.1f} s by {workers} workers, the driver's own {own:.1f} s")
    print(f"{len(known)} bounds, greatest {max(known):,.0f}, median {sorted(known)[len(known) // 2]:,.0f} an hour")
    print(
        f"greatest memory: driver {_peak(resource.RUSAGE_SELF):.0f} MB, worker {_peak(resource.RUSAGE_CHILDREN):.0f} MB"
    )
    return 0 if len(known) == count else 1


def no_plan(job: Job, shop: Shop, folder: Path) -> dict[str, Any]:
    """Nothing: a plan that no fixture came out of."""
    return {"shop": {"rates": shop.rates.model_dump()}, "plans": []}


def _peak(who: int) -> float:
    return resource.getrusage(who).ru_maxrss / 1024


def full(folder: Path, count: int, workers: int, seconds_each: float | None, limit: float | None) -> int:
    """The real thing: bounds for all, full plans until no bound can enter the top 20, or until `limit` s."""
    source = write_jobs(folder, count, scaled=True)

    def report(stage: str, done: float, total: float) -> None:
        print(f"\r{stage} {done:.0f} of at most {total:.0f} ", end="", file=sys.stderr, flush=True)

    before = time.perf_counter()
    progress = Progress(report, Stop(limit))
    found = rank_folder(source, example_shop(), folder / "out", workers, seconds_each=seconds_each, progress=progress)
    seconds = time.perf_counter() - before
    plans = sum(1 for _ in (folder / "out" / "plans.jsonl").open(encoding="utf-8"))
    print(f"\n{count} jobs in {seconds:.0f} s: {plans} planned in full, proven: {found['proven']}")
    print(f"bounds that were passed: {found['bounds_passed'] or 'none'}; failed: {len(found['failed'])}")
    for row in found["jobs"][:20]:
        print(json.dumps({k: row[k] for k in ("place", "name", "saving_per_hour", "saving_per_year", "capital")}))
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"greatest memory of a worker {peak:.0f} MB")
    return 1 if found["bounds_passed"] else 0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--jobs", type=int, default=60)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--full", action="store_true", help="real bounds and plans instead of the stand-in")
    parser.add_argument("--bounds", action="store_true", help="real bounds alone, for all jobs")
    parser.add_argument("--seconds-each", type=float, help="clock limit of one full plan")
    parser.add_argument("--limit", type=float, help="clock limit of the whole, s")
    parser.add_argument("--out", type=Path, help="folder to keep, so that a broken-off run goes on")
    given = parser.parse_args()
    if given.out is not None:
        given.out.mkdir(parents=True, exist_ok=True)
        return run(given, given.out)
    with tempfile.TemporaryDirectory() as folder:
        return run(given, Path(folder))


def run(given: argparse.Namespace, folder: Path) -> int:
    if given.bounds:
        return bounds_alone(folder, given.jobs, given.workers)
    if given.full:
        return full(folder, given.jobs, given.workers, given.seconds_each, given.limit)
    return measure(folder, given.jobs, given.workers)


if __name__ == "__main__":
    raise SystemExit(main())
