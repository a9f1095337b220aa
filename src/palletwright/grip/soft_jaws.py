"""Jaws milled to the outline of the part."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from palletwright.grip.bodies import section
from palletwright.grip.draft import Draft, Piece, vec
from palletwright.grip.jaws import jaw_clamp, least_wide
from palletwright.grip.model import Contact
from palletwright.grip.reliefs import GRID
from palletwright.grip.rounds import turns_alike
from palletwright.grip.seats import Seat, cut_outs, patch_points, relief_depth, support_points
from palletwright.grip.spots import DEEPEST, NOSE, SLACK
from palletwright.grip.work import Work
from palletwright.solid.model import Floats

HOURS_SOFT = 1.0  # clamp up and mill a pair of soft jaws; common practice, no source
HOURS_OUTLINE = 0.004  # for each mm of outline; common practice, no source
PRICE_SOFT = 18.0  # blanks for a pair of soft jaws, currency of the shop; common practice, no source
SOFT_GRIPS = (12.0, 8.0, 6.0, 5.0, 4.0, 3.0, 20.0, 30.0)  # mm, tried in this order
SLIT = 3.0  # mm left between the two jaws; common practice, no source
BACK = 10.0  # mm of jaw behind the outline; common practice, no source
LEAST_ARM = 0.1  # share of the outline's half-size: with less lever its own facets would pass for a key
LIGHT_JAW = 10000.0  # N where neither vise nor jaws tell their force; common practice, no source
EVEN = 2e-3  # mm: how far a wall may lean within the height of a contact


def soft_jaw(work: Work) -> Iterator[Draft]:
    """Two jaws milled to the part's own outline, closing along x or y: for round, cast and faceless parts."""
    points = support_points(work)
    if points is None:
        work.fault("soft_jaw", "no flat untouched face opposite the side's normal to seat the part on", 1.0, "face")
        return
    vise, own = work.vise, jaw_clamp(work, low=True)
    if vise is None and own is None:
        work.fault("soft_jaw", "the shop has no jaws to carry soft jaws on a plate", 1.0, "jaw")
        return
    closings = [np.array([0.0, 1.0]), np.array([1.0, 0.0])]
    for grip in (g for g in SOFT_GRIPS if g < work.height):
        edge = upright(work, grip)
        if edge is None:
            work.fault("soft_jaw", f"no untouched upright wall on the outline of the lowest {grip:.0f} mm", grip)
            continue
        outline, ring = edge
        made = 0
        for closing in closings:
            jaws = _jaws_about(work, outline, closing, grip)
            draft = _soft_draft(work, outline, closing, grip, ring, jaws, points) if jaws is not None else None
            if draft is not None:
                made += 1
                yield draft
        if made:
            return


@dataclass(frozen=True, eq=False)
class Ring:
    """Points (n, 3) on upright untouched walls of an outline and their outward normals (n, 2), in order round it."""

    at: Floats
    normals: Floats


def upright(work: Work, grip: float) -> tuple[BaseGeometry, Ring] | None:
    """The outline of the lowest `grip` mm, holes filled, and the points of it where a jaw finds an upright wall.

    A point counts if the part's own cut has it on its rim at the contact's height and `NOSE` above and below, before
    and after the operation, and no lower or higher part of the band stands out further.
    """
    outline = _filled(work.over(work.bottom, grip, exact=True))
    if outline.geom_type != "Polygon":
        return None
    best: Ring | None = None
    for z in dict.fromkeys((grip - NOSE, grip / 2.0, NOSE)):
        levels = [z] if grip <= 2 * NOSE else [z - NOSE + 0.1, z + NOSE - 0.1]
        rims = [_rim(section(b, h)) for b in (work.body, work.cut_body) for h in [z, *levels]]
        at, normals = _boundary(shapely.simplify(section(work.body, z), 1e-7))
        if not len(at) or any(r.is_empty for r in rims):
            continue
        points = shapely.points(at)
        good = np.ones(len(at), dtype=bool)
        for rim in (outline.exterior, *rims):
            good &= shapely.distance(rim, points) < EVEN
        if good.sum() > (0 if best is None else len(best.at)):
            best = Ring(np.column_stack([at[good], np.full(int(good.sum()), z)]), normals[good])
    return None if best is None else (outline, best)


def _rim(shape: BaseGeometry) -> BaseGeometry:
    return shapely.union_all([g.exterior for g in shapely.get_parts(shape)])


