"""All benchmarks one after the other, or those named: `python -m benchmarks [NAME ...]`."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path


def main(wanted: list[str]) -> int:
    """Run each in a process of its own, so that none warms another; the number that failed."""
    known = sorted(file.stem for file in Path(__file__).parent.glob("*.py") if not file.stem.startswith("__"))
    unknown = [name for name in wanted if name not in known]
    if unknown:
        print(f"no benchmark is called {', '.join(unknown)}; there are {', '.join(known)}", file=sys.stderr)
        return 2
    failed = 0
    for name in wanted or known:
        print(f"== {name}", flush=True)
        failed += subprocess.run([sys.executable, "-m", f"benchmarks.{name}"], check=False).returncode != 0
    return failed


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
