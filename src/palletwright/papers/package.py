"""All papers of one way of a plan, written into one folder under one identity."""

from __future__ import annotations

import tempfile
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from palletwright.errors import Fault, InputError
from palletwright.papers.bill import bill_csv, bill_xlsx, pieces_csv
from palletwright.papers.blocking import Blocked
from palletwright.papers.carriers import CarrierModel, carrier_model
from palletwright.papers.case import case_sheet
from palletwright.papers.corrections import Reading, approved_csv, corrections, read_readings, readings_template
from palletwright.papers.drawings import Style, drawing_pdf, side_dxf, side_names
from palletwright.papers.facts import Facts, facts
from palletwright.papers.interference import interferences
from palletwright.papers.live import Live, live_of
from palletwright.papers.loading import load_sheet
from palletwright.papers.marks import engraving
from palletwright.papers.models import scene_glb, write_models
from palletwright.papers.programs import Package, package
from palletwright.papers.proofing import proofing_sheet, wrong_lines, wrong_of
from palletwright.papers.proving import corrections_sheet, prove_sheet, reading_rows
from palletwright.papers.revision import revision_sheet
from palletwright.papers.setup import setup_sheet
from palletwright.papers.sheets import PROJECTIONS
from palletwright.papers.stationmap import map_csv, map_sheet
from palletwright.papers.typeset import Sheet, pdf, room
from palletwright.papers.words import MM_PER_INCH, Words


@dataclass(frozen=True)
class Print:
    """How the papers are set: paper size, first or third angle, and the shop's logo as SVG or PNG bytes."""

    paper: str
    projection: str
    logo: bytes | None


def write_papers(
    data: dict[str, Any],
    out: Path,
    *,
    way: int = 0,
    paper: str = "A4",
    unit: str = "mm",
    language: str = "en",
    folder: Path | None = None,
    projection: str | None = None,
    logo: Path | None = None,
    replaces: dict[str, Any] | None = None,
    readings: Path | None = None,
    approved_by: str | None = None,
) -> list[Path]:
    """Write every paper of one way of a plan; the same plan gives the same bytes.

    Parameters
    ----------
    data : a plan as `plan.record.read` gives it
    out : folder to write into; it is made where it isn't there
    way : which of the plan's ways, 0 is the best
    paper : "A4", "A3" or "Letter"; unit : "mm" or "inch"; language : "en" or "de"
    folder : where the plan lies, for a part named relative to it
    projection : "first" or "third" angle of the drawings; by default third on Letter, else first
    logo : the shop's, SVG or PNG
    replaces : the plan of the part's former revision, whose prints are withdrawn
    readings : a filled-in `readings.csv` of the prove-out; `approved_by` : who stands for the corrections from it,
        without a name they are proposed only

    Returns the files written. Raises InputError for a way without pictures or times, an unknown paper, unit, language
    or projection, a logo that can't be read, or readings that don't fit. What can't be written for want of the plan's
    grips is named in `contents.txt`.
    """
    room(paper)
    given = facts(data, way, Words(language, unit))
    style = _print(paper, projection, logo)
    entered = _readings(given, readings, approved_by)
    live = live_of(given, folder)
    missing: list[str] = [] if not isinstance(live, str) else [f"programs, carrier models, drawings, devices: {live}"]
    files: dict[str, bytes] = {}
    with ThreadPoolExecutor(KERNELS) as pool:
        models = _models(given, live, pool)
        wrong = wrong_of(given, live)
        for cycle in given.cycles:
            files |= _cycle(given, cycle, style, live, wrong, missing)
            files |= _corrected(given, cycle, style, entered, approved_by)
            files |= _drawn(given, cycle, models, style)
        for _, model, job in models:
            files |= {f"{_stem(model)}/{name}": blob for name, blob in job.result().items()}
    if replaces is not None:
        files["revision.pdf"] = _pdf(given, style, revision_sheet(facts(replaces, 0, given.words), given))
    files["case.pdf"] = _pdf(given, style, case_sheet(given))
    drawn = [model for _, model, _ in models]
    files["bill.xlsx"] = bill_xlsx(given, live, drawn, style.paper)
    files["bill.csv"] = bill_csv(given).encode()
    files["pieces.csv"] = pieces_csv(given, live, drawn).encode()
    files["contents.txt"] = _contents(given, files, missing, drawn).encode()
    return _written(files, out)


