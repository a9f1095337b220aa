"""Thin walls that a cut leaves standing: how thick, high and wide, by rays through the part."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit

from palletwright.holding.contacts import Array
from palletwright.solid.model import Mesh
from palletwright.verdict import Vec

SLENDER = 1.5  # height over thickness from which a wall counts as thin (common practice, no source)
THICKEST = 15.0  # mm; thicker walls give less than their locators do (estimated)
SAMPLES = 240  # places on upright faces that are looked at
LEVELS = 10  # heights at which a wall's thickness is measured
_UPRIGHT = 0.17  # sine of the lean up to which a face is a wall: 10°
_SKIN = 1e-3  # mm under the surface from which rays start
_EDGE = 1e-9  # how far outside a triangle still counts as on its edge, of its edges' lengths
_jit: Any = njit(cache=True, error_model="numpy")


@dataclass(frozen=True, slots=True)
class Wall:
    """A wall with its free edge along `direction`: a place on its cut face and the normal there, mm."""

    at: Vec
    normal: Vec
    thickness: float
    height: float
    width: float


@_jit  # type: ignore[untyped-decorator]
def _hits(a: Array, one: Array, two: Array, start: Array, way: Array, found: Array) -> None:
    """Fill `found` (n,) by the test of Möller and Trumbore, every ray and triangle (a corner, two edges: (m, 3))."""
    for k in range(len(start)):
        s0, s1, s2 = start[k]
        d0, d1, d2 = way[k]
        best = np.inf
        for i in range(len(a)):
            p0, p1, p2 = (
                d1 * two[i, 2] - d2 * two[i, 1],
                d2 * two[i, 0] - d0 * two[i, 2],
                d0 * two[i, 1] - d1 * two[i, 0],
            )
            size = p0 * one[i, 0] + p1 * one[i, 1] + p2 * one[i, 2]
            if size == 0.0:
                continue
            t0, t1, t2 = s0 - a[i, 0], s1 - a[i, 1], s2 - a[i, 2]
            u = (t0 * p0 + t1 * p1 + t2 * p2) / size
            if u < -_EDGE or u > 1.0 + _EDGE:
                continue
            q0, q1, q2 = (
                t1 * one[i, 2] - t2 * one[i, 1],
                t2 * one[i, 0] - t0 * one[i, 2],
                t0 * one[i, 1] - t1 * one[i, 0],
            )
            v = (d0 * q0 + d1 * q1 + d2 * q2) / size
            if v < -_EDGE or u + v > 1.0 + _EDGE:
                continue
            far = (two[i, 0] * q0 + two[i, 1] * q1 + two[i, 2] * q2) / size
            if 1e-6 < far < best:
                best = far
        found[k] = best


def first_hits(mesh: Mesh, start: Array, way: Array) -> Array:
    """(n,) mm from each start (n, 3) along its unit vector (n, 3) to the mesh; infinite where nothing is met."""
    a, b, c = (np.ascontiguousarray(mesh.corners[:, k]) for k in range(3))
    found = np.empty(len(start))
    _hits(a, b - a, c - a, np.ascontiguousarray(start), np.ascontiguousarray(way), found)
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
