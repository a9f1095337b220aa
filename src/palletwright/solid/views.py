"""Line drawings of exact shapes: what is seen along a direction, and what is hidden."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from palletwright.cache import cached
from palletwright.solid.kernel import ask
from palletwright.solid.model import Floats
from palletwright.solid.primitives import Shape

Lines = tuple[Floats, ...]

SIDES: dict[str, tuple[tuple[int, int, int], tuple[int, int, int]]] = {
    "top": ((0, 0, 1), (1, 0, 0)),
    "below": ((0, 0, -1), (1, 0, 0)),
    "front": ((0, -1, 0), (1, 0, 0)),
    "back": ((0, 1, 0), (-1, 0, 0)),
    "right": ((1, 0, 0), (0, 1, 0)),
    "left": ((-1, 0, 0), (0, -1, 0)),
}
"""For each side the direction towards the viewer, and the one that points right on the sheet."""


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """A drawing in mm: x to the right, y up, the origin of the file's frame at (0, 0).

    visible, hidden, tangent : polylines (n, 2): sharp edges and outlines that are seen, those behind, and the seen
    edges between faces that meet smoothly. frame : (3, 3), columns right, up, towards the viewer, in the file's frame.
    """

    name: str
    frame: Floats
    visible: Lines
    hidden: Lines
    tangent: Lines

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """x0, y0, x1, y1 of the visible lines, mm."""
        points = np.concatenate(self.visible)
        low, high = points.min(axis=0), points.max(axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def side_frame(towards: Sequence[float], right: Sequence[float]) -> Floats:
    """(3, 3): columns right, up and towards the viewer."""
    z, x = np.asarray(towards, np.float64), np.asarray(right, np.float64)
    z = z / np.linalg.norm(z)
    x = x - (x @ z) * z
    length = float(np.linalg.norm(x))
    if not length > 1e-9:
        raise ValueError("the direction to the right can't lie along the view")
    x = x / length
    return np.stack([x, np.cross(z, x), z], axis=1)


def outline_views(
    shapes: Sequence[Shape],
    frames: Mapping[str, Floats] | None = None,
    *,
    chord: float = 0.05,
    timeout: float = 120,
) -> tuple[View, ...]:
    """Hidden-line drawings of some shapes standing together.

    Parameters
    ----------
    shapes : exact shapes (`primitives`); `Exact(solid.brep)` for a solid that was read.
    frames : for each view's name its (3, 3) frame as in `View`; default: top, front and right.
    chord : mm, the most that a polyline departs from its curve.
    timeout : s, for the CAD kernel: milliseconds for one part, seconds for an assembly of 25.

    Raises KernelFailure or Refused where the kernel can't draw it.
    """
    wanted = dict(frames) if frames else {name: side_frame(*SIDES[name]) for name in ("top", "front", "right")}
    rows = cached(
        "solid",
        ("views", list(shapes), wanted, chord),
        lambda: ask("views", timeout, shapes=list(shapes), frames=wanted, chord=chord),
    )
    return tuple(View(name, wanted[name], *rows[name]) for name in wanted)
