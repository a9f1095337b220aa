"""What the shop owns, as frozen and validated data. Lengths in mm, forces in N, times in s."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from palletwright.shop.base import Model as Model
from palletwright.shop.base import Name as Name
from palletwright.shop.base import Positive as Positive
from palletwright.shop.base import Problem, plain, repeated
from palletwright.shop.material import CuttingData as CuttingData
from palletwright.shop.material import Isogroup as Isogroup
from palletwright.shop.material import Material as Material
from palletwright.shop.tooling import Cutter as Cutter
from palletwright.shop.tooling import Cylinder as Cylinder
from palletwright.shop.tooling import Holder as Holder
from palletwright.shop.tooling import Tool as Tool
from palletwright.units import Force, Length, Mass, Money, Power, Speed, Torque


class Travel(Model):
    """Least and greatest machine coordinate of the gauge point on each axis."""

    x: tuple[Length, Length]
    y: tuple[Length, Length]
    z: tuple[Length, Length]

    def problems(self) -> Iterator[Problem]:
        for axis in ("x", "y", "z"):
            least, greatest = getattr(self, axis)
            if not least < greatest:
                yield axis, f"least {least:g} mm isn't below greatest {greatest:g} mm", "[least, greatest]"


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
    coolant_bar: float | None = Field(default=None, gt=0, description="bar, pressure through the spindle")
    wash_down: bool = False
    source: str = ""
    chip_room: float | None = Field(
        default=None, gt=0, description="litres of chips until somebody must empty them; null: a conveyor takes them"
    )
    spindle_seconds: float | None = Field(
        default=None, gt=0, description="s from rest to the greatest speed; null: chip_to_chip has it"
    )
    setter_at: tuple[Length, Length, Length] | None = Field(
        default=None, description="control coordinates at which a tip without length trips the tool setter"
    )

    @property
    def daylight(self) -> float:
        """mm from the table's face to the gauge line with the spindle at its highest."""
        return self.travel.z[1]


class MountHole(Model):
    """One hole by which a carrier sits on its mount.

    `x` and `y` in the carrier frame: of a plate from its centre; of a pallet y and z on its end, from the axis. `kind`:
    `screw` goes through, its head sunk (plates only); `tapped` and `dowel` are cut from the mounting face.
    """

    x: Length
    y: Length
    kind: Literal["screw", "tapped", "dowel"]
    size: Name = Field(description="thread, such as M8; of a dowel its diameter, such as 8")
    end: Literal["faceplate", "tailstock"] = "faceplate"

    def problems(self) -> Iterator[Problem]:
        digits = self.size if self.kind == "dowel" else self.size.removeprefix("M")
        if (self.kind != "dowel" and not self.size.startswith("M")) or not digits.replace(".", "", 1).isdigit():
            allowed = "mm of a dowel such as 8" if self.kind == "dowel" else "a thread such as M8"
            yield "size", f"{self.size!r} isn't a size", allowed


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
    source: str = ""
    mount_holes: tuple[MountHole, ...] = Field(
        default=(), description="holes of the machine's interface: screws, threads and dowels of its mounting face"
    )
    part_number: str = Field(default="", description="the shop's own, for bills and cut lists")

    def problems(self) -> Iterator[Problem]:
        if self.kind == "pallet" and any(h.kind == "screw" for h in self.mount_holes):
            yield "mount_holes", "a pallet's end takes no sunk screw", "tapped or dowel"
        needs = {
            "plate": ("width",),
            "pallet": ("blank_diameter",),
            "vise": ("width", "jaw_width", "jaw_height", "opening", "jaw_force"),
        }[self.kind]
        for key in needs:
            if getattr(self, key) is None:
                yield key, f"is missing: a {self.kind} needs it", "greater than 0"
        if any(not 2 <= n <= 8 for n in self.sides):
            yield "sides", "a pallet has 2 to 8 sides", "whole numbers from 2 to 8"


