"""Stations on sides: carriers, blocked displacements, packing and its proof."""

from palletwright.layout.claims import claim
from palletwright.layout.densest import densest_lattice
from palletwright.layout.loading import loading_bound, pallet_loading
from palletwright.layout.mixed import pack_mixed
from palletwright.layout.model import Module, Packing, Side, Station, ToolSweep
from palletwright.layout.packing import pack
from palletwright.layout.sides import apothems, carrier_mesh, flat_width, sides_of
from palletwright.layout.variants import Choice, Terms, Variant, compare_variants, one_for_all

__all__ = [
    "Choice",
    "Module",
    "Packing",
    "Side",
    "Station",
    "Terms",
    "ToolSweep",
    "Variant",
    "apothems",
    "carrier_mesh",
    "claim",
    "compare_variants",
    "densest_lattice",
    "flat_width",
    "loading_bound",
    "one_for_all",
    "pack",
    "pack_mixed",
    "pallet_loading",
    "sides_of",
]