def _filled(shape: BaseGeometry) -> BaseGeometry:
    return shapely.union_all([shapely.Polygon(g.exterior) for g in shapely.get_parts(shape)])


def _jaws_about(
    work: Work, outline: BaseGeometry, closing: Floats, grip: float
) -> tuple[list[BaseGeometry], list[BaseGeometry]] | None:
    """(fixed, moving) jaw and the steps below the part: two blocks about the outline, clear of the tools."""
    x0, y0, x1, y1 = outline.bounds
    own = jaw_clamp(work, low=True)
    least = least_wide(own) if work.vise is None and own is not None else 0.0
    sides = np.array([max(0.0, least - (x1 - x0)), max(0.0, least - (y1 - y0))]) / 2.0
    bx, by = BACK * abs(closing) + sides * abs(closing[::-1])
    block = shapely.box(x0 - bx, y0 - by, x1 + bx, y1 + by)
    middle = np.array([(x0 + x1) / 2.0, (y0 + y1) / 2.0]) @ closing
    below = work.over(work.bottom, grip, exact=True).union(outline)
    ring = block.difference(below.buffer(SLACK))
    far = 1e4
    across = np.array([-closing[1], closing[0]])
    halves, steps = [], []
    milled = cut_outs(work, work.vertical, work.lateral + GRID)
    for sign in (1.0, -1.0):
        start = middle * closing + sign * (SLIT / 2.0) * closing
        half = shapely.Polygon(
            [
                start - far * across,
                start + far * across,
                start + far * across + sign * far * closing,
                start - far * across + sign * far * closing,
            ]
        )
        body = max(shapely.get_parts(ring.intersection(half)), key=lambda g: float(g.area), default=None)
        if body is None or body.area < 1.0:
            return None
        short = work.blocked_outline(body, -DEEPEST, grip)
        if short > 1e-9:
            work.fault("soft_jaw", f"soft jaws {grip:.0f} mm over the seat stand in the tools' way", short)
            return None
        halves.append(body)
        steps.append(shapely.intersection(block, half).difference(body).difference(milled))
    return halves, steps


def _soft_draft(
    work: Work,
    outline: BaseGeometry,
    closing: Floats,
    grip: float,
    ring: Ring,
    made: tuple[list[BaseGeometry], list[BaseGeometry]],
    points: Floats,
) -> Draft | None:
    centre = np.asarray(outline.centroid.coords)[0]
    touched = _touched(ring, closing, centre)
    if touched is None:
        return None
    where, presses = touched
    contacts = [_on_ring(work, ring, k, f"A{j + 1}", "locator", 0.0, "fixed-jaw") for j, k in enumerate(where)]
    force = _closed_by(work)[2]
    contacts += [
        _on_ring(work, ring, k, f"C{j + 1}", "clamp", force / 2.0, "moving-jaw") for j, k in enumerate(presses)
    ]
    notes, free = ["jaws milled to the part's outline"], len(where) < 3
    if free:
        notes.append("round outline: the part's turn about its axis is held by friction, not located")
    seat = Seat(
        points,
        relief_depth(work),
        0.0,
        None,
        under="the step of the jaws",
        apart=False,
        more=patch_points(work, points),
        ground="fixed-jaw",
    )
    return Draft(
        "soft_jaw",
        seat,
        _soft_pieces(work, closing, grip, made),
        tuple(contacts),
        "friction",
        1,
        hours=HOURS_SOFT + HOURS_OUTLINE * float(outline.exterior.length),
        notes=tuple(notes),
        unlocated=("turn about z",) if free and turns_alike(work.body, centre) else (),
        carrier_kinds=("vise",) if work.vise is not None else ("plate", "pallet"),
    )


def _touched(ring: Ring, closing: Floats, centre: Floats) -> tuple[tuple[int, ...], tuple[int, int]] | None:
    """Which points of the ring the fixed jaw locates at and the moving one presses on."""
    at, normals = ring.at[:, :2], ring.normals
    facing = normals @ closing
    side = (at - centre) @ closing
    fixed = np.flatnonzero((facing > -0.05) & (side > SLIT))
    moving = np.flatnonzero((facing < -0.3) & (side < -SLIT))
    where = _located(at[fixed], normals[fixed], centre)
    if where is None or len(moving) < 2:
        return None
    across = np.round(at[moving] @ np.array([-closing[1], closing[0]]), 6)
    presses = int(moving[int(np.argmin(across))]), int(moving[int(np.argmax(across))])
    return tuple(int(fixed[k]) for k in where), presses


