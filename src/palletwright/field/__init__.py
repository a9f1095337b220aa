"""Height fields: arrays in, arrays out."""

from palletwright.field.blocked import Thresholds, blocked, blocked_along
from palletwright.field.clear import (
    Clearances,
    Least,
    Tips,
    clearance,
    clearances,
    coarse,
    extent,
    gathered,
    least_clearance,
)
from palletwright.field.dilate import (
    INSIDE,
    INSIDE_ANYWHERE,
    TOUCHES,
    TOUCHES_ANYWHERE,
    decisive,
    dilate,
    erode,
    lowest_tip,
)
from palletwright.field.frame import frame_of
from palletwright.field.owners import NOBODY, OwnedField, lay, name_at, owned_field, without
from palletwright.field.raster import raster, raster_bottom
from palletwright.field.ready import compile_kernels
from palletwright.field.sweep import swept_floor
from palletwright.field.view import HeightField, grid_over, joined, view

__all__ = [
    "INSIDE",
    "INSIDE_ANYWHERE",
    "NOBODY",
    "TOUCHES",
    "TOUCHES_ANYWHERE",
    "Clearances",
    "HeightField",
    "Least",
    "OwnedField",
    "Thresholds",
    "Tips",
    "blocked",
    "blocked_along",
    "clearance",
    "clearances",
    "coarse",
    "compile_kernels",
    "decisive",
    "dilate",
    "erode",
    "extent",
    "frame_of",
    "gathered",
    "grid_over",
    "joined",
    "lay",
    "least_clearance",
    "lowest_tip",
    "name_at",
    "owned_field",
    "raster",
    "raster_bottom",
    "swept_floor",
    "view",
    "without",
]
