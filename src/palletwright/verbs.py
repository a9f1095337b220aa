"""The verbs of the command line as functions: data in, plain data out."""

from __future__ import annotations

from pathlib import Path
from time import perf_counter
from typing import Any

from palletwright.errors import Fault, InputError
from palletwright.job.model import Job
from palletwright.progress import Progress
from palletwright.shop.model import Machine, Shop


def shop_of(path: Path | str | None) -> Shop:
    """The shop file, or the shipped example where none is named."""
    from palletwright.shop import example_shop, read_shop

    return example_shop() if path is None else read_shop(Path(path))


def job_and_shop(
    target: Path | str,
    shop: Path | str | None = None,
    *,
    material: str | None = None,
    per_year: int | None = None,
    solid: int | None = None,
) -> tuple[Job, Shop]:
    """A job from its TOML with its shop, or the least job from a STEP file with a material and a quantity.

    Raises InputError with every fault.
    """
    from palletwright.job import least_job, read_job_and_shop

    path = Path(target)
    if path.suffix.lower() == ".toml":
        known = {"material": material, "per_year": per_year, "solid": solid}
        return read_job_and_shop(path, shop, **{k: v for k, v in known.items() if v is not None})
    missing = [
        Fault(str(path), key, "", "is needed beside a STEP file", allowed)
        for key, value, allowed in (
            ("--material", material, "a material of the shop, for instance 6061-T6"),
            ("--per-year", per_year, "parts a year, for instance 5000"),
        )
        if value is None
    ]
    if material is None or per_year is None:
        raise InputError(missing)
    owned = shop_of(shop)
    more = {} if solid is None else {"solid": solid}
    return least_job(path, material, per_year, owned, name=path.stem, **more), owned


def plan(
    target: Path | str,
    *,
    shop: Path | str | None = None,
    material: str | None = None,
    per_year: int | None = None,
    solid: int | None = None,
    out: Path | str | None = None,
    progress: Progress | None = None,
    workers: int = 1,
) -> dict[str, Any]:
    """Plan a job (TOML) or a part (STEP with material and quantity); with `out` write plan.json and report.html.

    `workers` above 1 are spawned processes: call from under `if __name__ == "__main__":`.

    Raises InputError for bad input, NoPlan when nothing workable exists.
    """
    from palletwright.plan import make, to_dict, write

    job, owned = job_and_shop(target, shop, material=material, per_year=per_year, solid=solid)
    data = to_dict(make(job, owned, progress, workers))
    if out is not None:
        from palletwright.papers.report import write_report

        folder = Path(out)
        write(data, folder / "plan.json")
        write_report(data, folder / "report.html")
    return data


def access(
    step: Path | str,
    *,
    shop: Path | str | None = None,
    material: str | None = None,
    machine: str | None = None,
    solid: int | None = None,
    report: Path | str | None = None,
) -> dict[str, Any]:
    """Directions, features and operations of a part; with `report` (a folder) pictures of each direction too."""
    from palletwright.access import analyse, to_json, write_report
    from palletwright.plan import prepare
    from palletwright.solid import read_tolerances

    named = material or shop_of(shop).materials[0].id
    job, owned = job_and_shop(step, shop, material=named, per_year=1, solid=solid)
    context = prepare(job, owned)
    chosen = machine_of(owned, machine)
    before = perf_counter()
    found = analyse(
        context.solid,
        context.stock_largest,
        owned,
        context.material,
        chosen,
        job,
        tolerances=read_tolerances(job.part, solid),
    )
    if report is not None:
        write_report(found, Path(report))
    return to_json(found, perf_counter() - before)


def machine_of(shop: Shop, id: str | None) -> Machine:
    """The machine of that id, or the first with a rotary axis, or the first.

    Raises InputError with the known ids.
    """
    if id is None:
        return next((m for m in shop.machines if m.rotary is not None), shop.machines[0])
    for m in shop.machines:
        if m.id == id:
            return m
    raise InputError([Fault("shop", "machine", id, "isn't in the shop", ", ".join(m.id for m in shop.machines))])


