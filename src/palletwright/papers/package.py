"""All papers of one way of a plan, written into one folder under one identity."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from palletwright.errors import InputError
from palletwright.papers.bill import bill_csv, bill_xlsx, pieces_csv
from palletwright.papers.carriers import CarrierModel, carrier_model
from palletwright.papers.case import case_sheet
from palletwright.papers.drawings import drawing_sheet, side_dxf, side_names
from palletwright.papers.facts import Facts, facts
from palletwright.papers.live import Rebuilt, rebuild
from palletwright.papers.loading import load_sheet
from palletwright.papers.models import scene_glb, write_assembly, write_carrier
from palletwright.papers.programs import Package, package
from palletwright.papers.proving import prove_sheet
from palletwright.papers.setup import setup_sheet
from palletwright.papers.typeset import pdf, room
from palletwright.papers.words import Words


def write_papers(
    data: dict[str, Any],
    out: Path,
    *,
    way: int = 0,
    paper: str = "A4",
    unit: str = "mm",
    language: str = "en",
    folder: Path | None = None,
) -> list[Path]:
    """Write every paper of one way of a plan; the same plan gives the same bytes.

    Parameters
    ----------
    data : a plan as `plan.record.read` gives it
    out : folder to write into; it is made where it isn't there
    way : which of the plan's ways, 0 is the best
    paper : "A4", "A3" or "Letter"; unit : "mm" or "inch"; language : "en" or "de"
    folder : where the plan lies, for a part named relative to it

    Returns the files written. Raises InputError for a way without pictures or times, or an unknown paper, unit or
    language. What can't be written for want of the plan's grips is named in `contents.txt`.
    """
    room(paper)
    given = facts(data, way, Words(language, unit))
    live = rebuild(given, folder)
    files: dict[str, bytes] = {}
    missing: list[str] = [] if not isinstance(live, str) else [f"programs, carrier models, drawings, devices: {live}"]
    for cycle in given.cycles:
        files |= _cycle(given, cycle, paper, live, missing)
    files["case.pdf"] = pdf(case_sheet(given), paper)
    files["bill.xlsx"] = bill_xlsx(given, live)
    files["bill.csv"] = bill_csv(given).encode()
    files["pieces.csv"] = pieces_csv(given, live).encode()
    files["contents.txt"] = _contents(given, files, missing).encode()
    return _written(files, out)


def _programs(given: Facts, cycle: int, live: Rebuilt | str, missing: list[str]) -> Package:
    """The program package, or an empty one with the reason among what is missing."""
    if isinstance(live, str):
        return Package({}, {})
    try:
        return package(given, cycle, live)
    except InputError as error:
        missing.append(f"programs: {error}")
        return Package({}, {})


def _cycle(given: Facts, cycle: int, paper: str, live: Rebuilt | str, missing: list[str]) -> dict[str, bytes]:
    """The papers of one cycle; their names carry its number where there are several."""
    tail = f"-{cycle + 1}" if len(given.cycles) > 1 else ""
    made = _programs(given, cycle, live, missing)
    sheet = setup_sheet(given, cycle, paper, live, made.offsets, sorted(made.files))
    files = {
        f"setup{tail}.pdf": pdf(sheet, paper),
        f"load{tail}.pdf": pdf(load_sheet(given, cycle, paper, live), paper),
        f"prove{tail}.pdf": pdf(prove_sheet(given, cycle), paper),
    }
    files[f"machine{tail}.glb"] = scene_glb(given, cycle)
    files |= {f"programs{tail}/{name}": text.encode() for name, text in made.files.items()}
    if not isinstance(live, str):
        for placing in given.design.placings:
            if placing.mount in given.mounts(cycle) and placing.kind != "vise":
                model = carrier_model(given, cycle, placing, live)
                files |= carrier_files(given, cycle, model, live, paper)
    return files


def carrier_files(given: Facts, cycle: int, model: CarrierModel, live: Rebuilt, paper: str) -> dict[str, bytes]:
    """One carrier's drawing, its sides at 1:1, its model and what stands on it."""
    stem = "carrier-" + model.placing.mount.replace("#", "-").replace("/", "-")
    files = {f"{stem}/drawing.pdf": pdf(drawing_sheet(given, cycle, model, paper), paper)}
    for k, side in enumerate(side_names(model), start=1):
        files[f"{stem}/side-{k}.dxf"] = side_dxf(given, cycle, model, side).encode()
    with tempfile.TemporaryDirectory() as folder:
        alone, together = Path(folder) / "carrier.step", Path(folder) / "assembly.step"
        write_carrier(model, alone)
        write_assembly(given, cycle, model, live, together)
        files[f"{stem}/carrier.step"] = alone.read_bytes()
        files[f"{stem}/assembly.step"] = together.read_bytes()
    return files


def _contents(given: Facts, files: dict[str, bytes], missing: list[str]) -> str:
    lines = [f"{given.data['title']}", f"plan {given.identity}", "", *sorted(files)]
    return "\n".join([*lines, *(["", "Not written:", *missing] if missing else [])]) + "\n"


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
