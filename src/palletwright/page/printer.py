"""Papers are printed in a child: they need the kernel and seconds, and the page must go on answering."""

from __future__ import annotations

import io
import tempfile
import traceback
import zipfile
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from palletwright.errors import Fault, InputError
from palletwright.page.children import Child
from palletwright.page.desks import DeskFailed

PROCESSOR_SECONDS = 300
"""s of the processor that printing may take."""
SECONDS = 1800.0
"""s by the clock after which printing is given up, however busy the machine is with other work."""


def printed(data: dict[str, Any], how: dict[str, Any]) -> bytes:
    """A zip of every paper. `how`: the keyword arguments of `write_papers`.

    Raises InputError with the faults that the papers found, DeskFailed where they broke off.
    """
    child = Child(__name__, data, how)
    try:
        if not child.pipe.poll(SECONDS):
            raise DeskFailed(f"the papers took longer than {SECONDS:.0f} s")
        kind, answer = child.pipe.recv()
    except EOFError:
        text = f"printing stopped without an answer; it may take {PROCESSOR_SECONDS} s of the processor"
        raise DeskFailed(text) from None
    finally:
        child.end()
    if kind == "faults":
        raise InputError([Fault(*f) for f in answer])
    if kind == "failed":
        raise DeskFailed(f"the papers could not be written: {answer}")
    blob: bytes = answer
    return blob


def run(pipe: Connection, data: dict[str, Any], how: dict[str, Any]) -> None:
    """In the child."""
    import resource

    resource.setrlimit(resource.RLIMIT_CPU, (PROCESSOR_SECONDS, PROCESSOR_SECONDS + 5))
    from palletwright.papers import write_papers

    try:
        with tempfile.TemporaryDirectory(prefix="palletwright-") as name:
            write_papers(data, Path(name), **how)
            out = io.BytesIO()
            with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as pack:
                for file in sorted(p for p in Path(name).rglob("*") if p.is_file()):
                    pack.write(file, file.relative_to(name).as_posix())
        pipe.send(("papers", out.getvalue()))
    except InputError as error:
        pipe.send(("faults", [(f.file, f.key, f.value, f.problem, f.allowed) for f in error.faults]))
    except Exception as error:
        traceback.print_exc()
        pipe.send(("failed", f"{type(error).__name__}: {error}"))
