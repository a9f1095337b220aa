"""A dropped STEP file: its name made harmless, read in a process of its own with limits, turned into a picture."""

from __future__ import annotations

import hashlib
import json
import re
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from palletwright.errors import Fault, InputError
from palletwright.page.children import Child
from palletwright.page.store import Store, found
from palletwright.page.tables import PartRow

ENDINGS = (".step", ".stp", ".p21")
SECONDS = 60.0
"""s of the processor that reading may take, the start of the process included."""
WAIT = 240.0
"""s by the clock after which reading is given up, however busy the machine is with other work."""
MEMORY = 6_000_000_000
"""bytes of address space that reading may take; the kernel's libraries alone map about one."""


@dataclass(frozen=True)
class Read:
    """What reading gave: plain facts, and the picture."""

    info: dict[str, Any]
    glb: bytes


def harmless(name: str) -> str:
    """A file name without folders, control signs or length; its ending is checked.

    Raises InputError for another ending than a STEP file's.
    """
    last = re.split(r"[/\\]", name)[-1]
    clean = re.sub(r"[^\w .+()-]", "_", last).strip(" .")[-100:]
    stem, dot, ending = clean.rpartition(".")
    if not dot or not stem.strip() or f".{ending.lower()}" not in ENDINGS:
        raise InputError([Fault(clean or "the file", "", "", "isn't named as a STEP file", ", ".join(ENDINGS))])
    return clean


def read_part(name: str, data: bytes, solid: int | None = None) -> Read:
    """Read a STEP file's bytes in a child with limits on time and memory.

    Raises InputError with the faults that reading found.
    """
    with tempfile.TemporaryDirectory(prefix="palletwright-") as folder:
        file = Path(folder) / name
        file.write_bytes(data)
        child = Child("palletwright.page.reader", str(file), solid, (SECONDS, MEMORY, WAIT))
        try:
            if not child.pipe.poll(WAIT):
                raise InputError([Fault(name, "", "", f"took longer than {WAIT:.0f} s to read", "a simpler solid")])
            kind, answer = child.pipe.recv()
        except EOFError:
            limit = f"within {MEMORY / 1e9:.0f} GB of memory and {SECONDS:.0f} s of the processor"
            raise InputError([Fault(name, "", "", "could not be read: the reader stopped", limit)]) from None
        finally:
            child.end()
    if kind == "faults":
        raise InputError([Fault(name, *rest) for _, *rest in answer])
    return Read(*answer)


def kept_part(store: Store, name: str, data: bytes, solid: int | None) -> PartRow:
    """The part of these bytes in the store, read where it wasn't before.

    Raises InputError with the faults that reading found.
    """
    name = harmless(name)
    id = hashlib.sha256(data + f"\0{name}\0{solid}".encode()).hexdigest()
    with store.session() as session:
        row = session.get(PartRow, id)
    if row is None:
        read = read_part(name, data, solid)
        row = PartRow(id=id, name=name, step=data, glb=read.glb, info=json.dumps(read.info))
        with store.session() as session:
            session.merge(row)
    return row


def part_file(store: Store, id: str, folder: Path) -> Path:
    """The STEP file of a kept part, written out for the rooms that read files.

    Raises NotThere.
    """
    with store.session() as session:
        row = found(session, PartRow, id)
        file = folder / id[:16] / row.name
        if not file.exists():
            file.parent.mkdir(parents=True, exist_ok=True)
            part = file.with_suffix(".part")
            part.write_bytes(row.step)
            part.replace(file)
    return file
