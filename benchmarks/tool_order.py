"""Sequential ordering instances against their published optima.

`python -m benchmarks.tool_order FILE.sop… [--csv] [--tours FILE.json] [--seconds S] [--effort E] [--seed N]` prints
instance, cost, bound, published best (from `optima.csv` beside the file, where there is one) and seconds.
"""

from __future__ import annotations

import argparse
import csv
import json
import sys
import time
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from palletwright.cycle.sequential import sequential_order
from palletwright.errors import Fault, InputError

COLUMNS = ("instance", "cost", "bound", "optimum", "seconds")


def read_sop(file: Path) -> tuple[str, NDArray[np.float64], NDArray[np.bool_]]:
    """Name, costs (n, n) and precedence (n, n) of a TSPLIB 95 sequential ordering file.

    -1 at row a, column b means that b must stand before a. The first node is first, the last one last.
    """
    _, _, body = file.read_text(encoding="utf-8", errors="replace").partition("EDGE_WEIGHT_SECTION")
    words = body.split("EOF")[0].split()
    try:
        numbers = np.array([float(word) for word in words])
        n = int(numbers[0]) if len(numbers) else 0
        if n < 1 or len(numbers) != n * n + 1:
            raise ValueError(f"{len(numbers)} numbers")
    except ValueError as error:
        allowed = "a dimension n and then n × n whole numbers"
        raise InputError([Fault(str(file), "EDGE_WEIGHT_SECTION", str(error), "no full matrix", allowed)]) from error
    weights = numbers[1:].reshape(n, n)
    before = (weights.T < 0) & ~np.eye(n, dtype=bool)
    before[0, 1:] = True
    before[:-1, n - 1] = True
    return file.stem, np.maximum(weights, 0.0), before


def published(file: Path) -> dict[str, int]:
    """Published best cost by instance, from the `optima.csv` that stands beside `file`."""
    table = file.parent / "optima.csv"
    if not table.exists():
        return {}
    with table.open(encoding="utf-8", newline="") as rows:
        return {row["instance"]: int(row["published_best"]) for row in csv.DictReader(rows)}


def main(arguments: list[str] | None = None) -> int:
    """Solve every file named and print one line for each."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.tool_order", description=__doc__)
    parser.add_argument("files", nargs="+", type=Path)
    parser.add_argument("--csv", action="store_true", help=f"columns {','.join(COLUMNS)}")
    parser.add_argument("--tours", type=Path, help="write each instance's order of nodes, from 0, as JSON")
    parser.add_argument("--seconds", type=float, default=45.0, help="clock limit for one instance")
    parser.add_argument("--effort", type=float, default=2.5, help="multiplies the work of the search")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    tours: dict[str, list[int]] = {}
    form = "{},{},{},{},{}" if options.csv else "{:<12} {:>10} {:>10} {:>10} {:>8}"
    print(form.format(*COLUMNS))
    for file in options.files:
        try:
            name, cost, before = read_sop(file)
        except (InputError, OSError) as error:
            print(error, file=sys.stderr)
            return 2
        begin = time.perf_counter()
        order, value, bound = sequential_order(
            cost, before, seconds=options.seconds, seed=options.seed, effort=options.effort
        )
        took = time.perf_counter() - begin
        tours[name] = list(order)
        best = published(file).get(name, "")
        print(form.format(name, round(value), round(bound), best, f"{took:.2f}"), flush=True)
    if options.tours:
        options.tours.write_text(json.dumps(tours), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
