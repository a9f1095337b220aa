"""How a start runs: the simulation at peace is the closed form, each trouble costs parts, limits end the time alone."""

from __future__ import annotations

from dataclasses import replace

import pytest

from palletwright.flow import StationLoad, timing
from palletwright.flow.running import CHIP_BULK, Start, alone, floor_of, one_start, people, running
from palletwright.flow.simulate import simulate
from palletwright.shop.model import Rates

RATES = Rates()
PEACE = Rates(up_time=1.0, late_seconds=0.0, break_hours=1e9, pauses=())


def start(seconds: float = 1800.0, parts: int = 9, sets: int = 2, change: float | None = None, **more) -> Start:
    loads = [StationLoad(0, parts, 2, 5.0), StationLoad(1, parts, 1, 5.0)]
    told = timing(seconds, loads, parts, sets, RATES, pallet_change=change)
    return Start(told, (parts, parts), more.pop("wear", {}), **more)


@pytest.mark.parametrize(("sets", "change"), [(1, None), (2, None), (3, None), (2, 20.0)])
def test_at_peace_the_spindle_runs_as_the_closed_form_says(sets, change):
    one = start(sets=sets, change=change)
    floor = replace(floor_of(one, PEACE, pallet_changer=change is not None), shift_seconds=100_000.0)
    runs = [simulate(floor, shifts=20, seed=s) for s in (1, 2, 3)]
    mean = sum(r.utilisation for r in runs) / 3
    error = sum(r.utilisation_error**2 for r in runs) ** 0.5 / 3
    # A shift that cuts off a start counts what it cut: batches of whole shifts have no bias.
    assert abs(mean - one.timing.machine_seconds / one.timing.start_seconds) <= 3 * error
    assert error < 0.01


def test_stops_leave_the_up_time_that_the_shop_says():
    """One machine, hands enough for all, no breaks of tools: cut / (cut + stopped) is the up-time."""
    rates = PEACE.model_copy(update={"up_time": 0.85, "people": 3})
    floor = replace(floor_of(start(), rates), shift_seconds=100_000.0)
    runs = [simulate(floor, shifts=20, seed=s) for s in range(1, 6)]
    shares = [r.machine_seconds["cut"] / (r.machine_seconds["cut"] + r.machine_seconds["stopped"]) for r in runs]
    mean = sum(shares) / len(shares)
    spread = (sum((s - mean) ** 2 for s in shares) / (len(shares) - 1)) ** 0.5
    assert abs(mean - 0.85) <= 3 * spread / len(shares) ** 0.5
    assert spread < 0.03


@pytest.mark.parametrize(
    "trouble", [{"up_time": 0.8}, {"late_seconds": 600.0}, {"break_hours": 3.0}, {"pauses": ((60.0, 120.0),)}]
)
def test_every_trouble_costs_spindle_time(trouble):
    calm, hard = (
        one_start(start(600.0), r, edge_use=0.8)["simulated"]["utilisation"]
        for r in (PEACE, PEACE.model_copy(update=trouble))
    )
    assert hard < calm - 0.01


def test_a_pallet_changer_needs_nobody_and_waits_for_nobody():
    by_hand, changed = start(), start(change=20.0)
    assert changed.timing.attended_minutes == pytest.approx(by_hand.timing.attended_minutes - RATES.swap_seconds / 60)
    assert changed.timing.start_seconds == 1800 + 20
    ran = one_start(changed, RATES, edge_use=0.8, changer=True)["simulated"]
    assert "swap" not in ran["people_minutes"]
    assert start(sets=1, change=20.0).timing.swap_seconds == RATES.swap_seconds


def test_the_least_limit_ends_the_time_alone_and_is_named():
    asked = {"edge_use": 0.8, "chip_room": None, "changer": False, "limit": None}
    worn = start(wear={"T3": 0.4, "T5": 1.6})
    found = alone(worn, **asked)
    # An edge that a start wears 1.6 times over is at its 80 % after half the cycle.
    assert (found["minutes"], found["limited_by"]) == (pytest.approx(15.0), "tool life of T5")
    assert found["limits"]["tool life of T3"] == pytest.approx(60.0)
    chips = alone(start(chips=2.0), **asked | {"chip_room": 45.0, "changer": True})
    assert chips["minutes"] == pytest.approx(45.0 / (2.0 * CHIP_BULK) * 30.0)
    assert alone(start(), **asked | {"changer": True})["minutes"] == 60.0
    assert alone(start(), **asked | {"limit": 10.0})["limited_by"] == "the shop's own limit"
    assert alone(start(watched=True), **asked)["minutes"] == 0.0


def test_one_operator_tends_one_machine_that_must_be_watched():
    found = people(start(watched=True), operator_rate=42.0, machine_rate=30.0, stop_share=0.15)
    assert found["machines_kept_busy"] == pytest.approx(1.0)
    free = people(start(), operator_rate=42.0, machine_rate=30.0, stop_share=0.15)
    told = start().timing
    n = (told.swap_seconds + 1800) / (told.swap_seconds + told.load_seconds)
    assert free["machines_kept_busy"] == pytest.approx(n)
    assert [r["machines"] for r in free["interference"]] == [1, 2, 3, 4, 5, 6]
    assert [r["efficiency"] for r in free["interference"]] == sorted(
        (r["efficiency"] for r in free["interference"]), reverse=True
    )


def test_the_bench_paces_where_its_line_crosses_the_spindle_s():
    """900 s fixed and 100 s a part of the machine; the bench needs more a part than that."""
    one = start(1800.0, fixed=900.0)
    found = one_start(one, RATES, edge_use=0.8)["bench_paces_from"]
    bench = one.timing.load_seconds / 9 + 35 * 1.15
    assert found == pytest.approx(900 / (bench - 100) if bench > 100 else 0.0) or (found is None and bench <= 100)


def test_two_kinds_of_starts_share_the_shift_and_a_batch_waits_between():
    a, b = start(1200.0, 8), start(600.0, 4)
    more = {"machine_rate": 30.0, "edge_use": 0.8, "batch": 100, "setup_hours": 1.0}
    both = running([a, b], RATES, **more)
    alone_a, alone_b = running([a], RATES, **more), running([b], RATES, **more)
    assert 1 / both["finished_per_shift"] == pytest.approx(
        1 / alone_a["finished_per_shift"] + 1 / alone_b["finished_per_shift"]
    )
    assert both["floor_pile"] == 100 + 8
    assert both["batch"]["lead_hours"] == pytest.approx(
        alone_a["batch"]["lead_hours"] + alone_b["batch"]["lead_hours"] - 1.0
    )
