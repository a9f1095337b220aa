"""Pockets in the carrier where a tool runs out of the part's base, as bodies that can be cut from it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from palletwright.grip.bodies import prism
from palletwright.grip.model import Relief
from palletwright.grip.seats import cut_outs
from palletwright.grip.work import Work
from palletwright.solid.bodies import from_manifold, manifold
from palletwright.solid.model import Floats, Mesh

STEP = 1.0  # mm: depths are rounded up to it, so that few pockets of different depth are milled; our own choice
LEVELS = 3  # depths at most; our own choice
GRID = 0.75  # mm: pockets are wider than the floor asks by what a reach check on a 0.5 mm grid may take off (√2·pitch)
SKIN = 0.5  # mm by which what is milled away stands over the face
ROUND = 0.02  # share of the radius by which a round pocket's rim may depart from its circle


def reliefs(work: Work, lift: float, shift: Floats) -> tuple[Relief, ...]:
    """The pockets under one part whose base stands `lift` mm over the carrier's face; `shift` (3,) to the station.

    Each is as deep as the lowest tool over it, by the floor kept below a tool and the error of its measured length,
    and as wide as the tools by the floor kept beside them.
    """
    lowest = [s.discs[:, 2] for s in work.swept if s.straight]
    heights = np.unique(np.ceil((work.vertical - lift - np.concatenate(lowest or [np.zeros(0)])) / STEP - 1e-6)) * STEP
    depths = heights[heights > 0.0][::-1]
    if len(depths) > LEVELS:
        depths = depths[np.unique(np.linspace(0, len(depths) - 1, LEVELS).round().astype(int))]
    made: list[Relief] = []
    taken: BaseGeometry = shapely.Polygon()
    for k, depth in enumerate(depths):
        next_level = depths[k + 1] if k + 1 < len(depths) else 0.0
        area = cut_outs(work, work.vertical - lift - float(next_level), work.lateral + GRID)
        for piece in shapely.get_parts(area.difference(taken)):
            if piece.area > 1e-3:
                made.append(_relief(shapely.affinity.translate(piece, float(shift[0]), float(shift[1])), float(depth)))
        taken = area
    return tuple(made)


def _relief(outline: BaseGeometry, depth: float) -> Relief:
    x0, y0, x1, y1 = outline.bounds
    centre = np.array([(x0 + x1) / 2.0, (y0 + y1) / 2.0])
    radii = np.hypot(*(shapely.get_coordinates(outline) - centre).T)
    is_round = float(np.ptp(radii)) < ROUND * float(radii.max()) and not len(outline.interiors)
    return Relief(
        (float(centre[0]), float(centre[1])),
        (float(x1 - x0), float(y1 - y0)),
        depth,
        2.0 * float(radii.max()) if is_round else None,
        prism(outline, -depth, SKIN),
    )


def half_turned(relief: Relief, half: Floats) -> Relief:
    """The same pocket under the module's second part; `half` (4, 4) turns the first part onto it."""
    x, y = (half @ np.array([*relief.at, 0.0, 1.0]))[:2]
    return Relief((float(x), float(y)), relief.size, relief.depth, relief.diameter, relief.mesh.moved(half))


def relieved(body: Mesh, pockets: Sequence[tuple[Floats, Relief]]) -> Mesh:
    """A carrier's body with its pockets milled.

    Parameters
    ----------
    body : closed mesh in the carrier's frame, mm
    pockets : (T_carrier_station (4, 4), relief) for every relief of every station on the carrier
    """
    if not pockets:
        return body
    solid = manifold(body)
    for pose, relief in pockets:
        solid = solid - manifold(relief.mesh.moved(pose))
    return from_manifold(solid, body.chord_error)
