"""Stations on sides: carriers, blocked displacements, packing and its proof."""

from palletwright.layout.model import Module, Packing, Side, Station, ToolSweep
from palletwright.layout.packing import pack
from palletwright.layout.sides import apothems, carrier_mesh, sides_of

__all__ = ["Module", "Packing", "Side", "Station", "ToolSweep", "apothems", "carrier_mesh", "pack", "sides_of"]
