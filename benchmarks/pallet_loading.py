"""The manufacturer's pallet loading problem against published optima.

    python -m benchmarks.pallet_loading FILE.csv [--csv] [--placements FILE.json] [--seconds 10]

The file has columns instance, L, W, l, w and optimum; the optimum may be blank and is only printed beside.
"""

from __future__ import annotations

import argparse
import csv
import json
import statistics
import sys
import time
from pathlib import Path

from palletwright.errors import Fault, InputError
from palletwright.layout.loading import Placement, pallet_loading

COLUMNS = ("instance", "count", "bound", "proven", "optimum", "seconds")
Row = tuple[str, int, int, bool, str, float]


def read(path: Path) -> list[tuple[str, tuple[float, float, float, float], str]]:
    """(instance, (L, W, l, w), optimum as written) of every row. Raises InputError with every fault."""
    if not path.is_file():
        raise InputError([Fault(str(path), "", "", "no such file", "a CSV file")])
    faults: list[Fault] = []
    rows = []
    with path.open(newline="", encoding="utf-8") as text:
        reader = csv.DictReader(text)
        missing = [c for c in ("instance", "L", "W", "l", "w") if c not in (reader.fieldnames or [])]
        if missing:
            raise InputError([Fault(str(path), c, "", "column is missing", "instance, L, W, l, w") for c in missing])
        for record in reader:
            sizes = []
            for key in ("L", "W", "l", "w"):
                try:
                    value = float(record[key])
                except (TypeError, ValueError):
                    value = -1.0
                if not 0 < value < float("inf"):
                    where = f"line {reader.line_num}, {key}"
                    faults.append(Fault(str(path), where, str(record[key]), "is no length", "a number > 0"))
                sizes.append(value)
            rows.append((record["instance"], (sizes[0], sizes[1], sizes[2], sizes[3]), record.get("optimum") or ""))
    if faults:
        raise InputError(faults)
    return rows


def solve(path: Path, seconds: float) -> tuple[list[Row], dict[str, list[Placement]]]:
    """Every instance solved within `seconds` each: result rows and placements by instance."""
    pallet_loading(34, 23, 5, 4, seconds=seconds)  # compiled kernels are loaded before the clock starts
    rows: list[Row] = []
    placements = {}
    for name, sizes, optimum in read(path):
        start = time.perf_counter()
        count, bound, proven, placed = pallet_loading(*sizes, seconds=seconds)
        rows.append((name, count, bound, proven, optimum, round(time.perf_counter() - start, 3)))
        placements[name] = list(placed)
    return rows, placements


def main(arguments: list[str] | None = None) -> int:
    """Print the table; 0 done, 2 bad input."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("file", type=Path)
    parser.add_argument("--csv", action="store_true", help="CSV on standard output and nothing else")
    parser.add_argument("--placements", type=Path, help="write [x, y, turned] of every instance as JSON")
    parser.add_argument("--seconds", type=float, default=10.0, help="limit for each instance")
    chosen = parser.parse_args(arguments)
    try:
        rows, placements = solve(chosen.file, chosen.seconds)
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    if chosen.placements is not None:
        chosen.placements.write_text(json.dumps(placements) + "\n", encoding="utf-8")
    if chosen.csv:
        writer = csv.writer(sys.stdout, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows(rows)
    else:
        _table(rows)
    return 0


def _table(rows: list[Row]) -> None:
    print(f"{'instance':36}{'count':>6}{'bound':>6}  proven {'optimum':>8}{'seconds':>9}")
    for name, count, bound, proven, optimum, seconds in rows:
        print(f"{name:36}{count:6}{bound:6}  {'yes' if proven else 'no':6} {optimum or '-':>8}{seconds:9.3f}")
    known = [(c, b, int(o)) for _, c, b, _, o, _ in rows if o]
    met = sum(c == o for c, _, o in known)
    low = sum(b < o for _, b, o in known)
    share = 100.0 * sum(r[3] for r in rows) / max(1, len(rows))
    times = [r[5] for r in rows] or [0.0]
    print(f"{met} of {len(known)} optima met, {share:.1f} % proven, {low} bounds below the optimum,")
    print(f"median {statistics.median(times):.3f} s, longest {max(times):.2f} s")


if __name__ == "__main__":
    sys.exit(main())
