"""What holes and reliefs of a carrier share where they meet: their volumes by formula count it twice."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from palletwright.papers.carriers import CarrierModel, side_poses_of
from palletwright.papers.holes import MOUTH, Hole
from palletwright.papers.relief import Pocket
from palletwright.solid import Mesh, cylinder, frustum, prism, subtract, union

FACETS = 96
"""Facets of a round in these volumes."""


def shared_volume(model: CarrierModel) -> tuple[float, float]:
    """mm³ that formulas take away twice, never above and never below: the sum of all holes and reliefs less their
    union, with facets inside the rounds and outside them. What bodies share grows with each of them, so that the true
    value lies between."""
    low, high = (_shared(model, outside) for outside in (False, True))
    return low, high


def _shared(model: CarrierModel, outside: bool) -> float:
    bodies = [_hole(h, outside) for h in model.holes] + [_relief(p, model, outside) for p in model.pockets]
    if len(bodies) < 2:
        return 0.0
    return max(0.0, sum(b.volume for b in bodies) - union(bodies).volume)


def _hole(hole: Hole, outside: bool) -> Mesh:
    """Bore, counterbore and broken mouth as one."""
    at, into = np.asarray(hole.at), np.asarray(hole.into)
    rods: list[Mesh] = [cylinder(at, into, hole.diameter / 2, hole.depth, outside, FACETS)]
    if hole.sunk:
        rods.append(cylinder(at, into, hole.sunk[0] / 2, hole.sunk[1], outside, FACETS))
    r = hole.widest / 2
    rods.append(frustum(at, into, (r + MOUTH, r), MOUTH, outside, FACETS))
    return union(rods)


def _relief(pocket: Pocket, model: CarrierModel, outside: bool) -> Mesh:
    pose = side_poses_of(model.carrier, model.placing)[pocket.side]
    if pocket.diameter is not None:
        x, y = pocket.centre
        rod = cylinder((x, y, -pocket.depth), (0.0, 0.0, 1.0), pocket.diameter / 2, pocket.depth, outside, FACETS)
        return rod.moved(pose)
    rings: Sequence[np.ndarray] = (pocket.outline, *pocket.islands)
    body, *islands = (prism(_left(r), (0.0, 0.0, -pocket.depth), (0.0, 0.0, 1.0), pocket.depth) for r in rings)
    return (subtract(body, *islands) if islands else body).moved(pose)


def _left(ring: np.ndarray) -> np.ndarray:
    """The ring counter-clockwise."""
    x, y = ring[:, 0], ring[:, 1]
    area = float(x @ np.roll(y, -1) - y @ np.roll(x, -1))
    return ring if area > 0 else ring[::-1]
