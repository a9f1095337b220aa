"""Exact shapes in words, to be built by the CAD kernel and written as STEP."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from palletwright.solid.kernel import ask
from palletwright.solid.model import Floats
from palletwright.verdict import Vec

TIMESTAMP = "2026-01-01T00:00:00"  # the same file twice is the same bytes


@dataclass(frozen=True, slots=True)
class Block:
    """A block between two corners, mm."""

    lo: Vec
    hi: Vec


@dataclass(frozen=True, slots=True)
class Rod:
    """A cylinder, or a cone where `top_radius` is given, from `base` along `axis`, mm."""

    base: Vec
    axis: Vec
    radius: float
    height: float
    top_radius: float | None = None


@dataclass(frozen=True, slots=True)
class Extrusion:
    """A closed outline (x, y) in the plane z = `bottom`, raised to z = `top`, mm."""

    outline: tuple[tuple[float, float], ...]
    bottom: float
    top: float


@dataclass(frozen=True, slots=True)
class Exact:
    """A solid as read: `Solid.brep`."""

    brep: bytes


@dataclass(frozen=True, slots=True)
class Cut:
    """`body` without `tools`."""

    body: Shape
    tools: tuple[Shape, ...]


@dataclass(frozen=True, slots=True)
class Placed:
    """`shape` moved by a (4, 4) rigid transform in rows, mm."""

    shape: Shape
    transform: tuple[tuple[float, float, float, float], ...]


Shape = Block | Rod | Extrusion | Exact | Cut | Placed


def placed(shape: Shape, transform: Floats) -> Placed:
    """`shape` under a (4, 4) transform."""
    return Placed(shape, tuple((float(a), float(b), float(c), float(d)) for a, b, c, d in transform))


def write_step(
    path: Path | str, shapes: Sequence[tuple[str, Shape]], *, timestamp: str = TIMESTAMP, timeout: float = 120
) -> None:
    """Write named shapes as one STEP file (AP214, mm): one shape as a part, several as an assembly of parts.

    Parameters
    ----------
    shapes : pairs of a name and a shape.
    timestamp : ISO 8601 text that stands in the header.
    timeout : s, for the CAD kernel.

    Raises
    ------
    KernelFailure, Refused
        The kernel can't build or write a shape; the text names it.
    """
    if not shapes:
        raise ValueError("a STEP file needs at least one shape")
    title = Path(path).stem
    ask("write", timeout, path=str(path), shapes=list(shapes), timestamp=timestamp, title=title)


@dataclass(frozen=True, slots=True)
class RoundWall:
    """A hollow round wall: radius, a point of its axis and the axis, mm."""

    radius: float
    point: Vec
    axis: Vec


@dataclass(frozen=True, slots=True)
class Measured:
    """A solid that was read back: mm³, extents in mm, and its hollow round walls."""

    volume: float
    size: Vec
    walls: tuple[RoundWall, ...]


def write_measured(
    files: Sequence[tuple[Path | str, Sequence[tuple[str, Shape]]]],
    *,
    timestamp: str = TIMESTAMP,
    timeout: float = 300,
) -> list[list[Measured]]:
    """Write several STEP files as `write_step` does, in one child, and read each back: its solids, in the file's order.

    Raises as `write_step` does.
    """
    if not all(shapes for _, shapes in files):
        raise ValueError("a STEP file needs at least one shape")
    rows = [(str(path), list(shapes), Path(path).stem) for path, shapes in files]
    answer: list[list[Measured]] = ask("measure", timeout, files=rows, timestamp=timestamp)
    return answer
