"""How a way runs, on the demo part with stand-in grips: loads, wear, today's fairness, and that everything adds up."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from palletwright.cycle.model import Visit
from palletwright.demo import demo_job
from palletwright.errors import InputError
from palletwright.flow import combined, cost_range, payback, timing
from palletwright.flow.loading import station_time
from palletwright.flow.sets import waiting
from palletwright.grip.model import Contact, Device, Grip
from palletwright.job import read_job
from palletwright.job.model import TodayStep
from palletwright.plan.edges import LONGEST_LIFE, contact, edge_life, tool_money, visit_wear, wear
from palletwright.plan.handling import handling_of, station_loads
from palletwright.plan.model import Design, OperationChoice, Placing, StationAt
from palletwright.plan.money import (
    PLANNED_SCRAP,
    design_cost,
    fixture_bill,
    losses_of,
    nothing_bought,
    owned_means,
)
from palletwright.plan.options import Option
from palletwright.plan.planning import prepare
from palletwright.plan.running import starts_of, today_flow, way_flow
from palletwright.plan.stand import standings, visit_name
from palletwright.plan.today import MEASURED_SPREAD, today, today_cost, today_machine, today_spreads
from palletwright.plan.worth import least_handling
from palletwright.shop import example_shop

SHOP = example_shop()
MACHINE = "mc-small"


@pytest.fixture(scope="module")
def context():
    return prepare(read_job(demo_job("hinge_yoke"), SHOP), SHOP)


def varied(context, **job):
    return replace(context, job=context.job.model_copy(update=job))


def option(context, k: int, kind: str = "edge", parts: int = 1, screws: int = 2) -> Option:
    machine = context.machine(MACHINE)
    clamping = context.sequence(machine, "fixed", 0).clampings[k]
    ways = ((0.0, 0.0, 1.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0))
    contacts = tuple(Contact(f"L{i}", "locator", (0.0, 0.0, 0.0), n, (0.1, 0.2)) for i, n in enumerate(ways))
    device = Device("c", "clamp", "edge-m6", context.stock)
    grip = Grip("g", kind, np.stack([np.eye(4)] * parts), contacts, (device,), "stop", screws, 20.0, 0.2)
    cuts = context.cuts(machine, "fixed", 0, k)
    return Option(grip, replace_module(parts), None, cuts, clamping.ups[0], None, "plate")


def replace_module(parts: int):
    from shapely.geometry import box

    from palletwright.layout.model import Module

    return Module(0, "g", (), (), box(0, 0, 50, 50), parts, (0,))


@pytest.fixture(scope="module")
def design(context) -> Design:
    clampings = context.sequence(context.machine(MACHINE), "fixed", 0).clampings
    operations = tuple(OperationChoice(10 * (k + 1), k, c.ups[0], "plate", "g") for k, c in enumerate(clampings))
    stations = tuple(
        StationAt((f"{10 * (k + 1)}.{i}",), k, "plate-500x400#1", "plate-500x400/1", 60.0 * i, 60.0 * k, 0)
        for k in range(len(clampings))
        for i in range(4)
    )
    placing = Placing("plate-500x400#1", "plate", "plate-500x400", 1, None, (0.0, 0.0))
    return Design(MACHINE, "fixed", 0, operations, (placing,), stations, 2)


@pytest.fixture(scope="module")
def options(context, design):
    return {o.clamping: option(context, o.clamping) for o in design.operations}


@pytest.fixture(scope="module")
def timed(context, design, options):
    loads = station_loads(context, design, options, {p.mount for p in design.placings})
    return timing(1500.0, loads, 4, 2, SHOP.rates)


def test_loading_rests_on_motion_time_elements_of_the_grip(context, design, options, timed):
    assert timed.load_basis == "motion-time elements"
    by_hand = sum(4 * station_time(handling_of(context, design, o, k)).seconds for k, o in options.items())
    assert timed.load_seconds == pytest.approx(by_hand)
    hands = handling_of(context, design, options[0], 0)
    assert (hands.parts, hands.screws, hands.locators, hands.loose) == (1, 2, 3, 0)
    before, _ = context.in_process(context.machine(MACHINE), "fixed", 0, 0)
    assert hands.mass_kg == pytest.approx(before.volume * 2700e-9)


def test_no_station_is_handled_in_less_than_the_bound_s_seconds(context, design):
    least = least_handling(context.job, SHOP)
    assert least > 3.0
    for k in range(len(design.operations)):
        for kind, parts, screws in itertools.product(("edge", "wedge", "strap", "screw", "jaw"), (1, 2, 4), (1, 2)):
            hands = handling_of(context, design, option(context, k, kind, parts, screws), k)
            assert station_time(hands).seconds / parts >= least
    assert least_handling(context.job.model_copy(update={"station_seconds": 9.0}), SHOP) == 0.0


def test_a_measured_station_counts_instead(context, design, options):
    loads = station_loads(varied(context, station_seconds=17.0), design, options, {"plate-500x400#1"})
    found = timing(1500.0, loads, 4, 2, SHOP.rates)
    assert found.load_basis == "measured"
    assert found.load_seconds == pytest.approx(len(options) * 4 * 17.0)


def test_a_screw_that_comes_out_and_a_second_part_take_longer(context, design):
    edge, screw, pair = (
        station_time(handling_of(context, design, o, 0)).seconds
        for o in (option(context, 0), option(context, 0, "screw"), option(context, 0, parts=2))
    )
    assert screw > edge + 10
    assert edge < pair < 2 * edge


def test_what_one_person_does_not_lift_has_no_elements(context, design):
    heavy = replace(context, material=context.material.model_copy(update={"density": 7850.0 * 40}))
    assert handling_of(heavy, design, option(context, 0), 0) is None


def test_worn_edges_add_up_and_cost_what_they_wear(context, options):
    machine, cuts = context.machine(MACHINE), [c for o in options.values() for c in o.cuts]
    shares = wear(context, cuts)
    for cut in cuts:
        life = edge_life(cut, context.tool(cut.tool), context.material)
        assert life is None or 1.0 < life <= LONGEST_LIFE
        assert 0.02 <= contact(cut, context.tool(cut.tool)) <= 1.0
    assert 0 < sum(shares.values()) < 1
    whole = tool_money(context, machine, options)
    assert whole == pytest.approx(sum(tool_money(context, machine, {k: o}) for k, o in options.items()))
    blunt = replace(context, material=context.material.model_copy(update={"taylor": (0.25, 450.0)}))
    assert tool_money(blunt, machine, options) > 2 * whole


def test_the_visits_of_a_start_wear_what_its_stations_do(context, design, options, timed):
    rows = standings(context, design, options, 0)
    made = [
        Visit(visit_name(r, i, c), c.tool, "m", 0.0, "s", "f", c.stage, 0, (0, 0, 0), (0, 0, 0), c.seconds)
        for r in rows
        for i, c in enumerate(r.option.cuts)
    ]
    shares = visit_wear(context, rows, made)
    slower = visit_wear(context, rows, [replace(v, cut_seconds=2 * v.cut_seconds) for v in made])
    assert slower == pytest.approx({name: 2 * share for name, share in shares.items()})
    assert len(shares) <= sum(len(r.option.cuts) for r in rows)
    (start,) = starts_of(context, design, options, [timed])
    assert sum(shares.values()) == pytest.approx(sum(start.wear.values()))


def test_steel_wears_more_than_aluminium_at_one_speed(context, options):
    cut = next(c for c in options[0].cuts if c.stage == "rough")
    tool, steel = context.tool(cut.tool), SHOP.material("S235")
    assert steel is not None
    assert edge_life(cut, tool, steel) < edge_life(cut, tool, context.material)


def test_a_way_s_cost_has_tools_by_life_and_scrap_by_value(context, design, options, timed):
    money = design_cost(context, design, timed, 0.0, options)
    assert money.tools == pytest.approx(tool_money(context, context.machine(MACHINE), options))
    losses = losses_of(design, options)
    assert sum(r.share for r in losses) == pytest.approx(1.0)
    kept = np.prod([1 - r.scrap for r in losses])
    assert kept == pytest.approx(1 - PLANNED_SCRAP)
    # What is lost early has cost less than what is lost at the end.
    assert money.scrap < money.running * PLANNED_SCRAP / (1 - PLANNED_SCRAP)


def test_how_a_way_runs_is_told_whole(context, design, options, timed):
    money = design_cost(context, design, timed, 4000.0, options)
    now = today_cost(context, money.tools)
    assert now is not None
    back = payback(now[1], money, rates=SHOP.rates, hours_now=900.0, hours_then=300.0)
    told = way_flow(context, design, options, [timed], money, now[1], back)
    start = told["starts"][0]
    count = len(design.operations)
    assert start["balanced"]
    assert start["startup_starts"] == count - 1
    assert start["work_in_process"] == told["floor_pile"] == 4 * (count - 1)
    ran = start["simulated"]
    assert ran["parts_in"] == ran["finished"] + ran["scrapped"] + ran["in_process"]
    assert sum(ran["machine_minutes"].values()) == pytest.approx(ran["minutes"])
    assert sum(ran["people_minutes"].values()) == pytest.approx(ran["minutes"] * SHOP.rates.people)
    low, middle, high = (told["parts_per_shift"][p] for p in ("p10", "p50", "p90"))
    assert low <= middle <= high <= 1.05 * told["finished_per_shift"]
    # What runs can't be used more than the up-time that the shop says, but for chance.
    assert 0.5 < told["utilisation"] < SHOP.rates.up_time + 3 * ran["utilisation_error"]
    assert start["waiting"] == waiting(timed)
    assert start["alone"]["limits"]
    assert start["alone"]["minutes"] == min(1500 / 60, *start["alone"]["limits"].values())
    day = start["shift"]
    assert day["spindle"] + day["handling"] + day["waiting"] == pytest.approx(SHOP.rates.shift_hours * 60)
    assert told["load_loss"]["money"] > told["load_loss"]["of_material"] > 0
    cash = told["money"]["cash"]
    assert cash[0]["likely"] == -4000.0
    assert cash[0]["low"] < -4000.0 < cash[0]["high"]
    assert cash[-1]["likely"] > 0
    assert all(r["low"] <= r["high"] for r in cash)
    bars = told["money"]["bars"]
    assert [abs(b["at_high"] - b["at_low"]) for b in bars] == sorted(
        (abs(b["at_high"] - b["at_low"]) for b in bars), reverse=True
    )
    chart = told["people"]["chart"]
    for who in {r["who"] for r in chart["rows"]}:
        assert sum(r["minutes"] for r in chart["rows"] if r["who"] == who) == pytest.approx(chart["minutes"])


def test_wear_and_chips_of_a_start_are_those_of_its_stations(context, design, options, timed):
    (start,) = starts_of(context, design, options, [timed])
    each = wear(context, [c for o in options.values() for c in o.cuts])
    assert start.wear == pytest.approx({tool: 4 * share for tool, share in each.items()})
    removed = (context.stock_volume(design) - context.solid.volume) * 1e-6
    assert start.chips == pytest.approx(4 * removed, rel=0.1)


def test_owned_means_are_those_that_are_there_for_all_sets(context, design):
    """Two plates of that size are owned: one stands for one set, two for two, three are not there."""
    assert owned_means(context, design)
    assert not owned_means(context, replace(design, sets=3))
    again = replace(design.placings[0], mount="again", cycle=1)
    assert not owned_means(context, replace(design, placings=(*design.placings, again)))
    vises = [Placing(f"v{i}", "vise", "vise-100", 1, None, (0.0, 0.0), 0, i // 3) for i in range(6)]
    one_set = replace(design, placings=tuple(vises), sets=1)
    assert owned_means(context, one_set), "three vises serve one cycle after another"
    assert not owned_means(context, replace(one_set, sets=2))
    assert not owned_means(context, replace(one_set, placings=tuple(replace(v, cycle=0) for v in vises)))
    bought = replace(design.placings[0], carrier="plate-350x300")
    assert not owned_means(context, replace(design, placings=(bought,)))


def test_soft_jaws_and_programs_are_work_and_clamps_are_bought(context, design, options):
    assert nothing_bought((("stations: making", 211.2), ("design and programs", 1170.0)))
    assert nothing_bought(())
    assert not nothing_bought((("plate-350x300: blank", 190.0),))
    assert not nothing_bought(fixture_bill(context, design, options))


def test_every_step_of_today_costs_its_own_machine(context):
    """By hand: the steps' times at each one's rate; a dearer machine for one step moves its own share only."""
    steps = context.job.today
    moved = (steps[0].model_copy(update={"machine": "mc-large"}), *steps[1:])
    one, other = today_cost(context), today_cost(varied(context, today=moved))
    rate = {m.id: m.rate for m in SHOP.machines}
    seconds = (steps[0].cycle_seconds + steps[0].load_seconds) / steps[0].parts_per_start
    more = seconds / 3600 / SHOP.rates.up_time * (rate["mc-large"] - rate["mc-small"])
    assert other[1].machine - one[1].machine == pytest.approx(more)
    hours = sum((s.cycle_seconds + s.load_seconds) / s.parts_per_start for s in steps) / 3600
    assert one[1].machine == pytest.approx(hours / SHOP.rates.up_time * rate["mc-small"])


def test_today_has_the_tools_of_the_planned_way_and_its_own_scrap(context):
    share, planned = today_cost(context), today_cost(context, tools=0.9)
    assert (share[1].tools, planned[1].tools) == (pytest.approx(0.06 * share[1].machine), 0.9)
    none = varied(context, today=tuple(s.model_copy(update={"scrap": 0.0}) for s in context.job.today))
    assert today_cost(none)[1].scrap == 0.0 < share[1].scrap


def test_a_machine_that_the_shop_lacks_is_an_error_and_a_nameless_one_the_cheapest(context):
    step = TodayStep(operation="a", parts_per_start=1, cycle_seconds=10, load_seconds=5)
    assert today_machine(SHOP, step).rate == min(m.rate for m in SHOP.machines)
    with pytest.raises(InputError, match="mc-gone"):
        today_machine(SHOP, step.model_copy(update={"machine": "mc-gone"}))


def test_measured_times_are_surer_than_told_ones_and_it_is_said(context):
    measured = varied(context, today=tuple(s.model_copy(update={"measured": True}) for s in context.job.today))
    assert today_spreads(measured)["today's times"] == MEASURED_SPREAD
    wide, narrow = (today(c).cost_range for c in (context, measured))
    assert wide is not None
    assert narrow is not None
    assert narrow[1] - narrow[0] < wide[1] - wide[0]
    assert any("times told" in r.text for r in today(context).reasons)
    assert not any("times told" in r.text for r in today(measured).reasons)
    told = today_cost(context)[1]
    assert wide == pytest.approx(cost_range(told, 1, planned=False))


def test_today_runs_by_the_same_rules(context):
    told = today_flow(context)
    assert told is not None
    assert [s["parts"] for s in told["starts"]] == [s.parts_per_start for s in context.job.today]
    assert told["floor_pile"] == context.job.batch
    one_by_one = 1 / sum(1 / s["finished_per_shift"] for s in told["starts"])
    assert told["finished_per_shift"] == pytest.approx(one_by_one)
    assert told["parts_per_shift"]["p50"] < told["finished_per_shift"]
    assert today_flow(varied(context, today=())) is None


def test_six_starts_for_four_parts_against_one_for_nine(context):
    """Common practice, no source: 13.5, from the two descriptions. Three operations at two parts a start are six
    starts for four parts; a plan's cycle with nine finished parts is one start for nine."""
    steps = tuple(TodayStep(operation=n, parts_per_start=2, cycle_seconds=300, load_seconds=60) for n in "abc")
    old = today(varied(context, today=steps))
    assert sum(4 / s.parts_per_start for s in steps) == 6
    new = combined([timing(3000.0, [], 9, 2, SHOP.rates)])
    assert old.starts_per_part / (1.0 / new.parts_per_start) == pytest.approx(13.5)
