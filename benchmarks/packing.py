"""Time, count and bound of packing drilled parts on sides, and densest lattices against their known values.

python -m benchmarks.packing
"""

from __future__ import annotations

import math
import sys
import time

import numpy as np
import shapely

from palletwright.layout import Module, Side, ToolSweep, carrier_mesh, densest_lattice, pack
from palletwright.shop.model import Carrier

KNOWN = {3: 1.0, 4: 1.0, 5: (5 - math.sqrt(5)) / 3, 6: 1.0, 8: 0.906164}  # see tests/layout/test_densest.py


def part(length: float, holder: float) -> Module:
    """A plate-like part with holes drilled from above, and the tool that drills them."""
    body = carrier_mesh(Carrier(id="block", kind="plate", length=length, width=40.0, height=40.0))
    tips = np.array([[x, y, 10.0] for x in (8 - length / 2, length / 2 - 8) for y in (-12.0, 12.0)])
    stack = ((5.0, 0.0, 25.0), (holder, 25.0, 90.0))
    outline = shapely.box(-length / 2, -20.0, length / 2, 20.0)
    sweep = ToolSweep((0.0, 0.0, 1.0), ((tips, stack, 1, 0.0),))
    return Module(10, "block", (("part", body),), (sweep,), outline, 1)


def main() -> int:
    side = Side("plate", shapely.box(-200.0, -100.0, 200.0, 100.0), np.eye(4))
    pack(part(50.0, 10.0), side, clearance=2.0, solid_gap=1.0)
    print("length  holder  margin  count  bound  proven  seconds (tables kept: seconds)")
    for length in (48.0, 60.0, 72.0):
        for holder in (10.0, 25.0):
            for margin in (1.0, 2.0):
                module, times = part(length, holder), []
                for _ in range(2):
                    start = time.perf_counter()
                    found = pack(module, side, clearance=margin, solid_gap=1.0)
                    times.append(time.perf_counter() - start)
                proven = "yes" if found.proven else "no"
                row = f"{length:6.0f} {2 * holder:7.0f} {margin:7.1f} {found.count:6} {found.bound:6}  {proven:6}"
                print(f"{row} {times[0]:7.2f} ({times[1]:.2f})")
    for n, known in KNOWN.items():
        angle = 2 * np.pi * np.arange(n) / n
        density, pattern = densest_lattice(shapely.Polygon(np.column_stack([np.cos(angle), np.sin(angle)])))
        print(f"{n} corners: density {density:.5f}, known {known:.5f} ({pattern})")
    return 0


if __name__ == "__main__":
    sys.exit(main())
