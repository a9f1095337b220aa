"""Access: seconds for each demo part, refinement of the pitch, and holes found on scripted blocks with known truth.

python -m benchmarks.access [--blocks 500]
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections import Counter
from importlib.resources import files
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "access"))


def seconds_of_parts() -> None:
    """Wall seconds of `analyse` for the demo parts, at the default and at half the pitch."""
    from access_cases import machine, material, shop

    from palletwright.access import analyse
    from palletwright.job.model import Blank
    from palletwright.solid import read_step, stock_mesh

    for name in ("hinge_yoke", "valve_block"):
        solid = read_step(Path(str(files("palletwright.demo") / f"{name}.step")))
        stock = stock_mesh(solid, Blank())
        first = analyse(solid, stock, shop(), material(), machine())
        for pitch in (None, first.pitch / 2):
            start = time.perf_counter()
            access = analyse(solid, stock, shop(), material(), machine(), pitch=pitch)
            spent = time.perf_counter() - start
            left = sum(x.mm3 for x in access.left_over)
            print(
                f"{name}: pitch {access.pitch:.3f} mm, error bound {access.error_bound:.3f} mm: {spent:.2f} s, "
                f"{len(access.features)} features, fixed {len(access.fixed[0].clampings)}, "
                f"rotary {len(access.rotary[0].clampings)}, left {left:.1f} mm³"
            )


def holes_on_blocks(count: int) -> None:
    """Recall and precision of holes (diameter, through or blind) on blocks made by script, turned and mirrored."""
    from access_cases import built
    from test_holes import SIZE, scripted

    from palletwright.access.holes import bores
    from palletwright.access.shapes import body_of

    hits = wanted = named = 0
    spent = 0.0
    for first in range(0, count, 50):
        jobs, truths = [], []
        for seed in range(first, min(count, first + 50)):
            tools, truth = scripted(seed)
            rng = random.Random(1000 + seed)
            turn = ((rng.uniform(-1, 1), rng.uniform(-1, 1), rng.uniform(0.1, 1)), rng.uniform(0, 6.28))
            jobs.append((SIZE, tools, turn, seed % 2 == 1))
            truths.append(Counter((d, blind) for _, d, blind in truth))
        for solid, truth in zip(built(jobs), truths, strict=True):
            start = time.perf_counter()
            holes, _ = bores(solid, body_of(solid.mesh))
            spent += time.perf_counter() - start
            got = Counter((round(2 * h.core.radius, 3), not h.through) for h in holes if not h.other_end)
            hits += (got & truth).total()
            wanted += truth.total()
            named += got.total()
    print(
        f"{count} blocks, {wanted} holes: recall {hits / wanted:.4f}, precision {hits / named:.4f}, "
        f"{1000 * spent / count:.1f} ms a block"
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--blocks", type=int, default=100)
    seconds_of_parts()
    holes_on_blocks(parser.parse_args().blocks)
