"""Compiles every kernel once, so that the first plan doesn't wait for it."""

from __future__ import annotations

import numpy as np

from palletwright.field.blocked import blocked, blocked_along
from palletwright.field.clear import clearances, least_clearance
from palletwright.field.dilate import dilate, lowest_tip
from palletwright.field.owners import lay, owned_field, without
from palletwright.field.raster import raster
from palletwright.field.sweep import swept_floor
from palletwright.field.view import HeightField


def compile_kernels() -> None:
    """Runs each kernel on a few cells; numba keeps the result on disk for the next process."""
    origin, stack = np.zeros(2), ((1.0, 0.0, 5.0), (2.0, 5.0, 9.0))
    corners = np.array([[[0.0, 0.0, 1.0], [6.0, 0.0, 1.0], [0.0, 6.0, 2.0]]])
    tips = np.array([[3.0, 3.0, 4.0], [8.0, 8.0, 0.5]])
    height = HeightField(raster(corners, origin, (16, 16), 0.5), origin, 0.5, np.eye(3))
    lowest_tip(height.z, stack, 0.5)
    dilate(height.z.astype(np.float32), 2.0)
    floor = HeightField(swept_floor(tips, 9.0, stack, origin, (16, 16), 0.5), origin, 0.5, height.frame)
    clearances(tips, stack, height)
    least_clearance(tips, stack, height.z, origin, 0.5)
    blocked(height, floor, height, floor, 1.0)
    blocked_along(height, floor, height, floor, 1.0)
    field = owned_field(origin, (16, 16), 0.5, np.zeros(1, np.int32))
    lay(field, height.z, (0, 0), 0)
    without(field, 0, origin, np.array([8.0, 8.0]))
