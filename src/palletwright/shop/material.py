"""What a material takes to cut and to hold."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from palletwright.shop.base import Model, Name, Problem
from palletwright.units import Money

Isogroup = Literal["P", "M", "K", "N", "S", "H"]


class CuttingData(Model):
    """vc in m/min and feed (per tooth for mills, per revolution for drills) at 10 mm diameter, as a fraction of
    the diameter elsewhere. `ap` and `ae` are fractions of the diameter in roughing."""

    vc: float = Field(gt=0)
    feed: float = Field(gt=0, description="mm per tooth (mills) or per revolution (drills) at DC = 10")
    ap: float = Field(default=1.0, gt=0)
    ae: float = Field(default=0.3, gt=0, le=1)


class Material(Model):
    """ISO 513 group, specific cutting force kc1.1 (N/mm²) with exponent mc, density, price and cutting data."""

    id: Name
    aliases: tuple[str, ...] = ()
    group: Isogroup
    kc11: float = Field(gt=0)
    mc: float = Field(ge=0, lt=1)
    kc_spread: float = Field(default=0.15, ge=0, description="± fraction")
    source: str
    density: float = Field(gt=0, description="kg/m³")
    yield_strength: float = Field(gt=0, description="N/mm²")
    price: Money = Field(description="per kg")
    mill: CuttingData
    mill_hss: CuttingData | None = None
    drill: CuttingData
    drill_hss: CuttingData | None = None
    tap_vc: float = Field(gt=0)
    friction: tuple[float, float] = Field(description="least (wet) and usual, against steel")
    taylor: tuple[float, float] = Field(default=(0.25, 300.0), description="n, C for carbide")
    cutting_source: str = ""
    friction_source: str = ""
    taylor_source: str = ""

    def problems(self) -> Iterator[Problem]:
        if not 0 < self.friction[0] <= self.friction[1] < 1:
            yield "friction", f"{self.friction[0]:g}, {self.friction[1]:g}", "[least, usual] between 0 and 1"
