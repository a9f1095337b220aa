"""Round walls for what presses on them: bores open at the base, round outlines, and a stop against turning."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import manifold3d
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from palletwright.grip.bodies import section
from palletwright.grip.draft import Piece, piece, wall_contact
from palletwright.grip.model import Contact
from palletwright.grip.patches import Patch
from palletwright.grip.sideways import stop_items
from palletwright.grip.spots import outwards, positions, spot
from palletwright.grip.work import Work
from palletwright.solid.model import Floats

ROUND = 0.02  # share of the radius by which a ring's points may depart from a circle, beside the mesh's chord error
LEAST_ARM = 0.3  # share of the round wall's radius: with less lever a stop doesn't keep the part from turning
TURNS = (37.0, 90.0, 151.0)  # degrees at which a body of revolution has to look alike


@dataclass(frozen=True, eq=False)
class Well:
    """A round hole that opens at the base and stays as it is: centre (x, y) and least radius (mm)."""

    centre: Floats
    radius: float

    @property
    def middle(self) -> tuple[float, float]:
        """Its centre as two floats, mm."""
        return float(self.centre[0]), float(self.centre[1])


def circles(area: BaseGeometry, chord: float) -> list[tuple[Floats, float]]:
    """(centre (x, y), greatest radius) mm of the round holes of an area."""
    result = []
    for part in shapely.get_parts(area):
        for ring in part.interiors:
            points = np.asarray(ring.coords)[:-1]
            if len(points) < 8:
                continue
            centre = np.asarray(shapely.Polygon(ring).centroid.coords)[0]
            radii = np.hypot(*(points - centre).T)
            if np.ptp(radii) < max(ROUND * float(radii.max()), 2 * chord):
                result.append((centre, float(radii.max())))
    return result


def wells(work: Work) -> list[Well]:
    """The round holes of the base, widest first."""
    if work.base is None:
        return []
    found = [Well(c, r) for c, r in circles(work.base.area, work.before.chord_error)]
    return sorted(found, key=lambda w: (-round(w.radius, 4), *np.round(w.centre, 4)))


def ring_about(cut: BaseGeometry, centre: Floats) -> BaseGeometry | None:
    """The ring of a hole of a section about a point."""
    point = shapely.Point(centre)
    rings = [r for g in shapely.get_parts(cut) for r in g.interiors if shapely.Polygon(r).contains(point)]
    return rings[0] if rings else None


def upright(work: Work, well: Well, levels: Sequence[float]) -> bool:
    """Whether a hole's wall is there with one radius at all heights (mm), before the operation and after it."""
    slack = max(ROUND * well.radius, 2 * work.before.chord_error)
    for body in (work.body, work.cut_body):
        for z in levels:
            ring = ring_about(section(body, z), well.centre)
            if ring is None:
                return False
            radii = np.hypot(*(np.asarray(ring.coords)[:, :2] - well.centre).T)
            if abs(float(radii.max()) - well.radius) > slack or np.ptp(radii) > slack:
                return False
    return True


def wall_about(work: Work, well: Well, z: float) -> float:
    """mm: the thinnest wall about a hole at a height, after the operation."""
    rings = [r for g in shapely.get_parts(section(work.cut_body, z)) for r in (g.exterior, *g.interiors)]
    point = shapely.Point(well.centre)
    away = sorted(float(shapely.distance(point, r)) for r in rings)
    return away[1] - away[0] if len(away) > 1 else 0.0


def fitted_circle(points: Floats) -> tuple[Floats, float] | None:
    """(centre (x, y), radius) mm of the circle on which most of (n, 2) points lie; None where they lie on none.

    Least squares (Kåsa's form), fitted again to the points near it until none is left out or too few remain.
    """
    kept = points
    for _ in range(6):
        if len(kept) < max(6, 0.5 * len(points)):
            return None
        rows = np.column_stack([2.0 * kept, np.ones(len(kept))])
        (x, y, c), *_ = np.linalg.lstsq(rows, (kept**2).sum(axis=1), rcond=None)
        centre, radius = np.array([x, y]), float(np.sqrt(max(c + x * x + y * y, 0.0)))
        off = np.abs(np.hypot(*(kept - centre).T) - radius)
        limit = max(0.02, ROUND * radius / 4.0)
        if off.max() <= limit:
            return centre, radius
        kept = kept[off <= max(limit, float(np.median(off)))]
    return None


def crossed(one: Floats, two: Floats) -> float:
    """The turning sense and area that two vectors (2,) span."""
    return float(one[0] * two[1] - one[1] * two[0])


def turns_alike(body: manifold3d.Manifold, centre: Floats) -> bool:
    """Whether a body is one of revolution about a vertical through the centre, within 1 % of its volume."""
    here = body.translate((-float(centre[0]), -float(centre[1]), 0.0))
    whole = here.volume()
    return all((here ^ here.rotate((0.0, 0.0, turn))).volume() > 0.99 * whole for turn in TURNS)


def turn_stop(
    work: Work, walls: Sequence[Patch], centre: Floats, radius: float, taken: Sequence[BaseGeometry], about: str
) -> tuple[Contact, Piece] | None:
    """A stop on a wall that keeps the part from turning about a vertical: its push passes well beside the centre."""
    for wall in walls:
        for item in stop_items(work):
            tries = positions(wall, item)
            if not len(tries):
                continue
            sense = crossed(wall.u[:2], wall.normal[:2])
            zero = -crossed(wall.origin[:2] - centre, wall.normal[:2]) / sense
            least = 1.001 * LEAST_ARM * radius
            near = np.clip([zero - least, zero + least], tries[0], tries[-1])
            tries = np.append(tries, near)
            far = tries[np.abs(tries - zero) >= LEAST_ARM * radius]
            if not len(far):
                continue
            outermost = float(far[int(np.argmax(np.round(np.abs(far - zero), 6)))])
            for s in outwards(far, outermost):
                found = spot(work, wall, item, s, about)
                if found is not None and not any(o.intersection(found.footprint()).area > 1e-6 for o in taken):
                    return wall_contact(work, found, "T1", "stop1"), piece(found, "stop1")
    return None
