"""The blank that a part is cut from, as a closed mesh in the part file's frame."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
import shapely

from palletwright.errors import Fault, SolidError
from palletwright.solid.bodies import box, cylinder, subtract
from palletwright.solid.frame import part_frame
from palletwright.solid.model import Floats, Mesh, Solid
from palletwright.solid.reading import read_step
from palletwright.verdict import Vec

if TYPE_CHECKING:
    from palletwright.job.model import Blank

Side = Literal["largest", "smallest", "nominal"]
BAR_SEGMENTS = 96  # facets of a round bar: at 100 mm diameter they stand 0.03 mm outside
TOUCH = 1e-6  # mm


def stock_mesh(solid: Solid, blank: Blank, *, side: Side = "nominal", grip_side: Vec | None = None) -> Mesh:
    """The blank of `solid` as a closed mesh, mm.

    block: around the part along its own axes (`part_frame`), with `allowance` on each face; `size` counts along the
    part file's x, y, z and is centred on the part. round: along the own axis that needs the least bar, `size` as
    diameter on two of x, y, z and length on the third; its facets stand outside the true bar. file: the blank's own
    STEP, in the part's frame. finished: the bounding block with nothing to remove. `grip_stock` is added on the
    side that looks towards `grip_side`, by default below the part along its shortest own axis.

    Parameters
    ----------
    side : the blank at its largest, smallest (± `tolerance` on each size, the change shared by both faces) or nominal
        size; a blank from a file has one size.

    Raises
    ------
    SolidError
        The part doesn't fit into the blank; the message says by how much.
    """
    if blank.kind == "file":
        return from_file(solid, blank)
    slack = (
        0.0 if blank.kind == "finished" else blank.tolerance / 2 * {"largest": 1, "smallest": -1, "nominal": 0}[side]
    )
    if blank.kind == "round":
        return round_bar(solid, blank, slack, grip_side)
    return block(solid, blank, slack, grip_side)


def block(solid: Solid, blank: Blank, slack: float, grip_side: Vec | None) -> Mesh:
    """A rectangular blank; `slack` is added on each face, mm."""
    frame = np.eye(3) if blank.size else part_frame(solid)
    span = solid.mesh.vertices @ frame
    low, high = span.min(axis=0), span.max(axis=0)
    if blank.size:
        half = np.array(blank.size) / 2
        middle = (low + high) / 2
        outer_low, outer_high = middle - half - slack, middle + half + slack
    else:
        room = (0.0 if blank.kind == "finished" else blank.allowance) + slack
        outer_low, outer_high = low - room, high + room
    fits(solid, np.concatenate([low - outer_low, outer_high - high]), blank)
    axis, upward = grip_end(part_frame(solid), frame, grip_side)
    if upward:
        outer_high[axis] += blank.grip_stock
    else:
        outer_low[axis] -= blank.grip_stock
    return turned(box(outer_low, outer_high), frame)


def turned(mesh: Mesh, frame: Floats) -> Mesh:
    """A mesh given in `frame`, in the file's frame."""
    transform = np.eye(4)
    transform[:3, :3] = frame
    return mesh.moved(transform)


def grip_end(own: Floats, frame: Floats, grip_side: Vec | None) -> tuple[int, bool]:
    """Which axis of `frame` the grip stock lies along, and whether at its high end."""
    towards = (-own[:, 2] if grip_side is None else np.asarray(grip_side, np.float64)) @ frame
    axis = int(np.argmax(np.abs(towards)))
    return axis, bool(towards[axis] > 0)


def fits(solid: Solid, room: Floats, blank: Blank) -> None:
    """Raise SolidError where the room on any side is negative, mm."""
    short = -float(np.min(room))
    if short <= TOUCH:
        return
    size = " x ".join(f"{s:.6g}" for s in blank.size) + " mm" if blank.size else f"allowance {blank.allowance:g} mm"
    part = " x ".join(f"{s:.6g}" for s in np.ptp(solid.mesh.bounds, axis=0))
    problem = (
        f"the part ({part} mm) stands out of the blank by {short:.3g} mm on a side (tolerance ±{blank.tolerance:g} mm)"
    )
    raise SolidError([Fault(solid.name, "blank", size, problem, "a blank that holds the part at its smallest size")])