KERNELS = 2
"""CAD kernels that run at once, each in its own process."""

Waiting = tuple[int, CarrierModel, "Future[dict[str, bytes]]"]
"""Cycle, carrier, and its STEP files when they are written and read back."""


def _print(paper: str, projection: str | None, logo: Path | None) -> Print:
    if projection not in (None, *PROJECTIONS):
        allowed = ", ".join(PROJECTIONS)
        raise InputError([Fault("papers", "projection", str(projection), "isn't a projection", allowed)])
    picture = None
    if logo is not None:
        try:
            picture = logo.read_bytes()
        except OSError as error:
            raise InputError([Fault("papers", "logo", str(logo), str(error.strerror), "a readable file")]) from error
        if not picture.startswith(b"\x89PNG") and b"<svg" not in picture[:2000]:
            raise InputError([Fault("papers", "logo", str(logo), "is neither SVG nor PNG", "an SVG or PNG picture")])
    return Print(paper, projection or ("third" if paper == "Letter" else "first"), picture)


def _pdf(given: Facts, style: Print, sheet: Sheet) -> bytes:
    return pdf(replace(sheet, owner=given.shop.name, logo=style.logo, language=given.words.language), style.paper)


def _readings(given: Facts, path: Path | None, approved_by: str | None) -> list[Reading]:
    """Readings of a file, checked against the plan's stations and tools."""
    if path is None:
        if approved_by is not None:
            problem = "approves nothing without readings"
            raise InputError([Fault("papers", "approved_by", approved_by, problem, "a file given as readings")])
        return []
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError([Fault("papers", "readings", str(path), str(error), "a readable CSV file")]) from error
    stations = [s.name for c in given.cycles for s in given.stations(c)]
    tools = sorted({t for c in given.cycles for t in given.tools(c)})
    return read_readings(text, stations, tools, str(path))


def _corrected(
    given: Facts, cycle: int, style: Print, entered: list[Reading], approved_by: str | None
) -> dict[str, bytes]:
    """The sheet of corrections, and the file to enter them from once they are approved."""
    names = {s.name for s in given.stations(cycle)}
    here = [r for r in entered if r.station in names]
    if not here:
        return {}
    proposal = corrections(here)
    tail = _tail(given, cycle)
    files = {f"corrections{tail}.pdf": _pdf(given, style, corrections_sheet(given, cycle, proposal))}
    if approved_by is not None:
        files[f"corrections{tail}.csv"] = approved_csv(proposal, approved_by, given.identity).encode()
    return files


def _tail(given: Facts, cycle: int) -> str:
    return f"-{cycle + 1}" if len(given.cycles) > 1 else ""


def _models(given: Facts, live: Live | str, pool: ThreadPoolExecutor) -> list[Waiting]:
    """Carrier models of all cycles; their STEP files are begun in the background."""
    rows: list[Waiting] = []
    if isinstance(live, str):
        return rows
    for cycle in given.cycles:
        for placing in given.design.placings:
            if placing.mount in given.mounts(cycle) and placing.kind != "vise":
                model = _checked(given, cycle, carrier_model(given, cycle, placing, live), live)
                rows.append((cycle, model, pool.submit(_steps, given, cycle, model, live)))
    return rows


