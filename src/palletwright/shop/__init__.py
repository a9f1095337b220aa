"""What the shop owns: machines, carriers, clamps, locators, tools and holders, materials, rates."""

from palletwright.shop.model import Shop
from palletwright.shop.read import example_shop, read_shop, schema, shipped_materials

__all__ = ["Shop", "example_shop", "read_shop", "schema", "shipped_materials"]
