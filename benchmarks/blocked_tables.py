"""Processor time of a table of blocked displacements, and of packing sides with it, for parts with milled paths.

python -m benchmarks.blocked_tables
"""

from __future__ import annotations

import sys
import time

import numpy as np
import shapely

from palletwright.layout import Module, Side, ToolSweep, pack
from palletwright.layout.blocked import table
from palletwright.layout.sides import carrier_mesh
from palletwright.shop.model import Carrier

STACK = ((8.0, 0.0, 32.0), (7.6, 32.0, 44.0), (15.0, 45.0, 62.0), (26.0, 62.0, 120.0))
SIDES = ((280.0, 50.0), (280.0, 100.0), (380.0, 120.0), (460.0, 160.0), (340.0, 280.0))


def milled(length: float, paths: int, across: bool) -> Module:
    """A block with `paths` closed contours sampled every 0.4 mm, one drilled hole, and cuts along the side."""
    body = carrier_mesh(Carrier(id="block", kind="plate", length=length, width=42.0, height=40.0))
    moves = []
    for k in range(paths):
        contour = shapely.box(-length / 2 + 6 + k, -15.0 + k, length / 2 - 6 - k, 15.0 - k).exterior
        at = np.arange(0.0, contour.length, 0.4)
        xy = shapely.get_coordinates(shapely.line_interpolate_point(contour, at))
        moves.append((np.column_stack([xy, np.full(len(xy), 28.0 - 2 * (k % 3))]), STACK, k + 1, 0.0))
    sweeps = [ToolSweep((0.0, 0.0, 1.0), tuple(moves))]
    if across:
        tips = np.array([[x, 12.0, 20.0] for x in (-length / 4, length / 4)])
        sweeps.append(ToolSweep((0.0, 1.0, 0.0), ((tips, STACK, 99, 0.0),)))
    turns = (0, 2) if across else (0, 1, 2, 3)
    outline = shapely.box(-length / 2, -21.0, length / 2, 21.0)
    return Module(10, "block", (("part", body),), tuple(sweeps), outline, 1, turns)


def main() -> int:
    """Print one row for every module, and one for every side packed with it."""
    pack(milled(60.0, 1, True), side(*SIDES[0]), clearance=2.0, solid_gap=1.0)  # compiles what is compiled
    print("length  paths  along the side  table s | side, count of at most, s")
    for length, paths, across in ((60.0, 6, False), (66.0, 20, False), (72.0, 12, True)):
        module = milled(length, paths, across)
        start = time.process_time()
        relative = {(b - a) % 4 for a in module.turns for b in module.turns}
        table(module, module, relative, 2.0, 1.0, None, 0.25)
        print(f"{length:6.0f} {paths:6} {'yes' if across else 'no':>15} {time.process_time() - start:8.2f}")
        for wide, tall in SIDES:
            start = time.process_time()
            found = pack(module, side(wide, tall), clearance=2.0, solid_gap=1.0, effort=0, explain=False)
            spent = time.process_time() - start
            print(f"{'':41}| {wide:.0f} × {tall:.0f}, {found.count} of {found.bound}, {spent:.2f}")
    return 0


def side(wide: float, tall: float) -> Side:
    """A flat side of so many mm."""
    return Side("s", shapely.box(0.0, 0.0, wide, tall), np.eye(4))


if __name__ == "__main__":
    sys.exit(main())
