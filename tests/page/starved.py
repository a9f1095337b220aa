"""In a child: the reader with less memory than its libraries need, on a file that no cache knows."""

from __future__ import annotations

import os
import tempfile
from multiprocessing.connection import Connection
from pathlib import Path

from palletwright.demo import demo_job
from palletwright.page import reader

BYTES = 350_000_000


def run(pipe: Connection) -> None:
    os.environ["PALLETWRIGHT_CACHE"] = "off"
    step = demo_job("hinge_yoke").with_suffix(".step").read_bytes()
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "never_read_before.step"
        file.write_bytes(step.replace(b"hinge_yoke", b"starved"))
        try:
            reader.run(pipe, str(file), None, (60.0, BYTES, 240.0))
        except (MemoryError, ImportError, OSError):
            pipe.send(("faults", "memory"))
