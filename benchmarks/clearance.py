"""Height-field kernels against plain scipy and against the CAD kernel's exact distances, in one run.

Run `python -m benchmarks.clearance` (`--csv` for CSV). Processor seconds, so that whatever else the machine does
doesn't count; each line is ours, the plain way, and the ratio of the two.
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import time
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import trimesh
from numpy.typing import NDArray
from scipy import ndimage

from palletwright.field import (
    HeightField,
    blocked,
    clearances,
    dilate,
    grid_over,
    joined,
    least_clearance,
    lowest_tip,
    raster,
    swept_floor,
    view,
)
from palletwright.solid.model import Mesh

Floats = NDArray[np.float64]
OVER = "greatest over the exact distance (must not be above 0)"
STACK = ((4.0, 0.0, 25.0), (8.0, 25.0, 45.0), (22.0, 45.0, 110.0))


def timed(run: Callable[[], Any], times: int = 1) -> tuple[float, Any]:
    """(least processor seconds of several runs, the last result)."""
    best, result = np.inf, None
    for _ in range(times):
        start = time.process_time()
        result = run()
        best = min(best, time.process_time() - start)
    return best, result


def as_mesh(body: trimesh.Trimesh) -> Mesh:
    return Mesh(np.array(body.vertices), np.array(body.faces, np.int32))


def housing(size: float) -> Mesh:
    """A block with bosses and rings, some 50,000 triangles, `size` mm long."""
    rng = np.random.default_rng(3)
    bodies = [trimesh.creation.box(bounds=[[0, 0, 0], [size, 0.7 * size, 0.3 * size]])]
    for x, y in rng.uniform((0.1, 0.1), (0.9, 0.6), (30, 2)) * size:
        ring = trimesh.creation.annulus(r_min=0.02 * size, r_max=0.04 * size, height=0.1 * size, sections=200)
        ring.apply_translation((x, y, 0.35 * size))
        bodies.append(ring)
    return as_mesh(trimesh.util.concatenate(bodies))


def plain_raster(mesh: Mesh, origin: Floats, shape: tuple[int, int], pitch: float) -> Floats:
    """Points strewn over the triangles, a quarter of the pitch apart: misses what lies between them."""
    body = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
    points = trimesh.sample.sample_surface(body, int(body.area / (pitch / 4) ** 2 / 4), seed=1)[0]
    cell = np.floor((points[:, :2] - origin) / pitch).astype(int)
    inside = ((cell >= 0) & (cell < shape[::-1])).all(axis=1)
    out = np.full(shape, -np.inf)
    np.maximum.at(out, (cell[inside, 1], cell[inside, 0]), points[inside, 2])
    return out


def plain_clearances(tips: Floats, field: HeightField) -> Floats:
    """For each tip and step the distance transform of every height level, as scipy offers it."""
    out = np.full(len(tips), np.inf)
    heights = np.unique(np.round(field.z[np.isfinite(field.z)], 1))[::-1][:12]
    cell = np.floor((tips[:, :2] - field.origin) / field.pitch).astype(int)
    for level in heights:
        away = ndimage.distance_transform_edt(field.z < level) * field.pitch
        at = away[np.clip(cell[:, 1], 0, away.shape[0] - 1), np.clip(cell[:, 0], 0, away.shape[1] - 1)]
        for r, start, _ in STACK:
            gap = np.hypot(np.maximum(0, at - r - np.sqrt(2) * field.pitch), np.maximum(0, tips[:, 2] + start - level))
            out = np.minimum(out, gap)
    return out


def plain_blocked(floor: Floats, heights: Floats, clearance: float) -> NDArray[np.bool_]:
    """Levels by FFT correlation."""
    from scipy.signal import fftconvolve

    out = None
    for level in np.unique(floor[np.isfinite(floor)]):
        tools, bodies = (floor <= level).astype(float), (heights + clearance > level).astype(float)
        met = fftconvolve(tools, bodies[::-1, ::-1]) > 0.5
        out = met if out is None else out | met
    return np.zeros((1, 1), bool) if out is None else out


def kernel_distances(boxes: list[tuple[Floats, Floats]], tips: Floats) -> tuple[float, list[float]]:
    """Runs in a spawned child: (processor seconds, the CAD kernel's distances)."""
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox, BRepPrimAPI_MakeCylinder
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    solids = [BRepPrimAPI_MakeBox(gp_Pnt(*low), gp_Pnt(*high)).Solid() for low, high in boxes]
    start, out = time.process_time(), []
    for tip in tips:
        least = np.inf
        for r, a, b in STACK:
            step = BRepPrimAPI_MakeCylinder(gp_Ax2(gp_Pnt(*tip[:2], tip[2] + a), gp_Dir(0, 0, 1)), r, b - a).Solid()
            least = min(least, *(float(BRepExtrema_DistShapeShape(step, s).Value()) for s in solids))
        out.append(least)
    return time.process_time() - start, out


def against_kernel(pitch: float) -> tuple[float, float, float, float]:
    """(our seconds, the kernel's, greatest over, mean under) for 200 tips over 12 blocks."""
    rng = np.random.default_rng(4)
    low = np.column_stack([rng.uniform(0, 90, (12, 2)), np.zeros(12)])
    boxes = list(zip(low, low + rng.uniform(5, 15, (12, 3)), strict=True))
    tips = rng.uniform((0, 0, 0), (100, 100, 30), (200, 3))
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        slow, true = pool.apply(kernel_distances, (boxes, tips))
    meshes = [as_mesh(trimesh.creation.box(bounds=np.array(b))) for b in boxes]
    clearances(tips, STACK, joined([view(m, (0, 0, 1), pitch) for m in meshes]), cap=100.0)
    fast, found = timed(
        lambda: clearances(tips, STACK, joined([view(m, (0, 0, 1), pitch) for m in meshes]), cap=100.0), 3
    )
    gap = np.array(true) - found.distance
    return fast, slow, float(-gap.min()), float(gap[np.array(true) > 0].mean())


Row = tuple[str, float, float, str]
"""What, ours, the plain way, unit."""


def rasters() -> list[Row]:
    """Rasters and lowest tips of both sizes; the memory before any plain way has run."""
    out: list[Row] = []
    cases = [(housing(size), size, pitch) for size, pitch in ((100.0, 0.1), (300.0, 0.25))]
    grids = [grid_over(mesh.bounds[0], mesh.bounds[1], pitch, 10.0) for mesh, _, pitch in cases]
    fast = []
    for (mesh, size, pitch), (origin, shape) in zip(cases, grids, strict=True):
        raster(mesh.corners, origin, shape, pitch)
        fast.append(timed(partial(raster, mesh.corners, origin, shape, pitch), 3))
        lowest_tip(fast[-1][1], STACK, pitch)
        seconds, _ = timed(partial(lowest_tip, fast[-1][1], STACK, pitch), 3)
        out.append((f"lowest tip of one assembly, {size:g} mm at {pitch:g}", seconds, np.nan, "s"))
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    out.append(("peak memory of the above", memory, np.nan, "MiB"))
    for (mesh, size, pitch), (origin, shape), (seconds, _) in zip(cases, grids, fast, strict=True):
        slow, _ = timed(partial(plain_raster, mesh, origin, shape, pitch))
        out.append((f"raster, {len(mesh.triangles)} triangles, {size:g} mm at {pitch:g}", seconds, slow, "s"))
    return out


def dilations() -> list[Row]:
    """Against scipy's grey dilation with the same footprint, to the same result."""
    out: list[Row] = []
    z = view(housing(100.0), (0, 0, 1), 0.1).z
    z = np.maximum(z, -1e9)
    for radius in (10, 25):
        g = np.maximum(0, abs(np.arange(-radius - 1, radius + 2)) - 0.5)
        footprint = np.hypot(g[:, None], g[None, :]) < radius
        dilate(z, radius)
        fast, ours = timed(partial(dilate, z, radius), 3)
        slow, plain = timed(partial(ndimage.grey_dilation, z, footprint=footprint, mode="constant", cval=-1e9))
        assert np.array_equal(ours, plain)
        out.append((f"dilation by {radius} cells, {z.shape[1]} x {z.shape[0]}", fast, slow, "s"))
    return out


def measures() -> list[Row]:
    """Clearances of many tips and blocked displacements."""
    out: list[Row] = []
    field = joined([view(m, (0, 0, 1), 0.25, margin=30.0) for m in (housing(100.0), slanted())])
    tips = np.random.default_rng(5).uniform((-20, -20, 30), (120, 90, 60), (3000, 3))
    clearances(tips, STACK, field, cap=40.0)
    fast, found = timed(partial(clearances, tips, STACK, field, cap=40.0), 3)
    slow, _ = timed(partial(plain_clearances, tips, field))
    out.append(("clearances of 3,000 tips (plain: 12 levels)", fast, slow, "s"))
    least_clearance(tips, STACK, field.z, field.origin, field.pitch, cap=40.0)
    fast, least = timed(partial(least_clearance, tips, STACK, field.z, field.origin, field.pitch, cap=40.0), 3)
    assert least is not None
    assert abs(least.have - found.have.min()) < 1e-9
    out.append(("least clearance of 3,000 tips (plain: 12 levels)", fast, slow, "s"))
    origin, shape = grid_over(np.zeros(2), np.array([100.0, 70.0]), 0.25, 30.0)
    inner = tips[:200] * (0.7, 0.7, 0.5)
    inner[:, 2] = np.round(inner[:, 2] / 5) * 5
    floor = HeightField(swept_floor(inner, 90.0, STACK, origin, shape, 0.25), origin, 0.25, field.frame)
    blocked(field, floor, field, floor, 2.0)
    fast, _ = timed(partial(blocked, field, floor, field, floor, 2.0), 3)
    slow = 2 * timed(partial(plain_blocked, floor.z, field.z, 2.0))[0]
    out.append((f"blocked displacements, {len(np.unique(floor.z)) - 1} levels, both ways", fast, slow, "s"))
    return out


def slanted() -> Mesh:
    """A block with a sloping top, so that heights aren't all alike."""
    body = trimesh.creation.box(bounds=[[0, 0, 0], [40, 40, 20]])
    body.vertices[:, 2] += np.where(body.vertices[:, 2] > 1, body.vertices[:, 0] * 0.6, 0)
    return as_mesh(body)


def rows() -> list[Row]:
    fast, slow, over, under = against_kernel(0.25)
    return [
        *rasters(),
        *dilations(),
        *measures(),
        ("200 clearances at 0.25, against the CAD kernel", fast, slow, "s"),
        (OVER, over, np.nan, "mm"),
        ("mean under the exact distance", under, np.nan, "mm"),
    ]


def main() -> None:
    args = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    args.add_argument("--csv", action="store_true")
    csv = args.parse_args().csv
    over = 0.0
    for name, ours, plain, unit in rows():
        if name == OVER:
            over = ours
        ratio = plain / ours if np.isfinite(plain) else np.nan
        if csv:
            print(f"{name.strip()},{ours:.6g},{plain:.6g},{ratio:.4g},{unit}")
        else:
            rest = f"{plain:10.4g} {ratio:8.1f} x" if np.isfinite(plain) else ""
            print(f"{name:58s} {ours:10.4g} {unit:3s} {rest}")
    if over > 1e-6:
        raise SystemExit("a clearance is above the exact one")


if __name__ == "__main__":
    main()
