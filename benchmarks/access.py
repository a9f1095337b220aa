"""Access: seconds for each demo part, refinement of the pitch, and what is found on scripted parts of known truth.

python -m benchmarks.access [--parts 500]
"""

from __future__ import annotations

import argparse
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


def large_and_fine() -> None:
    """100 mm at 0.1 mm and 300 mm at 0.25 mm: seconds, memory, and the ratio to plain growing of the same views.

    Plain: the same grey dilations by a footprint with scipy, one view and the shop's narrowest three mills only.
    """
    import resource

    import numpy as np
    from access_cases import block, machine, material, shop
    from scipy import ndimage

    from palletwright.access import analyse
    from palletwright.access.columns import look
    from palletwright.job.model import Blank
    from palletwright.solid import stock_mesh

    for size, pitch in ((100.0, 0.1), (300.0, 0.25)):
        k = size / 100.0
        tools = [
            ("box", (20 * k, 20 * k, 35 * k), (60 * k, 60 * k, 51 * k)),
            ("cylinder", (85, 20, -1), (0, 0, 1), 3.3, 52 * k),
        ]
        solid = block(tools, size=(size, 0.8 * size, 0.5 * size))
        stock = stock_mesh(solid, Blank())
        analyse(solid, stock, shop(), material(), machine(), pitch=1.0)
        start, clock = time.process_time(), time.perf_counter()
        analyse(solid, stock, shop(), material(), machine(), pitch=pitch)
        spent, passed = time.process_time() - start, time.perf_counter() - clock
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        view = look(solid.mesh.corners, (0, 0, 1), pitch, 10.0)
        mills = sorted((t for t in shop().tools if t.cutter.kind == "end_mill"), key=lambda t: t.cutter.DC)[:3]
        ours, plain = 0.0, 0.0
        for t in mills:
            view.height.max()
            start = time.process_time()
            view.grown(t.cutter.DC / 2)
            ours += time.process_time() - start
            r = t.cutter.DC / 2 / pitch
            g = np.arange(-int(r), int(r) + 1)
            disc = np.hypot(g[:, None], g[None, :]) < r
            start = time.process_time()
            ndimage.grey_dilation(view.height, footprint=disc, mode="constant", cval=-np.inf)
            plain += time.process_time() - start
        print(
            f"{size:g} mm at {pitch:g} mm: {spent:.1f} s processor, {passed:.1f} s clock, {peak:.0f} MiB at most; "
            f"three discs: plain {plain:.2f} s, ours {ours:.3f} s, ratio {plain / max(ours, 1e-9):.0f}"
        )


def on_scripted_parts(count: int) -> None:
    """Recall and precision of holes, pockets, slots and steps on parts made by script, turned and mirrored."""
    from scripted import counted

    total: Counter[str] = Counter()
    words: list[str] = []
    for first in range(0, count, 50):
        more, differ = counted(range(first, min(count, first + 50)))
        total += more
        words += differ
    print(f"{count} scripted parts, {len(words)} of them with a difference")
    for kind in ("hole", "pocket", "slot", "step"):
        wanted, found, right = (total[f"{kind} {w}"] for w in ("wanted", "found", "right"))
        print(f"{kind}: {wanted} made, {found} found, {right} right: recall {right / wanted:.4f}, ", end="")
        print(f"precision {right / max(found, 1):.4f}")
    print("\n".join(words[:20]))


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--parts", type=int, default=500, help="scripted parts")
    parser.add_argument("--only-parts", action="store_true", help="nothing but the scripted parts")
    given = parser.parse_args()
    if not given.only_parts:
        large_and_fine()
        seconds_of_parts()
    on_scripted_parts(given.parts)
