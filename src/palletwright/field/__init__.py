"""Height fields: arrays in, arrays out."""

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
from palletwright.field.raster import raster, raster_bottom
from palletwright.field.view import HeightField, grid_over, joined, view

__all__ = [
    "INSIDE",
    "INSIDE_ANYWHERE",
    "TOUCHES",
    "TOUCHES_ANYWHERE",
    "HeightField",
    "decisive",
    "dilate",
    "erode",
    "frame_of",
    "grid_over",
    "joined",
    "lowest_tip",
    "raster",
    "raster_bottom",
    "view",
]