def _closed_by(work: Work) -> tuple[str, float | None, float, float]:
    """(catalogue id, height mm or None, force N, price of a half) of what closes: the vise, else the shop's jaws."""
    vise, own = work.vise, jaw_clamp(work, low=True)
    if vise is not None:
        return vise.id, vise.jaw_height, vise.jaw_force or LIGHT_JAW, PRICE_SOFT / 2.0
    if own is not None:
        return own.id, own.height, own.force, (PRICE_SOFT + own.price) / 2.0
    return "soft jaws", None, LIGHT_JAW, PRICE_SOFT / 2.0


def _soft_pieces(
    work: Work, closing: Floats, grip: float, made: tuple[list[BaseGeometry], list[BaseGeometry]]
) -> tuple[Piece, Piece]:
    """The two jaws with the steps on which the part stands."""
    catalogue, height, _, price = _closed_by(work)
    (one, two), (under, below) = made
    away = (float(-closing[0]), float(-closing[1]), 0.0)
    foot = grip - max(height or 2 * grip, grip)
    return (
        Piece("fixed-jaw", "locator", catalogue, one, grip, None, foot, price=price, more=((under, -np.inf, 0.0),)),
        Piece("moving-jaw", "clamp", catalogue, two, grip, None, foot, away, price, more=((below, -np.inf, 0.0),)),
    )


def _boundary(outline: BaseGeometry) -> tuple[Floats, Floats]:
    """Points in the middle of the outline's edges (long edges: also near their ends) and their outward normals."""
    rings = [shapely.geometry.polygon.orient(g).exterior for g in shapely.get_parts(outline)]
    points, normals = [], []
    for a, b in (e for r in rings for e in pairwise(np.asarray(r.coords)[:, :2])):
        length = float(np.hypot(*(b - a)))
        if length < 1e-6:
            continue
        n = np.array([b[1] - a[1], a[0] - b[0]]) / length
        for share in (0.5,) if length < 6.0 else (1.5 / length, 0.5, 1.0 - 1.5 / length):
            points.append(a + share * (b - a))
            normals.append(n)
    return np.array(points).reshape(-1, 2), np.array(normals).reshape(-1, 2)


def _located(at: Floats, normals: Floats, centre: Floats) -> tuple[int, ...] | None:
    """Three points that fix the part in the plane as firmly as can be, else the two widest apart of a round one."""
    if len(at) < 2:
        return None
    keep = np.unique(np.linspace(0, len(at) - 1, min(len(at), 20)).astype(int))
    arm = (at[keep, 0] - centre[0]) * normals[keep, 1] - (at[keep, 1] - centre[1]) * normals[keep, 0]
    size = max(float(np.abs(at - centre).max()), 1e-9)
    rows = np.column_stack([normals[keep], arm / size])
    best, most = None, LEAST_ARM
    for triple in combinations(range(len(keep)), 3):
        firm = round(abs(float(np.linalg.det(rows[list(triple)]))), 9)
        if firm > most:
            best, most = tuple(int(keep[k]) for k in triple), firm
    if best is not None:
        return best
    pairs = list(combinations(range(len(keep)), 2))
    spread = [round(abs(float(rows[i, 0] * rows[j, 1] - rows[i, 1] * rows[j, 0])), 9) for i, j in pairs]
    if max(spread) < 0.2:
        return None
    i, j = pairs[int(np.argmax(spread))]
    return int(keep[i]), int(keep[j])


def _on_ring(work: Work, ring: Ring, k: int, name: str, kind: str, preload: float, device: str) -> Contact:
    n = ring.normals[k]
    return Contact(
        name,
        "clamp" if kind == "clamp" else "locator",
        vec(ring.at[k]),
        (-float(n[0]), -float(n[1]), 0.0),
        work.material.friction,
        preload=preload,
        device=device,
        raw=_raw(work, ring.at[k, :2], float(ring.at[k, 2]), n),
    )


def _raw(work: Work, p: Floats, z: float, normal: Floats) -> bool:
    """Whether a point of the outline lies off the finished part: raw where its wall is known and not finished."""
    for wall in work.walls:
        if float(wall.normal[:2] @ normal) > 0.999 and abs(float((p - wall.origin[:2]) @ wall.normal[:2])) < 1e-3:
            return wall.raw_at(float(p @ wall.u[:2]), z)
    return False