def round_bar(solid: Solid, blank: Blank, slack: float, grip_side: Vec | None) -> Mesh:
    """A bar along the own axis that needs the least metal; `slack` is added on radius and ends, mm."""
    frame = np.eye(3) if blank.size else part_frame(solid)
    own = part_frame(solid)
    bars = [bar_along(solid, frame[:, k]) for k in range(3)]
    room = blank.allowance + slack
    if blank.size:
        axis, diameter = bar_size(solid, blank)
        centre, radius, low, high = bars[axis]
        outer, middle = diameter / 2 + slack, (low + high) / 2
        bottom, top = middle - blank.size[axis] / 2 - slack, middle + blank.size[axis] / 2 + slack
    else:
        axis = min(range(3), key=lambda k: round((bars[k][1] + room) ** 2 * (bars[k][3] - bars[k][2] + 2 * room), 6))
        centre, radius, low, high = bars[axis]
        outer, bottom, top = radius + room, low - room, high + room
    fits(solid, np.array([outer - radius, low - bottom, top - high]), blank)
    along = frame[:, axis]
    upward = float((-own[:, 2] if grip_side is None else np.asarray(grip_side)) @ along) > 0
    bottom, top = (bottom, top + blank.grip_stock) if upward else (bottom - blank.grip_stock, top)
    return cylinder(centre + along * bottom, along, outer, top - bottom, True, BAR_SEGMENTS)


def bar_along(solid: Solid, axis: Floats) -> tuple[Floats, float, float, float]:
    """The least bar along `axis`: a point of its axis in the plane through the origin, radius, both ends, mm."""
    plane = np.linalg.svd(axis[None, :])[2][1:].T
    points = solid.mesh.vertices @ plane
    centre = shapely.get_coordinates(shapely.minimum_bounding_circle(shapely.MultiPoint(points)).centroid)[0]
    radius = float(np.linalg.norm(points - centre, axis=1).max())
    along = solid.mesh.vertices @ axis
    return plane @ centre, radius, float(along.min()), float(along.max())


def bar_size(solid: Solid, blank: Blank) -> tuple[int, float]:
    """The axis (0, 1, 2) and diameter of a bar whose size is given along x, y, z."""
    assert blank.size is not None
    alike = [k for k in range(3) if abs(blank.size[(k + 1) % 3] - blank.size[(k + 2) % 3]) < TOUCH]
    if not alike:
        size = " x ".join(f"{s:.6g}" for s in blank.size)
        problem = "a round bar needs the same diameter on two axes"
        raise SolidError([Fault(solid.name, "blank.size", size, problem, "for instance 40 x 40 x 120: bar along z")])
    longest = max(alike, key=lambda k: blank.size[k] if blank.size else 0.0)
    return longest, blank.size[(longest + 1) % 3]


def from_file(solid: Solid, blank: Blank) -> Mesh:
    """The blank's own STEP; it must hold the part."""
    assert blank.file is not None, "the job's own check"
    stock = read_step(blank.file)
    outside = subtract(solid.mesh, stock.mesh)
    area = sum(f.area for f in solid.faces)
    doubt = area * (solid.mesh.chord_error + stock.mesh.chord_error) + 1e-6 * solid.volume
    if len(outside.triangles) and outside.volume > doubt:
        problem = (
            f"{outside.volume:.4g} mm³ of the part stand out of the blank, "
            f"from {np.round(outside.bounds[0], 2).tolist()} to {np.round(outside.bounds[1], 2).tolist()} mm"
        )
        raise SolidError([Fault(str(blank.file), "blank.file", stock.name, problem, "a blank in the part's own frame")])
    return stock.mesh