def _checked(given: Facts, cycle: int, model: CarrierModel, live: Live) -> CarrierModel:
    """The model with a note for every two bodies on it that stand in one another."""
    w = given.words
    unit = f"{w.length_unit}³"
    scale = 1.0 if w.unit == "mm" else MM_PER_INCH**3
    notes = [
        w.say("open_shared", a=a, b=b, volume=w.number(shared / scale, 0 if w.unit == "mm" else 4), unit=unit)
        for a, b, shared in interferences(given, cycle, model, live)
    ]
    return replace(model, notes=(*model.notes, *notes))


def _steps(given: Facts, cycle: int, model: CarrierModel, live: Live) -> dict[str, bytes]:
    with tempfile.TemporaryDirectory() as folder:
        write_models(given, cycle, model, live, Path(folder))
        return {p.name: p.read_bytes() for p in sorted(Path(folder).iterdir())}


def _stem(model: CarrierModel) -> str:
    return "carrier-" + model.placing.mount.replace("#", "-").replace("/", "-")


def _drawn(given: Facts, cycle: int, models: list[Waiting], style: Print) -> dict[str, bytes]:
    """Drawings and engraving programs of a cycle's carriers."""
    files: dict[str, bytes] = {}
    setting = Style(style.paper, style.projection, style.logo)
    for number, model, _ in models:
        if number != cycle:
            continue
        stem = _stem(model)
        files[f"{stem}/drawing.pdf"] = drawing_pdf(given, cycle, model, setting)
        for k, side in enumerate(side_names(model), start=1):
            files[f"{stem}/side-{k}.dxf"] = side_dxf(given, cycle, model, side, setting).encode()
            marks = [m for m in model.marks if m.side == side]
            if marks:
                text = engraving(marks, f"{model.carrier.id} {side}", given.identity)
                files[f"{stem}/engrave-{k}.nc"] = text.encode()
    return files


def _programs(given: Facts, cycle: int, live: Live | str, missing: list[str]) -> Package:
    """The program package, or an empty one with the reason among what is missing."""
    if isinstance(live, str):
        return Package({}, {})
    try:
        return package(given, cycle, live)
    except InputError as error:
        missing.append(f"programs: {error}")
        return Package({}, {})


def _cycle(
    given: Facts, cycle: int, style: Print, live: Live | str, wrong: dict[int, Blocked], missing: list[str]
) -> dict[str, bytes]:
    """The papers of one cycle; their names carry its number where there are several."""
    tail = _tail(given, cycle)
    made = _programs(given, cycle, live, missing)
    sheets = {
        "setup": setup_sheet(given, cycle, style.paper, live, made.offsets, sorted(made.files)),
        "load": load_sheet(given, cycle, style.paper, live, wrong_lines(given, wrong)),
        "proofing": proofing_sheet(given, cycle, wrong),
        "prove": prove_sheet(given, cycle),
        "inspection": map_sheet(given, cycle),
    }
    files = {f"{name}{tail}.pdf": _pdf(given, style, sheet) for name, sheet in sheets.items()}
    files[f"machine{tail}.glb"] = scene_glb(given, cycle)
    files[f"stations{tail}.csv"] = map_csv(given, cycle).encode()
    files[f"readings{tail}.csv"] = readings_template(reading_rows(given, cycle), given.identity).encode()
    return files | {f"programs{tail}/{name}": text.encode() for name, text in made.files.items()}


def _contents(given: Facts, files: dict[str, bytes], missing: list[str], models: list[CarrierModel]) -> str:
    """What was written, what a person has to settle on the carriers, and what could not be written and why."""
    lines = [f"{given.data['title']}", f"plan {given.identity}", "", *sorted(files)]
    settle = [f"{_stem(m)}: {note}" for m in models for note in m.notes]
    lines += ["", "To settle by hand:", *settle] if settle else []
    lines += ["", "Not written:", *missing] if missing else []
    return "\n".join(lines) + "\n"


def _written(files: dict[str, bytes], out: Path) -> list[Path]:
    """Each file whole or not at all."""
    paths = []
    for name, content in files.items():
        path = out / name
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_name(path.name + ".part")
        part.write_bytes(content)
        part.replace(path)
        paths.append(path)
    return paths
