"""Cutters, holders and assemblies, by ISO 13399 symbols, as stacks of cylinders."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from palletwright.shop.base import Model, Name, Positive, Problem
from palletwright.units import Length, Money

FIT = 1e-3
"""mm: shank and bore agree within this, so that inch sizes meet after conversion."""


class Cylinder(Model):
    """One step of a stack, from the previous one's end: `diameter` over `length`."""

    diameter: Positive
    length: Positive


class Cutter(Model):
    """A cutting tool by ISO 13399 symbols: DC cutting diameter, LU usable length, LCF flute length, APMX
    greatest depth of cut, DMM shank diameter, DN neck diameter, OAL overall length, ZEFP effective edges, SIG
    point angle, RE corner radius, TP pitch of thread."""

    id: Name
    kind: Literal[
        "end_mill",
        "face_mill",
        "drill",
        "spot_drill",
        "tap",
        "reamer",
        "counterbore",
        "chamfer_mill",
        "ball_mill",
        "slot_cutter",
    ]
    DC: Positive
    LU: Positive
    LCF: Positive
    APMX: Positive | None = None
    DMM: Positive
    DN: Positive | None = None
    OAL: Positive
    ZEFP: int = Field(default=1, ge=1)
    SIG: float | None = Field(default=None, gt=0, le=180)
    RE: Length = Field(default=0.0, ge=0)
    TP: Length | None = None
    helix: float = Field(default=30.0, ge=0, le=60)
    carbide: bool = True
    coolant_through: bool = False
    price: Money = 0.0
    source: str = ""
    part_number: str = Field(default="", description="the shop's own, for bills and cut lists")

    def problems(self) -> Iterator[Problem]:
        for key in ("LU", "LCF", "APMX"):
            value = getattr(self, key)
            if value is not None and value > self.OAL:
                yield key, f"{value:g} mm is longer than the whole cutter", f"at most OAL, {self.OAL:g} mm"
        if self.kind == "tap" and not self.TP:
            yield "TP", "is missing: a tap needs its pitch", "greater than 0"
        if 2 * self.RE > self.DC:
            yield "RE", f"{self.RE:g} mm is more than the cutter's radius", f"at most {self.DC / 2:g} mm"
        if self.kind == "ball_mill" and abs(2 * self.RE - self.DC) > 0.01:
            yield "RE", "a ball mill's corner radius is half its diameter", f"{self.DC / 2:g} mm"


class Holder(Model):
    """A holder as a stack of cylinders from its front end up to the gauge line."""

    id: Name
    taper: Name
    stack: tuple[Cylinder, ...] = Field(min_length=1)
    bore: tuple[Length, Length] = Field(description="mm, least and greatest shank held")
    price: Money = 0.0
    source: str = ""
    part_number: str = Field(default="", description="the shop's own, for bills and cut lists")

    def problems(self) -> Iterator[Problem]:
        if not 0 < self.bore[0] <= self.bore[1]:
            yield "bore", f"{self.bore[0]:g} to {self.bore[1]:g} mm holds nothing", "[least, greatest], both above 0"


class Tool(Model):
    """A tool assembly: cutter, holder, stick-out LB (mm from the holder's front to the tip)."""

    number: int = Field(ge=1)
    cutter: Cutter
    holder: Holder
    stick_out: Positive
    name: str = ""

    @property
    def id(self) -> str:
        return f"T{self.number}"

    def problems(self) -> Iterator[Problem]:
        c, (least, greatest) = self.cutter, self.holder.bore
        if not least - FIT <= c.DMM <= greatest + FIT:
            what = f"shank DMM {c.DMM:g} mm of {c.id} doesn't fit holder {self.holder.id}"
            yield "holder", what, f"a holder that takes {c.DMM:g} mm; this one takes {least:g} to {greatest:g} mm"
        if self.stick_out > c.OAL + FIT:
            yield "stick_out", f"{self.stick_out:g} mm is more than the cutter is long", f"at most OAL, {c.OAL:g} mm"

    def stack(self) -> tuple[tuple[float, float, float], ...]:
        """(radius, from, to) in mm above the tip, ascending, cutter and holder up to the gauge line."""
        c = self.cutter
        flute = min(c.LCF, self.stick_out)
        rows = [(c.DC / 2, 0.0, flute)]
        at = flute
        if c.DN is not None and at < c.LU:
            end = min(c.LU, self.stick_out)
            rows.append((c.DN / 2, at, end))
            at = end
        if self.stick_out > at:
            rows.append((c.DMM / 2, at, self.stick_out))
            at = self.stick_out
        for step in self.holder.stack:
            rows.append((step.diameter / 2, at, at + step.length))
            at += step.length
        return tuple(rows)

    @property
    def gauge_length(self) -> float:
        """mm from the gauge line to the tip."""
        return self.stick_out + sum(s.length for s in self.holder.stack)
