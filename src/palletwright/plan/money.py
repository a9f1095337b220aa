"""What a design costs: blanks, fixtures, set-up, and the flow that follows from its cycles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from palletwright.flow import Timing
from palletwright.flow.model import Cost
from palletwright.flow.money import Loss, cost
from palletwright.job.model import Job
from palletwright.plan.context import Context
from palletwright.plan.edges import tool_money
from palletwright.plan.model import Design
from palletwright.plan.options import Option

DESIGN_HOURS = 6.0
"""Hours to design one fixture and write its programs, an operation: common practice, no source; estimated."""

SETUP_HOURS = 0.75
"""Hours to put one carrier kind in and prove its offsets at a batch start: common practice, no source."""

STATION_HOURS = 0.35
"""Toolroom hours to machine and fit one station on a carrier: common practice, no source; estimated."""

BOUGHT_CLAMPS = "clamps and locators"
"""The bill's row of devices that are bought for stations on plates and pallets; a vise has its own."""

PLANNED_SCRAP = 0.01
"""Chance that a planned way loses a part, shared by its operations: common practice, no source; estimated."""


def batch_of(job: Job) -> int:
    """Parts in a batch: the job's, else a month's demand."""
    return job.batch or max(1, round(job.per_year / 12))


def material_price(context: Context, volume: float | None = None) -> float:
    """Money per blank: its own price, else mass times the material's price, with the saw cut of one face.

    `volume` mm³ is the blank with grip stock; a blank with a price of its own costs in proportion.
    """
    blank = context.job.blank
    whole = context.stock.volume if volume is None else volume
    if blank.price is not None:
        return blank.price * whole / context.stock.volume
    low, high = context.stock.bounds
    size = sorted(high - low)
    kerf = blank.saw_kerf * size[0] * size[1] if blank.kind != "file" else 0.0
    return (whole + kerf) * 1e-9 * context.material.density * context.material.price


def fixture_bill(context: Context, design: Design, options: dict[int, Option]) -> tuple[tuple[str, float], ...]:
    """Name and money of everything that must be bought or made once, for all sets. Owned carriers cost nothing."""
    rates, carriers = context.shop.rates, {c.id: c for c in context.shop.carriers}
    rows: dict[str, float] = {}

    def add(name: str, money: float) -> None:
        if money > 0:
            rows[name] = rows.get(name, 0.0) + money

    for name, n in carriers_needed(design).items():
        carrier = carriers[name]
        bought = max(0, n - (carrier.how_many if carrier.owned else 0))
        add(f"{name}: blank", bought * carrier.blank_price)
        add(f"{name}: making", bought * carrier.make_hours * rates.toolroom)
    fitted = [p.mount for p in design.placings if p.kind != "vise"]
    for station in design.stations:
        option = options[station.operation]
        add(BOUGHT_CLAMPS, design.sets * option.grip.price * (station.mount in fitted))
        hours = option.grip.prepare_hours + (STATION_HOURS if station.mount in fitted else 0.0)
        add("stations: making", design.sets * hours * rates.toolroom)
    if rows:
        add("design and programs", DESIGN_HOURS * len(design.operations) * rates.design)
    return tuple(rows.items())


def carriers_needed(design: Design) -> dict[str, int]:
    """How many of each carrier a design needs for all its sets. One cycle after another can use the same vise with
    other jaws; the stations on a plate or pallet stay."""
    need: dict[str, int] = {}
    for cycle in sorted({p.cycle for p in design.placings}):
        here = [p for p in design.placings if p.cycle == cycle]
        for name, kind in {p.carrier: p.kind for p in here}.items():
            n = design.sets * sum(p.carrier == name for p in here)
            need[name] = max(need.get(name, 0), n) if kind == "vise" else need.get(name, 0) + n
    return need


def owned_means(context: Context, design: Design) -> bool:
    """Whether every carrier of a design, for all its sets, is one that the shop has."""
    have = {c.id: c.how_many if c.owned else 0 for c in context.shop.carriers}
    return all(n <= have[name] for name, n in carriers_needed(design).items())


def nothing_bought(bill: Sequence[tuple[str, float]]) -> bool:
    """Whether a way needs nothing but work: no carrier, no clamps and locators. Soft jaws and programs are work."""
    return not any(name.endswith(": blank") or name == BOUGHT_CLAMPS for name, _ in bill)


def prepared_money(context: Context, options: Mapping[int, Option]) -> float:
    """Money per part for what is cut into each blank so that a grip can hold it: tapped holes, a tenon."""
    return sum(o.grip.part_seconds for o in options.values()) / 3600.0 * context.shop.rates.toolroom


def setup_hours_of(design: Design) -> float:
    """Hours to set a design up at a batch start, without the first article: each kind of carrier in each cycle."""
    return SETUP_HOURS * len({(p.carrier, p.cycle) for p in design.placings})


def losses_of(design: Design, options: Mapping[int, Option]) -> tuple[Loss, ...]:
    """Each operation's share of the work, by its cutting time, and its chance to lose the part."""
    seconds = [sum(c.seconds for c in options[o.clamping].cuts) for o in design.operations]
    whole, count = sum(seconds), len(seconds)
    chance = 1.0 - (1.0 - PLANNED_SCRAP) ** (1.0 / count)
    return tuple(Loss(s / whole if whole else 1.0 / count, chance) for s in seconds)


def design_cost(
    context: Context, design: Design, timing: Timing, capital: float, options: Mapping[int, Option] | None = None
) -> Cost:
    """Cost per part of a design with its fixtures spread over their life.

    With the grips (`options`) tools count by the life of their edges, and scrap at the value that a part has by then.
    """
    machine = context.machine(design.machine)
    return cost(
        timing,
        machine=machine,
        rates=context.shop.rates,
        per_year=context.job.per_year,
        batch=batch_of(context.job),
        material=material_price(context, context.stock_volume(design)) + prepared_money(context, options or {}),
        capital=capital,
        setup_hours=setup_hours_of(design),
        scrap=PLANNED_SCRAP,
        life_starts=context.shop.rates.fixture_life_starts,
        tools=None if options is None else tool_money(context, machine, options),
        losses=None if options is None else losses_of(design, options),
    )