class Clamp(Model):
    """A clamp: its body beside or on the part, what it does, and what drives it.

    `footprint` is (along the pressed face, away from it). `height` is over the seat, `reach_height` the height
    of the contact over the seat. `edge`: single-acting, pushes sideways and `down_angle` down. `wedge`:
    double-acting, pushes two parts apart. `strap`: presses down on top. `screw`: through the part's own hole.
    `jaw`: two faces pressed together. `v_jaw`: two vees of 90° about a round part. `expander`: spreads in a bore by
    up to `stroke` from its closed diameter, `footprint[0]`; `force` is what one of its three segments presses with.
    `vacuum`: a seat that sucks the part down with `force` over the whole `footprint`. `stud` and `dovetail` hold stock
    that goes later, from below: threads `reach_height` deep, or a tenon so high; `blank_seconds` prepare it.
    """

    id: Name
    kind: Literal["edge", "wedge", "strap", "screw", "jaw", "v_jaw", "expander", "vacuum", "stud", "dovetail"]
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
    serrated: bool = Field(default=False, description="has a serrated face for raw stock, a smooth one for the rest")
    source: str = ""
    pressure: float | None = Field(
        default=None,
        gt=0,
        description="bar of oil or air at which `force` is reached; `screw` and `torque` then hold its body",
    )
    pressure_drop: float = Field(
        default=0.2, ge=0, lt=1, description="fraction by which the pressure may fall while parts are clamped"
    )
    blank_seconds: float = Field(
        default=0.0, ge=0, description="s to prepare one blank for it: each thread tapped, or the whole tenon milled"
    )
    part_number: str = Field(default="", description="the shop's own, for bills and cut lists")


class Locator(Model):
    """A stop, rail, pin or rest. `footprint` is (along the face, away from it)."""

    id: Name
    kind: Literal["stop", "rail", "pin", "rest"]
    footprint: tuple[Positive, Positive]
    height: Positive
    price: Money = 0.0
    serrated: bool = Field(default=False, description="has a serrated face for raw stock, a smooth one for the rest")
    repeatability: Length = Field(default=0.01, ge=0)
    source: str = ""
    part_number: str = Field(default="", description="the shop's own, for bills and cut lists")


class Fastener(Model):
    """A screw or dowel that the shop keeps: `size` is a thread such as M8, or a dowel's diameter in mm such as 8.
    Without a length it stands for every length."""

    id: Name
    kind: Literal["screw", "dowel"]
    size: Name
    length: Positive | None = None
    price: Money = 0.0
    part_number: str = Field(default="", description="the shop's own, for bills and cut lists")


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
    hours_worth: float = Field(
        default=1.0, ge=0, le=1, description="share of the freed machine hours that is sold or needed"
    )
    people: int = Field(default=1, ge=1, description="who load, swap and put right in one shift")
    pauses: tuple[tuple[float, float], ...] = Field(
        default=((120.0, 15.0), (240.0, 30.0)),
        description="[minutes from the shift's begin, minutes long] of each break in which nobody is there",
    )
    late_seconds: float = Field(default=60.0, ge=0, description="s until somebody comes when called, mean")
    stop_minutes: float = Field(
        default=6.0, gt=0, description="minutes of one stop, mean; how often follows from up_time"
    )
    break_hours: float = Field(default=60.0, gt=0, description="hours of cutting between two broken tools, mean")
    break_minutes: float = Field(default=20.0, ge=0, description="minutes to put a broken tool right, mean")
    alone_minutes: float | None = Field(
        default=None, ge=0, description="minutes that a machine may run on with nobody there; null: no limit of its own"
    )
    spreads: dict[str, float] = Field(
        default_factory=dict, description="± fractions of inputs by name, in place of the defaults"
    )

    def problems(self) -> Iterator[Problem]:
        end = 0.0
        for at, (start, length) in enumerate(self.pauses):
            if start < end or length <= 0:
                text = f"[{start:g}, {length:g}] doesn't follow"
                yield f"pauses.{at}", text, "one after another, longer than 0 minutes"
            end = start + length
        for name, spread in self.spreads.items():
            if not 0 <= spread < 1:
                yield f"spreads.{name}", f"{spread:g} isn't a fraction", "from 0 to below 1"


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
    fasteners: tuple[Fastener, ...] = ()

    def problems(self) -> Iterator[Problem]:
        yield from repeated("machines", (m.id for m in self.machines))
        yield from repeated("carriers", (c.id for c in self.carriers))
        yield from repeated("clamps", (c.id for c in self.clamps))
        yield from repeated("locators", (c.id for c in self.locators))
        yield from repeated("tools", (t.number for t in self.tools))
        yield from repeated("materials", (m.id for m in self.materials))

    def material(self, name: str) -> Material | None:
        """The material with this id or alias, whatever its case and blanks; None where the shop has none."""
        wanted = plain(name)
        return next((m for m in self.materials if wanted in map(plain, (m.id, *m.aliases))), None)