def check(path: Path | str, *, only: int | None = None) -> dict[str, Any]:
    """Recompute every margin of a saved or edited plan."""
    from dataclasses import asdict

    from palletwright.plan import check_plan, read

    file = Path(path)
    rows = check_plan(read(file), str(file), file.resolve().parent, only)
    return {"passed": all(r.passed for r in rows), "plans": [asdict(r) for r in rows]}


def hold(case: Path | str) -> dict[str, Any]:
    """One grip typed by hand: does it hold, how well, what gives first."""
    from palletwright.holding import hold as solve

    return solve(Path(case))


def time(program: Path | str, *, shop: Path | str | None = None, machine: str | None = None) -> dict[str, Any]:
    """Time of an existing program in word address, by tool."""
    from palletwright.cycle import time_program

    return time_program(Path(program), machine_of(shop_of(shop), machine))


def schema(which: str) -> dict[str, Any]:
    """JSON schema of the job or the shop file."""
    from palletwright import job, shop

    if which == "job":
        return job.schema()
    if which == "shop":
        return shop.schema()
    raise InputError([Fault("schema", "which", which, "isn't a file that people write", "job, shop")])


def demo(
    part: str = "hinge_yoke", *, out: Path | str, progress: Progress | None = None, workers: int = 1
) -> dict[str, Any]:
    """Plan a shipped example with the shipped shop."""
    from palletwright.demo import demo_job

    return plan(demo_job(part), out=out, progress=progress, workers=workers)


def compare(plan_a: Path | str, plan_b: Path | str) -> dict[str, Any]:
    """The best ways of two saved plans in the same units, today included."""
    from palletwright.flow.compare import compare as side_by_side
    from palletwright.plan import read

    return side_by_side(read(Path(plan_a)), read(Path(plan_b)))


def papers(
    plan_file: Path | str,
    *,
    out: Path | str,
    way: int = 0,
    paper: str = "A4",
    unit: str = "mm",
    language: str = "en",
    projection: str | None = None,
    logo: Path | str | None = None,
    replaces: Path | str | None = None,
    readings: Path | str | None = None,
    approved_by: str | None = None,
) -> list[Path]:
    """Sheets, bill, models and programs of one way of a saved plan.

    `replaces` names the plan.json of the part's former revision, `readings` a filled-in readings.csv.

    Raises InputError for an unknown paper, unit, language or projection, a file that can't be read, or a way saved
    without its scene.
    """
    from palletwright.papers import write_papers
    from palletwright.plan import read

    file = Path(plan_file)
    return write_papers(
        read(file),
        Path(out),
        way=way,
        paper=paper,
        unit=unit,
        language=language,
        folder=file.resolve().parent,
        projection=projection,
        logo=Path(logo) if logo is not None else None,
        replaces=read(Path(replaces)) if replaces is not None else None,
        readings=Path(readings) if readings is not None else None,
        approved_by=approved_by,
    )


def rank(
    jobs: Path | str,
    *,
    out: Path | str,
    shop: Path | str | None = None,
    workers: int = 1,
    scheduler: str | None = None,
    capital: float | None = None,
    machine_hours: float | None = None,
    top: int = 20,
    seconds_each: float | None = None,
    progress: Progress | None = None,
) -> dict[str, Any]:
    """Many jobs (a folder of TOML or a CSV) ranked by what a dense fixture would save for each hour of building it.

    Answers are kept in `out` as they come, and picked up again there. `workers` are spawned processes: call from under
    `if __name__ == "__main__":`. Raises InputError for a list that can't be read.
    """
    from palletwright.plan.portfolio import rank_folder

    return rank_folder(
        Path(jobs),
        shop_of(shop),
        Path(out),
        workers,
        scheduler,
        top=top,
        capital=capital,
        machine_hours=machine_hours,
        seconds_each=seconds_each,
        progress=progress,
    )


def serve(*, port: int | None = None, store: Path | str | None = None, open_page: bool = True) -> None:
    """The page on this machine only, until Ctrl-C."""
    from palletwright import page
    from palletwright.demo import demo_job

    examples = {"hinge yoke": demo_job("hinge_yoke"), "valve block": demo_job("valve_block")}
    page.serve(port, None if store is None else Path(store), open_page, examples=examples)
