"""How many parts stand on a side, against part length, holder diameter and margin.

python -m benchmarks.density [--write docs/density.md]
"""

from __future__ import annotations

import argparse
import itertools
import sys
from pathlib import Path

import numpy as np
import shapely

from benchmarks.packing import part
from palletwright.layout import Packing, Side, pack

SIDE = (400.0, 200.0)
LENGTHS = (48.0, 60.0, 72.0)
HOLDERS = (20.0, 32.0, 50.0)
MARGINS = (1.0, 2.0, 4.0)
HEAD = """# How many stand on a side

A block 40 mm wide and 40 mm high, drilled from above with 10 mm drills in four holes 8 mm from its ends, 12 mm off its
middle; the tools stick out 25 mm, so that the holder dips below the neighbours' tops. The side is 400 × 200 mm, parts
stand at least 1 mm apart, quarter turns are allowed. Rows: part length and holder diameter, mm. Columns: the margin,
mm, that a tool keeps from the neighbours. A cell is the count found, then the most possible where that is not proven.
Made by `python -m benchmarks.density --write docs/density.md`.

"""
FOOT = """
A stand that keeps a larger margin, or suits a wider holder, serves smaller ones too, so a cell takes over what a
harder one beside or below it found.
"""


def packed(length: float, holder: float, margin: float) -> Packing:
    """One cell of the table; lengths, diameter and margin in mm."""
    side = Side("plate", shapely.box(-SIDE[0] / 2, -SIDE[1] / 2, SIDE[0] / 2, SIDE[1] / 2), np.eye(4))
    return pack(part(length, holder / 2), side, clearance=margin, solid_gap=1.0, effort=0, explain=False)


def table() -> list[str]:
    """The table's lines in Markdown."""
    lines = ["| length | holder | " + " | ".join(f"margin {m:g}" for m in MARGINS) + " |"]
    lines.append("|---:" * (2 + len(MARGINS)) + "|")
    for length in LENGTHS:
        count = np.zeros((len(HOLDERS) + 1, len(MARGINS) + 1), dtype=int)
        bound = np.zeros_like(count)
        for i, j in itertools.product(reversed(range(len(HOLDERS))), reversed(range(len(MARGINS)))):
            found = packed(length, HOLDERS[i], MARGINS[j])
            count[i, j] = max(found.count, count[i + 1, j], count[i, j + 1])
            bound[i, j] = found.bound
        for i, holder in enumerate(HOLDERS):
            pairs = [(int(count[i, j]), int(bound[i, j])) for j in range(len(MARGINS))]
            cells = [f"{n}" if n == most else f"{n} of {most}" for n, most in pairs]
            lines.append(f"| {length:g} | {holder:g} | " + " | ".join(cells) + " |")
    return lines


def main(arguments: list[str] | None = None) -> int:
    """Print the table, or write the page."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--write", type=Path, help="the page to write")
    chosen = parser.parse_args(arguments)
    text = "\n".join(table()) + "\n"
    if chosen.write is None:
        print(text, end="")
    else:
        chosen.write.write_text(HEAD + text + FOOT, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
