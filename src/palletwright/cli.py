"""The command line. Exit codes: 0 done, 1 no workable plan, 2 bad input."""

from __future__ import annotations

import json
import os
import sys
import webbrowser
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.progress import BarColumn, TaskID, TaskProgressColumn, TimeRemainingColumn
from rich.progress import Progress as RichProgress
from rich.table import Table

from palletwright import verbs
from palletwright.errors import InputError, NoPlan
from palletwright.progress import Progress, interruptible
from palletwright.tables import extents_table, number, plan_table, ranking_table, shown, tied, time_table

app = typer.Typer(
    help="Dense, proven fixtures from a part's solid model: how it is held, run, timed and paid back.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
say = Console(stderr=True)
out = Console(width=None if sys.stdout.isatty() else 120)

AsJson = Annotated[bool, typer.Option("--json", help="print JSON and nothing else on standard output")]
ShopFile = Annotated[Path | None, typer.Option("--shop", help="the shop's TOML; without it the shipped example shop")]
MaterialName = Annotated[str | None, typer.Option("--material", help="a material of the shop, for instance 6061-T6")]
OutFolder = Annotated[Path, typer.Option("--out", help="folder for plan.json and report.html")]
Workers = Annotated[
    int | None, typer.Option("--workers", min=1, help="processes that share the work; the plan is the same with any")
]
SolidNumber = Annotated[int | None, typer.Option("--solid", min=1, help="which solid of the file, from 1")]


@contextmanager
def bar(quiet: bool) -> Iterator[Progress]:
    """Progress with the time left on standard error where somebody watches; Ctrl-C keeps the best so far."""
    if quiet or not sys.stderr.isatty():
        with interruptible() as progress:
            yield progress
        return
    columns = ("{task.description}", BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
    with RichProgress(*columns, console=say, transient=True) as shown:
        tasks: dict[str, TaskID] = {}

        def report(stage: str, done: float, total: float) -> None:
            if stage not in tasks:
                tasks[stage] = shown.add_task(stage, total=total)
            shown.update(tasks[stage], completed=done, total=total)

        with interruptible(report) as progress:
            yield progress


def print_json(data: Any) -> None:
    """JSON and nothing else."""
    sys.stdout.write(json.dumps(data, indent=1, ensure_ascii=False) + "\n")


def show_plan(data: dict[str, Any], folder: Path | None) -> None:
    """The table, what each plan stands on, and where the files are."""
    out.print(plan_table(data))
    first = tied(data)
    for way in shown(data):
        tie = f"; a tie in cost with {first[way['name']]}" if way["name"] in first else ""
        out.print(f"  {way['name']}: {way['timing']['label']}{tie}", highlight=False)
    for left in data["left_over"][:6]:
        out.print(f"  left over: {left['feature']}, {left['mm3']:.1f} mm³: {left['why']}", highlight=False)
    if folder is not None:
        out.print(f"Written: {folder / 'plan.json'} and {folder / 'report.html'}", highlight=False)
    out.print("Prove out single-block at reduced rapid; the machine builder's limits stand above these numbers.")


def open_report(folder: Path) -> None:
    """Open the report where somebody sits at a screen; otherwise do nothing."""
    screen = bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")) or sys.platform in ("darwin", "win32")
    if sys.stdout.isatty() and screen and not os.environ.get("CI"):
        webbrowser.open((folder / "report.html").resolve().as_uri())


def hands_here(asked: int | None) -> int:
    """The number of processes asked for, or one for each core that this process may use."""
    if asked is not None:
        return asked
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@app.command()
def demo(
    folder: OutFolder = Path("out/demo"),
    part: Annotated[str, typer.Option("--part", help="hinge_yoke or valve_block")] = "hinge_yoke",
    workers: Workers = None,
    as_json: AsJson = False,
) -> None:
    """Plan the shipped example and open the report."""
    with bar(as_json) as progress:
        data = verbs.demo(part, out=folder, progress=progress, workers=hands_here(workers))
    if as_json:
        print_json(data)
    else:
        show_plan(data, folder)
        open_report(folder)


@app.command()
def plan(
    target: Annotated[Path, typer.Argument(help="a job (TOML), or a part (STEP) with --material and --per-year")],
    folder: Annotated[Path | None, typer.Option("--out", help="folder for plan.json and report.html")] = None,
    shop: ShopFile = None,
    material: MaterialName = None,
    per_year: Annotated[int | None, typer.Option("--per-year", help="parts a year")] = None,
    solid: SolidNumber = None,
    workers: Workers = None,
    as_json: AsJson = False,
) -> None:
    """Rank the ways to run a part, each with its margins and reasons."""
    with bar(as_json) as progress:
        data = verbs.plan(
            target,
            shop=shop,
            material=material,
            per_year=per_year,
            solid=solid,
            out=folder,
            progress=progress,
            workers=hands_here(workers),
        )
    if as_json:
        print_json(data)
    else:
        show_plan(data, folder)
        if folder is not None:
            open_report(folder)


@app.command()
def access(
    step: Annotated[Path, typer.Argument(help="the part's STEP file")],
    shop: ShopFile = None,
    material: MaterialName = None,
    machine: Annotated[str | None, typer.Option("--machine", help="a machine of the shop")] = None,
    solid: SolidNumber = None,
    report: Annotated[Path | None, typer.Option("--report", help="folder for pictures of each direction")] = None,
    as_json: AsJson = False,
) -> None:
    """Directions, features with tools, what isn't reached, and the fewest operations."""
    data = verbs.access(step, shop=shop, material=material, machine=machine, solid=solid, report=report)
    if as_json:
        print_json(data)
        return
    for name in ("fixed", "rotary"):
        found = data["operations"][name]
        proof = "proven" if found["proven"] else f"at least {found['bound']}"
        out.print(f"{name} spindle: {len(found['clampings'])} operations ({proof})", highlight=False)
        for i, clamping in enumerate(found["clampings"]):
            out.print(f"  {10 * (i + 1)}: " + ", ".join(clamping["features"]), highlight=False)
    table = Table("feature", "kind", "diameter", "depth", "directions")
    for f in data["features"]:
        ways = "; ".join(" ".join(f"{v:g}" for v in d) for d in f["directions"])
        table.add_row(
            f["id"],
            f["kind"],
            number(f.get("diameter_mm")) if f.get("diameter_mm") else "",
            number(f.get("depth_mm")) if f.get("depth_mm") else "",
            ways,
        )
    out.print(table)
    for row in data["unreachable"]:
        out.print(f"not reached: {row}", highlight=False)


@app.command()
def check(
    saved: Annotated[Path, typer.Argument(help="a plan.json")],
    only: Annotated[int | None, typer.Option("--only", min=0, help="just this one of the plans, from 0")] = None,
    as_json: AsJson = False,
) -> None:
    """Recompute every margin of a saved or edited plan."""
    data = verbs.check(saved, only=only)
    if as_json:
        print_json(data)
    else:
        for row in data["plans"]:
            out.print(f"{row['name']}: {'passes' if row['passed'] else 'FAILS'}", highlight=False)
            for line in (*row["failures"], *row["differs"]):
                out.print(f"  {line}", highlight=False)
    if not data["passed"]:
        raise typer.Exit(1)


@app.command()
def hold(case: Annotated[Path, typer.Argument(help="a case (TOML)")], as_json: AsJson = False) -> None:
    """One grip typed by hand: least preload, factors, what gives first."""
    data = verbs.hold(case)
    if as_json:
        print_json(data)
        return
    for key in (
        "located",
        "least_preload_n",
        "friction_factor",
        "elastic_factor",
        "holding_factor",
        "worst_load",
        "gives_first",
        "passed",
    ):
        out.print(f"{key.replace('_', ' ')}: {data[key]}", highlight=False, markup=False)
    for text in (*data["notes"], *(f"{a['change']}: {a['text']}" for a in data["advice"])):
        out.print(f"  {text}", highlight=False, markup=False)


@app.command()
def time(
    program: Annotated[Path, typer.Argument(help="a program in word address (ISO 6983)")],
    shop: ShopFile = None,
    machine: Annotated[str | None, typer.Option("--machine", help="a machine of the shop")] = None,
    as_json: AsJson = False,
) -> None:
    """Time of an existing program, by tool."""
    data = verbs.time(program, shop=shop, machine=machine)
    if as_json:
        print_json(data)
        return
    out.print(time_table(data))
    out.print(extents_table(data))
    changes = f"tool changes ({data['tool_changes']}) {data['tool_change_seconds']:.1f} s"
    out.print(f"total {data['total_seconds']:.1f} s, of it {changes}; {data['lines']} lines", highlight=False)
    for row in data["unknown"]:
        out.print(f"line {row['line']}: {row['text']}: {row['why']}", highlight=False, markup=False)
    for text in (*data["notes"], *data["assumptions"]):
        out.print(text, highlight=False, markup=False)


@app.command()
def compare(
    plan_a: Annotated[Path, typer.Argument(help="a plan.json")],
    plan_b: Annotated[Path, typer.Argument(help="another plan.json")],
    as_json: AsJson = False,
) -> None:
    """Two saved plans side by side, today included."""
    from palletwright.flow.compare import table as rows_of

    data = verbs.compare(plan_a, plan_b)
    if as_json:
        print_json(data)
        return
    table = Table("", "first", "second", "today", "better")
    for row in rows_of(data):
        table.add_row(*row)
    out.print(table)


@app.command()
def papers(
    saved: Annotated[Path, typer.Argument(help="a plan.json")],
    folder: Annotated[Path, typer.Option("--out", help="folder for the papers")] = Path("out/papers"),
    way: Annotated[int, typer.Option("--way", min=0, help="which of the plans, from 0")] = 0,
    paper: Annotated[str, typer.Option("--paper", help="A4, A3 or Letter")] = "A4",
    unit: Annotated[str, typer.Option("--unit", help="mm or inch")] = "mm",
    language: Annotated[str, typer.Option("--language", help="en or de")] = "en",
    projection: Annotated[
        str | None, typer.Option("--projection", help="of the drawings: first or third angle; by default as the paper")
    ] = None,
    logo: Annotated[Path | None, typer.Option("--logo", help="the shop's, SVG or PNG")] = None,
    replaces: Annotated[
        Path | None, typer.Option("--replaces", help="plan.json of the former revision, whose prints are withdrawn")
    ] = None,
    readings: Annotated[
        Path | None, typer.Option("--readings", help="a filled-in readings.csv of the prove-out")
    ] = None,
    approved_by: Annotated[
        str | None, typer.Option("--approved-by", help="who stands for the corrections from --readings")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Set-up, load and prove-out sheets, bill, models and program skeletons of one plan."""
    files = verbs.papers(
        saved,
        out=folder,
        way=way,
        paper=paper,
        unit=unit,
        language=language,
        projection=projection,
        logo=logo,
        replaces=replaces,
        readings=readings,
        approved_by=approved_by,
    )
    if as_json:
        print_json([str(f) for f in files])
        return
    for file in files:
        out.print(str(file), highlight=False)


@app.command()
def rank(
    jobs: Annotated[Path, typer.Argument(help="a folder of job files (TOML), or a CSV of jobs")],
    folder: Annotated[Path, typer.Option("--out", help="folder for the answers as they come; picked up again")] = Path(
        "out/rank"
    ),
    shop: ShopFile = None,
    workers: Workers = None,
    scheduler: Annotated[str | None, typer.Option("--scheduler", help="address of a Dask scheduler")] = None,
    capital: Annotated[float | None, typer.Option("--capital", min=0, help="money that may be spent")] = None,
    machine_hours: Annotated[
        float | None, typer.Option("--machine-hours", min=0, help="machine hours for making the fixtures")
    ] = None,
    top: Annotated[int, typer.Option("--top", min=1, help="jobs that the ranking names")] = 20,
    seconds_each: Annotated[
        float | None, typer.Option("--seconds-each", min=1, help="clock limit of one plan; then runs may differ")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Which of many jobs is next: what a dense fixture saves for each hour of building it."""
    from palletwright.plan.ranktable import ranking_notes

    with bar(as_json) as progress:
        data = verbs.rank(
            jobs,
            out=folder,
            shop=shop,
            workers=hands_here(workers),
            scheduler=scheduler,
            capital=capital,
            machine_hours=machine_hours,
            top=top,
            seconds_each=seconds_each,
            progress=progress,
        )
    if as_json:
        print_json(data)
        return
    out.print(ranking_table(data))
    for line in ranking_notes(data):
        out.print(line, highlight=False, markup=False, soft_wrap=True)
    out.print(f"Written: {folder / 'ranking.json'}", highlight=False)
    if not data["jobs"]:
        raise typer.Exit(1)


@app.command()
def serve(
    port: Annotated[int | None, typer.Option("--port", min=1, max=65535, help="of this machine")] = None,
    store: Annotated[Path | None, typer.Option("--store", help="the file that keeps jobs, plans and records")] = None,
    open_page: Annotated[bool, typer.Option("--open/--no-open", help="open the page in the browser")] = True,
) -> None:
    """The page on this machine only: the whole job without the command line."""
    verbs.serve(port=port, store=store, open_page=open_page)


@app.command()
def schema(which: Annotated[str, typer.Argument(help="job or shop")]) -> None:
    """JSON schema of the files that people write."""
    print_json(verbs.schema(which))


def run(call: Callable[[], Any]) -> int:
    """Call with errors turned into exit codes; faults and reasons go to standard error."""
    try:
        call()
    except InputError as error:
        for fault in error.faults:
            say.print(str(fault), highlight=False, markup=False, soft_wrap=True)
        return 2
    except NoPlan as error:
        say.print(str(error), highlight=False, markup=False, soft_wrap=True)
        return 1
    except KeyboardInterrupt:
        say.print("stopped before there was anything to keep", highlight=False)
        return 1
    return 0


def main() -> None:
    """Entry point of the console script."""
    sys.exit(run(app))


if __name__ == "__main__":
    main()
