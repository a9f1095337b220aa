"""Thin walls that a cut leaves standing: how thick, high and wide, by rays through the part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from palletwright.holding.contacts import Array
from palletwright.solid.model import Mesh
from palletwright.verdict import Vec

SLENDER = 1.5  # height over thickness from which a wall counts as thin (common practice, no source)
THICKEST = 15.0  # mm; thicker walls give less than their locators do (estimated)
SAMPLES = 240  # places on upright faces that are looked at
LEVELS = 10  # heights at which a wall's thickness is measured
_UPRIGHT = 0.17  # sine of the lean up to which a face is a wall: 10°
_SKIN = 1e-3  # mm under the surface from which rays start
_RAYS = 4000000  # ray–triangle pairs at a time


@dataclass(frozen=True, slots=True)
class Wall:
    """A wall with its free edge along `direction`: a place on its cut face and the normal there, mm."""

    at: Vec
    normal: Vec
    thickness: float
    height: float
    width: float


def first_hits(mesh: Mesh, start: Array, way: Array) -> Array:
    """(n,) mm from each start (n, 3) along its unit vector (n, 3) to the mesh; infinite where nothing is met."""
    a, b, c = (mesh.corners[:, k] for k in range(3))
    one, two = b - a, c - a
    found = np.full(len(start), np.inf)
    step = max(1, _RAYS // max(1, len(a)))
    for k in range(0, len(start), step):
        s, d = start[k : k + step, None], way[k : k + step, None]
        p = np.cross(d, two[None])
        with np.errstate(divide="ignore", invalid="ignore"):
            scale = 1.0 / (p * one[None]).sum(axis=2)
            t = s - a[None]
            u = (t * p).sum(axis=2) * scale
            q = np.cross(t, one[None])
            v = (d * q).sum(axis=2) * scale
            far = (two[None] * q).sum(axis=2) * scale
            hit = (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9) & (far > 1e-6)
        found[k : k + step] = np.where(hit, far, np.inf).min(axis=1)
    return found


def thin_walls(mesh: Mesh, direction: Vec, seed: int = 0) -> tuple[Wall, ...]:
    """The thin walls of a closed mesh with their free edge towards `direction`, one each place that was looked at.

    Places are spread over upright faces by area. The foot is where going down the thickness doubles, or the part ends.
    """
    d = np.asarray(direction, dtype=float) / float(np.linalg.norm(direction))
    at, normal = _places(mesh, d, seed)
    if not len(at):
        return ()
    inwards = first_hits(mesh, at - _SKIN * normal, -normal)
    thin = inwards < THICKEST
    at, normal, thick = at[thin], normal[thin], inwards[thin]
    middle = at - normal * thick[:, None] / 2.0
    n = len(at)
    up, down = first_hits(mesh, middle, np.tile(d, (n, 1))), first_hits(mesh, middle, np.tile(-d, (n, 1)))
    foot = _feet(mesh, middle, normal, d, thick, down)
    beside = np.cross(d, normal)
    wide = first_hits(mesh, middle, beside) + first_hits(mesh, middle, -beside)
    rows = []
    for k in range(n):
        height = float(up[k] + foot[k])
        if np.isfinite(height) and np.isfinite(wide[k]) and height >= SLENDER * thick[k] and wide[k] >= thick[k]:
            rows.append(Wall(_vec(at[k]), _vec(normal[k]), float(thick[k]), height, float(wide[k])))
    return tuple(rows)


def _places(mesh: Mesh, d: Array, seed: int) -> tuple[Array, Array]:
    """Points on upright faces, by area, with their outward normals."""
    corners = mesh.corners
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(cross, axis=1)
    normal = cross / np.maximum(size, 1e-12)[:, None]
    upright = (np.abs(normal @ d) < _UPRIGHT) & (size > 1e-9)
    if not upright.any():
        return np.zeros((0, 3)), np.zeros((0, 3))
    rng = np.random.default_rng(seed)
    share = np.where(upright, size, 0.0)
    rows = rng.choice(len(corners), SAMPLES, p=share / share.sum())
    u, v = rng.random(SAMPLES), rng.random(SAMPLES)
    u, v = np.where(u + v > 1, 1 - u, u), np.where(u + v > 1, 1 - v, v)
    tri = corners[rows]
    at = tri[:, 0] + u[:, None] * (tri[:, 1] - tri[:, 0]) + v[:, None] * (tri[:, 2] - tri[:, 0])
    return at, normal[rows]


def _feet(mesh: Mesh, middle: Array, normal: Array, d: Array, thick: Array, down: Array) -> Array:
    """(n,) mm from each place down to where the wall's thickness doubles, or to the part's end."""
    deepest = np.where(np.isfinite(down), down, 0.0)
    foot, open_still = deepest.copy(), np.ones(len(middle), dtype=bool)
    for share in (np.arange(LEVELS) + 0.5) / LEVELS:
        below = share * deepest
        at = middle - below[:, None] * d
        across = first_hits(mesh, at, normal) + first_hits(mesh, at, -normal)
        wider = open_still & (across > 2.0 * thick)
        foot = np.where(wider, below, foot)
        open_still &= ~wider
    return foot


def _vec(v: Array) -> Vec:
    return float(v[0]), float(v[1]), float(v[2])
