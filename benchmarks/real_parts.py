"""Every part of a folder planned with the example shop from the command line: `python -m benchmarks.real_parts`.

    python -m benchmarks.real_parts [FOLDER] [--seconds 60] [--workers 2] [--only TEXT]

Prints a table in Markdown: size, finished parts a start and how, or why there is no plan; what stays uncut; seconds
by the clock and of the processor, of the whole process. The folder is `../shared/parts` or that of
`PALLETWRIGHT_SHARED` unless one is named; without it there is nothing to do.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

MATERIAL, PER_YEAR = "6061-T6", 5000
ENDINGS = (".step", ".stp")


def parts_folder(named: str | None) -> Path | None:
    """The folder with STEP files, or None where there is none."""
    shared = os.environ.get("PALLETWRIGHT_SHARED")
    default = (Path(shared) if shared else Path(__file__).parents[2] / "shared") / "parts"
    folder = Path(named) if named else default
    return folder if folder.is_dir() else None


def planned(step: Path, seconds: float, workers: int) -> list[str]:
    """One row of the table."""
    with tempfile.TemporaryDirectory() as out:
        command = [sys.executable, "-m", "palletwright.cli", "plan", str(step), "--out", out]
        command += ["--material", MATERIAL, "--per-year", str(PER_YEAR), "--workers", str(workers)]
        began, before = time.perf_counter(), _children()
        try:
            ran = subprocess.run(command, capture_output=True, text=True, timeout=seconds, check=False)
        except subprocess.TimeoutExpired:
            return [step.name, "", "", f"no answer within {seconds:.0f} s", "", "", f"{seconds:.0f}", ""]
        took, busy = time.perf_counter() - began, _children() - before
        end = [f"{took:.0f}", f"{busy:.0f}"]
        if ran.returncode:
            said = _said(ran.stderr or ran.stdout).replace(f"{step.parent}{os.sep}", "")
            return [step.name, "", "", said, "", "", *end]
        return [step.name, *_answer(json.loads((Path(out) / "plan.json").read_text(encoding="utf-8"))), *end]


def _children() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _said(text: str) -> str:
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return " ".join(lines)[:400].replace("|", "/") or "no word"


def _answer(data: dict[str, Any]) -> list[str]:
    best = data["plans"][0]
    left = sum(x["mm3"] for x in data["left_over"])
    size = " x ".join(f"{v:.0f}" for v in data["part"]["size_mm"])
    way = f"{best['timing']['label']}"
    return [
        size,
        f"{best['parts_per_start']:g}",
        way,
        f"{best['cost_per_part']:.2f}",
        f"{left:.0f} mm³" if left else "",
    ]


def main() -> int:
    """Plan each part in turn; the number of parts without any answer."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", nargs="?")
    parser.add_argument("--seconds", type=float, default=300.0, help="after which a part counts as unanswered")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--only", default="", help="parts with this in their name")
    asked = parser.parse_args()
    folder = parts_folder(asked.folder)
    if folder is None:
        print("no folder of parts: name one, or set PALLETWRIGHT_SHARED")
        return 0
    head = ("part", "size mm", "finished parts a start", "how, or why not", "cost a part", "left over", "s", "CPU s")
    print(f"| {' | '.join(head)} |\n|{'---|' * len(head)}", flush=True)
    silent = 0
    for step in sorted(p for p in folder.rglob("*") if p.suffix.lower() in ENDINGS and asked.only in p.name):
        row = planned(step, asked.seconds, asked.workers)
        silent += row[3].startswith("no answer")
        print(f"| {' | '.join(row)} |", flush=True)
    return silent


if __name__ == "__main__":
    raise SystemExit(main())
