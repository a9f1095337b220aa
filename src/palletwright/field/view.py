"""A mesh seen along a direction as a height field, on a grid that all fields of one pitch and frame share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from palletwright.field.frame import frame_of
from palletwright.field.raster import raster, raster_bottom
from palletwright.solid.model import Mesh

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class HeightField:
    """Heights along a view on a grid.

    z : (ny, nx) mm, -inf where empty; z[j, i] is never below the body's true height anywhere in the cell
    origin : (2,) mm, outer corner of cell (0, 0) in the view's u, v; a whole multiple of the pitch
    pitch : mm
    frame : (3, 3) rows u, v, w
    error : mm that were added to the mesh's height and outline for its chord error
    """

    z: Floats
    origin: Floats
    pitch: float
    frame: Floats
    error: float = 0.0

    def __post_init__(self) -> None:
        if self.z.ndim != 2 or self.origin.shape != (2,) or self.frame.shape != (3, 3):
            raise ValueError(f"z {self.z.shape}, origin {self.origin.shape} and frame {self.frame.shape} don't fit")

    @property
    def index(self) -> tuple[int, int]:
        """(j, i) of cell (0, 0) in the grid that starts at the view's origin."""
        i, j = np.rint(self.origin / self.pitch).astype(int)
        return int(j), int(i)

    def centres(self) -> tuple[Floats, Floats]:
        """u of the columns' centres (nx,) and v of the rows' centres (ny,), mm."""
        ny, nx = self.z.shape
        return (
            self.origin[0] + (np.arange(nx) + 0.5) * self.pitch,
            self.origin[1] + (np.arange(ny) + 0.5) * self.pitch,
        )


def grid_over(low: Floats, high: Floats, pitch: float, margin: float = 0.0) -> tuple[Floats, tuple[int, int]]:
    """Origin (2,) and shape (ny, nx) of the aligned grid that covers [low, high] (2,) with `margin` mm around."""
    first = np.floor((np.asarray(low)[:2] - margin) / pitch + 1e-9)
    last = np.ceil((np.asarray(high)[:2] + margin) / pitch - 1e-9)
    nx, ny = np.maximum(last - first, 1).astype(int)
    return np.asarray(first * pitch), (int(ny), int(nx))


def view(
    mesh: Mesh,
    direction: Sequence[float] | Floats,
    pitch: float,
    *,
    margin: float = 0.0,
    origin: Floats | None = None,
    shape: tuple[int, int] | None = None,
    bottom: bool = False,
    grow: float = 0.0,
) -> HeightField:
    """The mesh's greatest height along `direction` in every cell, never below the true solid's.

    Parameters
    ----------
    direction : (3,) from the part towards the spindle, or a (3, 3) frame as `frame_of` gives it
    pitch : mm
    margin : mm of empty cells around
    origin, shape : both or neither: the grid to use; by default the aligned grid around the mesh
    bottom : the least height instead (+inf where empty; never above the true one)
    grow : mm by which the outline is widened further, for a place that is known no better

    The chord error of the mesh widens the outline and lifts the height, so it covers the true surface too.
    """
    given = np.asarray(direction, dtype=np.float64)
    frame = given if given.shape == (3, 3) else frame_of(given)
    corners = mesh.corners @ frame.T
    if origin is None or shape is None:
        flat = corners.reshape(-1, 3)
        origin, shape = grid_over(flat.min(axis=0), flat.max(axis=0), pitch, margin + mesh.chord_error + grow)
    heights = (raster_bottom if bottom else raster)(corners, origin, shape, pitch, grow=mesh.chord_error + grow)
    heights += -mesh.chord_error if bottom else mesh.chord_error
    return HeightField(heights, np.array(origin, dtype=np.float64), float(pitch), frame, mesh.chord_error)


def joined(fields: Sequence[HeightField]) -> HeightField:
    """The greatest height of several fields of one pitch and frame, on the grid that covers them all."""
    pitch, frame = fields[0].pitch, fields[0].frame
    if any(abs(f.pitch - pitch) > 1e-12 or not np.allclose(f.frame, frame, atol=1e-12) for f in fields):
        raise ValueError("only fields of one pitch and one frame can be joined")
    at = np.array([f.index for f in fields])
    first = at.min(axis=0)
    shape = (at + np.array([f.z.shape for f in fields])).max(axis=0) - first
    out = np.full(tuple(shape), -np.inf)
    for (j, i), f in zip(at - first, fields, strict=True):
        part = out[j : j + f.z.shape[0], i : i + f.z.shape[1]]
        np.maximum(part, f.z, out=part)
    return HeightField(out, first[::-1] * pitch, pitch, frame, max(f.error for f in fields))
