"""A STEP file to one solid, with every way in which that can go wrong said in words."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from palletwright.cache import cached
from palletwright.errors import Fault, SolidError
from palletwright.solid.kernel import KernelFailure, Refused, ask
from palletwright.solid.model import Solid


def read_step(path: Path | str, solid: int | None = None, *, chord: float | None = None, timeout: float = 60) -> Solid:
    """One solid of a STEP file (AP203, AP214, AP242; any unit), in mm, with a closed mesh and its faces.

    Parameters
    ----------
    path : the STEP file.
    solid : which solid of the file, counted from 1; needed where there are several.
    chord : mm, the most that the mesh may depart from the surface; default 1/5000 of the diagonal, 0.01 to 0.1.
    timeout : s, for the CAD kernel; a file that was read before comes from the cache.

    Raises
    ------
    SolidError
        The file is missing, empty, no STEP, cut short, or holds no solid or several; its surface doesn't close; its
        size can't be a machined part's.
    """
    path = Path(path)
    checked(path)
    try:
        answer = cached("solid", ("read", path, path.stem, solid, chord), lambda: asked(path, solid, chord, timeout))
    except Refused as reason:
        raise wrong(path, "", "", str(reason), "a STEP file with one closed solid") from None
    except KernelFailure as failure:
        raise wrong(path, "", "", str(failure), "a STEP file that the CAD kernel can read") from None
    if "bad_size" in answer:
        raise bad_size(path, answer["bad_size"], answer["unit"])
    if "sizes" in answer:
        raise choice(path, solid, answer["sizes"])
    return Solid(**answer)


def asked(path: Path, solid: int | None, chord: float | None, timeout: float) -> dict[str, Any]:
    """The kernel's answer, its arrays read-only again after the way between processes."""
    answer: dict[str, Any] = ask("read", timeout, path=str(path), solid=solid, chord=chord)
    return answer | {"mesh": replace(answer["mesh"])} if "mesh" in answer else answer


def wrong(path: Path, key: str, value: str, problem: str, allowed: str = "") -> SolidError:
    """A SolidError with one fault."""
    return SolidError([Fault(str(path), key, value, problem, allowed)])


def checked(path: Path) -> None:
    """Raise SolidError for what can be told without the kernel: missing, empty, not STEP, cut short."""
    if not path.exists():
        raise wrong(path, "", "", "no such file", "the path of a STEP file (.step, .stp)")
    if not path.is_file():
        raise wrong(path, "", "", "isn't a file", "the path of a STEP file (.step, .stp)")
    try:
        data = path.read_bytes()
    except OSError as error:
        raise wrong(path, "", "", f"can't be read: {error.strerror}", "a file that may be read") from error
    if not data.strip():
        raise wrong(path, "", "", "the file is empty", "a STEP file with one closed solid")
    if b"ISO-10303-21" not in data[:2000]:
        begin = data[:24].decode("latin-1").splitlines()[0]
        raise wrong(path, "", "", f"isn't a STEP file: it begins with {begin!r}", "a file that begins 'ISO-10303-21;'")
    if b"END-ISO-10303-21" not in data[-2000:]:
        raise wrong(path, "", "", f"is cut short after {len(data)} bytes", "a file that ends 'END-ISO-10303-21;'")


def size_text(size: tuple[float, float, float]) -> str:
    """A size in words, mm."""
    return " x ".join(f"{s:.6g}" for s in size) + " mm"


def choice(path: Path, solid: int | None, sizes: list[tuple[float, float, float]]) -> SolidError:
    """The error of a choice that is open or wrong: what there is, and how to choose."""
    each = ", ".join(f"{k}: {size_text(size)}" for k, size in enumerate(sizes, start=1))
    problem = f"the file holds {len(sizes)} solids ({each})" if len(sizes) > 1 else f"the file holds one solid ({each})"
    value = "not given" if solid is None else str(solid)
    return wrong(path, "solid", value, problem, f"solid = 1..{len(sizes)}" if len(sizes) > 1 else "solid = 1 or none")


def bad_size(path: Path, size: tuple[float, float, float], unit: str) -> SolidError:
    """The error of a size that no machined part has."""
    what = "over 10 m" if max(size) > 1 else "nothing"
    problem = f"the solid measures {what}: likely a wrong unit in the file (its unit is {unit})"
    return wrong(path, "size", size_text(size), problem, "0.001 mm to 10 m; export again in mm")
