"""What the shop owns, as frozen and validated data. Lengths in mm, forces in N, times in s."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from palletwright.units import Force, Length, Mass, Money, Power, Speed, Torque

Name = Annotated[str, Field(min_length=1, max_length=80)]
Positive = Annotated[Length, Field(gt=0)]
Isogroup = Literal["P", "M", "K", "N", "S", "H"]


class Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=False)


class Travel(Model):
    """Least and greatest machine coordinate of the gauge point on each axis."""

    x: tuple[Length, Length]
    y: tuple[Length, Length]
    z: tuple[Length, Length]


class Cylinder(Model):
    """One step of a stack, from the previous one's end: `diameter` over `length`."""

    diameter: Positive
    length: Positive


class RotaryAxis(Model):
    """An indexed rotary axis standing on the table.

    Parameters
    ----------
    axis : the machine axis that it turns about, `x` or `y`
    centre_height : mm from the table's face to the axis
    swing_radius : mm, greatest radius that may turn
    between : mm of length between the faceplate and the tailstock
    faceplate_at : machine coordinates (x, y) of the faceplate's face centre on the table
    brake_torque : N·m that the clamped axis resists
    """

    axis: Literal["x", "y"] = "x"
    word: Name = "A"
    sign: Literal[1, -1] = 1
    zero: float = 0.0
    centre_height: Positive
    swing_radius: Positive
    between: Positive
    faceplate_at: tuple[Length, Length]
    faceplate_diameter: Positive = 160.0
    housing_length: Positive = 220.0
    housing_width: Positive = 260.0
    housing_height: Positive = 320.0
    tailstock: bool = True
    tailstock_height: Positive = 260.0
    tailstock_length: Positive = 150.0
    brake_torque: Torque
    payload: Mass
    index_time: float = Field(gt=0, description="s for a 90° index, clamp and unclamp included")
    repeatability: float = Field(default=10.0, ge=0, description="arc seconds")


class Machine(Model):
    """A machining centre with a vertical spindle (z towards the spindle).

    Machine frame: origin at the table's centre on its face, x and y along the travels, z up. `travel` bounds
    the gauge point (spindle gauge line on the axis): z counts from the table's face.
    """

    id: Name
    name: str = ""
    travel: Travel
    table: tuple[Positive, Positive]
    table_payload: Mass
    door: Positive = Field(description="mm of free width at the door")
    spindle_speed: float = Field(gt=0, description="rev/min, greatest")
    spindle_power: Power
    spindle_torque: Torque
    taper: Name
    nose: tuple[Cylinder, ...] = Field(description="spindle nose and head above the gauge line, upwards")
    coolant_through: bool = False
    probe: bool = False
    tool_setter: bool = False
    work_offsets: int = Field(default=6, ge=1)
    chip_to_chip: float = Field(gt=0, description="s")
    pallet_change: float | None = Field(default=None, description="s; null where there is no changer")
    rapid: tuple[Speed, Speed, Speed] = Field(description="mm/min on x, y, z")
    acceleration: tuple[float, float, float] = Field(description="m/s² on x, y, z")
    jerk: float | None = Field(default=None, gt=0, description="m/s³")
    magazine: int = Field(ge=1)
    greatest_tool_length: Positive = 300.0
    rotary: RotaryAxis | None = None
    rate: Money = Field(description="per hour, without operator")


class Carrier(Model):
    """What parts are mounted on: a plate, a vise, or a rotary pallet with `sides` flats on a blank.

    A `plate` and a `vise` use `length` and `width`; a `pallet` uses `length` (along the axis), `blank_diameter`
    and `sides` (empty: 2 to 6 are tried). `owned` ones cost nothing more.
    """

    id: Name
    kind: Literal["plate", "pallet", "vise"]
    length: Positive
    width: Positive | None = None
    height: Positive = Field(description="mm from the table to the mounting face; pallet: not used", default=40.0)
    blank_diameter: Positive | None = None
    sides: tuple[int, ...] = ()
    edge: Length = Field(default=8.0, ge=0, description="mm kept free along each edge")
    jaw_width: Positive | None = None
    jaw_height: Positive | None = None
    opening: Positive | None = None
    jaw_force: Force | None = None
    steel: bool = False
    owned: bool = False
    how_many: int = Field(default=1, ge=1, description="owned pieces")
    blank_price: Money = 0.0
    make_hours: float = Field(default=4.0, ge=0, description="machining hours to make one, without its stations")
    mass: Mass | None = None


