"""Does the demo's choice of sides and rows follow from geometry? The yoke 20 % shorter, as it is, and 20 % longer.

python -m benchmarks.yoke_lengths [--write docs/yoke-lengths.md] [--lengths 0.8 1.0 1.2]

Every length is planned in full (about a minute of processor time each). Features keep their sizes; their places along
the part are stretched with it.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

from palletwright import verbs
from palletwright.demo import parts as demo

HEAD = """# The yoke longer and shorter

The demo's hinge yoke planned as it is, 20 % shorter and 20 % longer: holes, slot and pocket keep their sizes, their
places along the part are stretched. Made by `python -m benchmarks.yoke_lengths --write docs/yoke-lengths.md`. Rows are
the best way of each length: parts of each operation on each side of its carriers (rows across the side × parts in the
longest row), and the pitch in the longest row. What decides is the least spare of all clearances that depend on
where stations stand, with its place.

"""
SPACING = ("tool clearance", "nose clearance", "swing", "indexing clearance", "length at tailstock")


def yoke(stretch: float) -> Any:
    """The yoke with its places along x times `stretch`."""
    import build123d as b

    corner = (b.Align.MIN, b.Align.MIN, b.Align.MIN)
    long = 62 * stretch
    body = b.Box(long, 44, 28, align=corner)
    upright = body.edges().filter_by(b.Axis.Z).sort_by(b.Axis.X)
    body = b.fillet(upright[:2], 8)
    body = b.fillet(body.edges().filter_by(b.Axis.Z).filter_by(b.GeomType.LINE).sort_by(b.Axis.X)[-2:], 6)
    slot = b.Pos(32 * stretch, 14, -1) * b.Box(long - 22 * stretch, 16, 30, align=corner)
    slot = b.fillet(slot.edges().filter_by(b.Axis.Z).sort_by(b.Axis.X)[:2], 5)
    pocket = b.Pos(6 * stretch, 15, -1) * b.Box(20 * stretch, 14, 6, align=corner)
    pocket = b.fillet(pocket.edges().filter_by(b.Axis.Z), 4)
    body -= [slot, pocket, demo.bore(12, 45, (50 * stretch, 44, 14), "+y")]
    body -= [demo.bore(4.2, 13, (24 * stretch, 44, 14), "+y", pointed=True)]
    for y in (10, 34):
        body -= [demo.bore(6.6, 29, (13 * stretch, y, 28), "+z"), demo.bore(11, 6.8, (13 * stretch, y, 28), "+z")]
    return body


def job_of(stretch: float, folder: Path) -> Path:
    """The demo's job for the stretched yoke, without remarks on places that have moved."""
    import build123d as b

    (solid,) = yoke(stretch).solids()
    solid.label = "hinge_yoke"
    b.export_step(solid, str(folder / "hinge_yoke.step"), timestamp=demo.TIMESTAMP)
    text = (demo.HERE / "hinge_yoke.toml").read_text(encoding="utf-8")
    for x in (50.0, 24.0):
        text = text.replace(f"at = [{x}, ", f"at = [{x * stretch:.4f}, ")
    job = folder / "hinge_yoke.toml"
    job.write_text(text, encoding="utf-8")
    return job


def row_of(stretch: float) -> list[str]:
    """One line of the table."""
    with tempfile.TemporaryDirectory() as folder:
        data = verbs.plan(job_of(stretch, Path(folder)))
    best = data["plans"][0]
    sides: Counter[tuple[int, str]] = Counter()
    for s in best["design"]["stations"]:
        sides[s["operation"], s["side"]] += len(s["parts"])
    told = ", ".join(
        f"op {10 * (k + 1)}: {n} on {side} ({_rows(best, k, side)})" for (k, side), n in sorted(sides.items())
    )
    spare = min(
        (m for m in best["margins"] if m["check"] in SPACING), key=lambda m: m["have"] - m["need"], default=None
    )
    decides = "" if spare is None else (
        f"{spare['check']} {spare['have']:.2f} of {spare['need']:.2f} {spare['unit']}, {spare['subject']} to "
        f"{spare['obstacle']}"
    )  # fmt: skip
    carriers = " + ".join(
        f"{p['carrier']}" + (f", {p['sides']} sides at {p['apothem']:.0f} mm" if p["kind"] == "pallet" else "")
        for p in best["design"]["placings"]
    )
    count, cost = f"{best['parts_per_start']:g}", f"{best['cost_per_part']:.2f}"
    return [f"{62 * stretch:.1f}", carriers, count, cost, told, decides]


def _rows(best: dict[str, Any], operation: int, side: str) -> str:
    """Rows across × parts in the longest row, and its pitch in mm."""
    here = [s for s in best["design"]["stations"] if s["operation"] == operation and s["side"] == side]
    rows: dict[int, list[float]] = {}
    for s in here:
        rows.setdefault(round(s["y"] / 5.0), []).append(s["x"])
    longest = next(sorted(row) for row in rows.values() if len(row) == max(map(len, rows.values())))
    pitch = (longest[-1] - longest[0]) / (len(longest) - 1) if len(longest) > 1 else 0.0
    return f"{len(rows)} × {len(longest)}" + (f", {pitch:.1f} mm apart" if pitch else "")


def main(arguments: list[str] | None = None) -> int:
    """Print the table, or write the page."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--write", type=Path, help="the page to write")
    parser.add_argument("--lengths", type=float, nargs="+", default=[0.8, 1.0, 1.2], help="times the yoke's 62 mm")
    chosen = parser.parse_args(arguments)
    lines = ["| length, mm | carriers | parts a start | EUR a part | stations | what decides |"]
    lines.append("|---:|---|---:|---:|---|---|")
    for stretch in chosen.lengths:
        lines.append("| " + " | ".join(row_of(stretch)) + " |")
        print(lines[-1], flush=True)
    if chosen.write is not None:
        chosen.write.write_text(HEAD + "\n".join(lines) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
