"""An independent open interpreter of RS-274 programs, where this computer has one.

Looked for as `rs274` on the path, in the folder that PALLETWRIGHT_RS274 names, and in `.venv/rs274`, where
`.ci/independent-reader` unpacks it.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from palletwright.cycle import Dialect, read_dialect

UNPACKED = Path(__file__).resolve().parents[2] / ".venv/rs274"

Spot = tuple[str, float, float, float]
Move = tuple[str, float, float, float, float]
_LINE = re.compile(
    r"(STRAIGHT_FEED|STRAIGHT_TRAVERSE|ARC_FEED|SET_G5X_OFFSET|SELECT_PLANE|USE_LENGTH_UNITS)\(([^)]*)\)"
)
_PLANES = {"CANON_PLANE_XY": (0, 1, 2), "CANON_PLANE_XZ": (2, 0, 1), "CANON_PLANE_YZ": (1, 2, 0)}
"""An arc tells its end along the plane's first axis, its second, and the one that it turns about."""


def command() -> tuple[str, dict[str, str]]:
    """Its path and environment; the test is skipped where there is none."""
    if found := shutil.which("rs274"):
        return found, dict(os.environ)
    for root in (os.environ.get("PALLETWRIGHT_RS274", ""), UNPACKED):
        path = Path(root) / "usr/bin/rs274"
        if root and path.exists():
            folders = ("usr/lib", "lib/x86_64-linux-gnu", "usr/lib/x86_64-linux-gnu")
            libraries = ":".join(str(Path(root) / part) for part in folders)
            return str(path), {**os.environ, "LD_LIBRARY_PATH": libraries}
    pytest.skip("no independent interpreter here: run .ci/independent-reader, or set PALLETWRIGHT_RS274")


def run(text: str, tools: Mapping[int, float], folder: Path) -> subprocess.CompletedProcess[str]:
    """Let it carry out a program; `out.txt` in `folder` has what it did.

    Its stand-alone form counts machine units in inches but hands lengths to the program (#5403) as its table has
    them: the table gets them in mm, which the positions in work coordinates don't depend on.
    """
    program, environment = command()
    file, out = folder / "program.ngc", folder / "out.txt"
    file.write_text(text)
    (folder / "tool.tbl").write_text("".join(f"T{n} P{n} Z{length:.6f} D0.1\n" for n, length in tools.items()))
    (folder / "v.var").write_text("5161 0\n5220 1\n")
    call = [program, "-g", "-t", str(folder / "tool.tbl"), "-v", str(folder / "v.var"), str(file), str(out)]
    return subprocess.run(
        call, env=environment, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=60, cwd=folder
    )


def without_what_it_lacks() -> Dialect:
    """The numbered dialect without jumps, clamp codes, extended offsets and the stop at a signal."""
    lacks = {"if_begin": "", "if_end": "", "unclamp": "", "clamp": "", "broken_tool": "", "machine_z": ""}
    return replace(read_dialect("word_address"), offsets_extended=0, **lacks)  # type: ignore[arg-type]


def moves(text: str, tools: Mapping[int, float], folder: Path) -> list[Move]:
    """(work offset's number, x, y, z, a) of the end of every move in mm, rapids too; fails on any error.

    Heights at which a rapid stays where G53 has brought it depend on the tool table, and so aren't comparable.
    """
    return [move for _, move in _told(text, tools, folder)]


def feeds(text: str, tools: Mapping[int, float], folder: Path) -> list[Spot]:
    """(work offset's number, x, y, z) of the end of every straight or circular feed in mm; fails on any error."""
    return [move[:4] for what, move in _told(text, tools, folder) if what != "STRAIGHT_TRAVERSE"]


def zeros(folder: Path) -> list[Spot]:
    """(number, x, y, z) of every work offset that the last run fed under, in its order, without what repeats; in the
    interpreter's machine coordinates, mm."""
    now: Spot | None = None
    found: list[Spot] = []
    for line in (folder / "out.txt").read_text().splitlines():
        hit = _LINE.search(line)
        if hit and hit[1] == "SET_G5X_OFFSET":
            number, x, y, z = (part.strip() for part in hit[2].split(",")[:4])
            now = (number, float(x), float(y), float(z))
        elif hit and hit[1] in ("STRAIGHT_FEED", "ARC_FEED") and now is not None and found[-1:] != [now]:
            found.append(now)
    return found


def distinct(found: list[Move]) -> list[Move]:
    """Without moves that go nowhere."""
    return [one for k, one in enumerate(found) if k == 0 or one != found[k - 1]]


def _told(text: str, tools: Mapping[int, float], folder: Path) -> Iterator[tuple[str, Move]]:
    """What the interpreter does and where each move ends."""
    ran = run(text, tools, folder)
    assert ran.returncode == 0, ran.stderr
    offset, plane, unit = "1", (0, 1, 2), 1.0
    for line in (folder / "out.txt").read_text().splitlines():
        hit = _LINE.search(line)
        if not hit:
            continue
        values = [part.strip() for part in hit[2].split(",")]
        if hit[1] == "SET_G5X_OFFSET":
            offset = values[0]
        elif hit[1] == "SELECT_PLANE":
            plane = _PLANES[values[0]]
        elif hit[1] == "USE_LENGTH_UNITS":
            unit = 25.4 if "INCH" in values[0] else 1.0
        elif hit[1] == "ARC_FEED":
            ends = dict(zip(plane, (unit * float(values[k]) for k in (0, 1, 5)), strict=True))
            yield hit[1], (offset, ends[0], ends[1], ends[2], float(values[6]))
        else:
            x, y, z, a = (float(value) for value in values[:4])
            yield hit[1], (offset, unit * x, unit * y, unit * z, a)