class Clamp(Model):
    """A clamp: its body beside or on the part, what it does, and what drives it.

    `footprint` is (along the pressed face, away from it). `height` is over the seat, `reach_height` the height
    of the contact over the seat. `edge`: single-acting, pushes sideways and `down_angle` down. `wedge`:
    double-acting, pushes two parts apart. `strap`: presses down on top. `screw`: through the part's own hole.
    `jaw`: two faces pressed together.
    """

    id: Name
    kind: Literal["edge", "wedge", "strap", "screw", "jaw"]
    footprint: tuple[Positive, Positive]
    height: Positive
    reach_height: Positive
    stroke: Positive
    force: Force
    down_angle: float = Field(default=0.0, ge=0, lt=45)
    screw: Name
    torque: Torque
    access: Literal["above", "side", "none"] = "above"
    price: Money = 0.0
    seconds: float = Field(default=5.0, ge=0, description="s to tighten and loosen it once")
    widest_hole: Length | None = None


class Locator(Model):
    """A stop, rail, pin or rest. `footprint` is (along the face, away from it)."""

    id: Name
    kind: Literal["stop", "rail", "pin", "rest"]
    footprint: tuple[Positive, Positive]
    height: Positive
    price: Money = 0.0
    repeatability: Length = Field(default=0.01, ge=0)


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


class Holder(Model):
    """A holder as a stack of cylinders from its front end up to the gauge line."""

    id: Name
    taper: Name
    stack: tuple[Cylinder, ...] = Field(min_length=1)
    bore: tuple[Length, Length] = Field(description="mm, least and greatest shank held")
    price: Money = 0.0


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


class Rates(Model):
    """Money and people. Rates per hour in the shop's currency."""

    currency: Name = "EUR"
    operator: Money = 42.0
    bench: Money = 38.0
    design: Money = 65.0
    toolroom: Money = 60.0
    allowance: float = Field(default=0.15, ge=0, lt=1)
    up_time: float = Field(default=0.85, gt=0, le=1)
    shift_hours: float = Field(default=8.0, gt=0)
    shifts_per_year: int = Field(default=230, ge=1)
    payback_limit_months: float = Field(default=18.0, gt=0)
    discount_rate: float = Field(default=0.08, ge=0)
    swap_seconds: float = Field(default=90.0, gt=0, description="s, set change by hand, door to door")
    station_seconds: float = Field(
        default=20.0, gt=0, description="s, one station with blow-off and wipe, without its screws"
    )
    fixture_life_starts: int = Field(default=20000, ge=1)


class Floors(Model):
    """Least margins. `practice`: common practice, no source."""

    cutter: Length = Field(default=2.0, ge=0)
    nose: Length = Field(default=10.0, ge=0)
    index: Length = Field(default=25.0, ge=0)
    tool_setting_error: Length = Field(default=0.5, ge=0)
    holding: float = Field(default=2.0, ge=1)
    holding_friction: float = Field(default=2.5, ge=1)
    edge_use: float = Field(default=0.8, gt=0, le=1)
    solid_gap: Length = Field(default=1.0, ge=0, description="mm between bodies of two stations")
    lift_kg: Mass = 15.0


class Shop(Model):
    """Everything the shop owns. `tools` are assemblies; `clamps`, `locators`, `carriers` by id."""

    name: str
    machines: tuple[Machine, ...] = Field(min_length=1)
    carriers: tuple[Carrier, ...] = Field(min_length=1)
    clamps: tuple[Clamp, ...] = Field(min_length=1)
    locators: tuple[Locator, ...] = Field(min_length=1)
    tools: tuple[Tool, ...] = Field(min_length=1)
    materials: tuple[Material, ...] = Field(min_length=1)
    rates: Rates = Rates()
    floors: Floors = Floors()
