"""Loading time from motion-time elements, and who sets the pace."""

from __future__ import annotations

import csv
import os
import re
from dataclasses import replace
from pathlib import Path

import pytest

from palletwright.flow import StationLoad, loading, timing
from palletwright.flow.loading import Handling, bench_paces_from, resources, station_time
from palletwright.flow.sets import FALLBACK, load_seconds
from palletwright.shop.model import Rates

HANDBOOK = Path(os.environ.get("PALLETWRIGHT_SHARED", Path(__file__).parents[3] / "shared")) / "handbook"


def handbook(name: str) -> list[dict[str, str]]:
    if not (HANDBOOK / name).is_file():
        pytest.skip(f"{name} is not beside the repository (PALLETWRIGHT_SHARED names its folder)")
    with (HANDBOOK / name).open(newline="", encoding="utf-8") as text:
        return list(csv.DictReader(text))


def test_reach_and_move_are_those_of_the_tables():
    rows = {float(r["cm"]): r for r in handbook("mtm1_reach_move.csv")}
    for table, column in ((loading.REACH_B, "R_B"), (loading.MOVE_B, "M_B"), (loading.MOVE_C, "M_C")):
        assert [(cm, float(rows[cm][column])) for cm, _ in table] == list(table)


def test_other_elements_are_those_of_the_tables():
    rows = {r["element"]: r["TMU"] for r in handbook("mtm1_other.csv")}

    def value(start: str, at: int = 0) -> float:
        (text,) = [v for k, v in rows.items() if k.startswith(start)]
        return float(re.split(r"[ /]+", text)[at])

    assert value("Grasp G1A") == loading.GRASP
    assert value("Turn medium", -1) == loading.TURN_180
    assert value("Eye focus") == loading.EYE_FOCUS
    assert value("G2 regrasp") == loading.REGRASP
    assert value("P2S easy") == loading.POSITION
    assert value("Release") == loading.RELEASE
    assert value("Disengage") == loading.DISENGAGE
    assert (value("Apply pressure"), value("Apply pressure", 1)) == (loading.PRESS, loading.TIGHTEN)


def test_allowances_are_those_of_the_table():
    rows = handbook("allowances_ilo.csv")
    weights = [
        (float(m[1]) * 0.45359, float(r["percent"])) for r in rows if (m := re.match(r"weight (\d+) lb", r["factor"]))
    ]
    for kg, percent in weights:
        if kg <= 20.5:
            assert loading.allowance(kg - 0.05) == pytest.approx((5 + 4 + 2 + percent) / 100)
    assert loading.allowance(1.0, standing=False) == pytest.approx(0.09)


def test_a_load_past_the_table_is_refused():
    with pytest.raises(ValueError, match="use a lift"):
        loading.allowance(25.0)


def test_a_station_takes_what_practice_says():
    """A station with blow-off and wipe takes 15 to 30 s: common practice, no source."""
    assert 15 < station_time(Handling(screws=1)).seconds < 30
    assert 15 < station_time(Handling(screws=2)).seconds < 30


def test_elements_add_up():
    found = station_time(Handling(screws=2, parts=2))
    assert found.seconds == pytest.approx(sum(e.seconds for e in found.elements) * (1 + found.allowance))
    assert 0 < found.from_memory < 1


@pytest.mark.parametrize("change", [{"screws": 3}, {"parts": 2}, {"turns": 4.0}, {"bench_cm": 76.0}, {"mass_kg": 9.0}])
def test_more_to_do_takes_longer(change):
    plain = Handling(bench_cm=50.0)
    assert station_time(replace(plain, **change)).seconds > station_time(plain).seconds


def test_a_measured_time_is_taken_as_read():
    found = station_time(Handling(measured_seconds=21.5))
    assert (found.seconds, found.label, found.allowance) == (21.5, "measured", 0.0)


def test_loads_say_what_they_rest_on():
    rates = Rates()
    plain = StationLoad(0, 4, 2, 5.0)
    assert load_seconds([plain], rates) == pytest.approx(4 * (20 + 2 * 5) * 1.15)
    assert timing(600, [plain], 4, 2, rates).load_basis == FALLBACK
    built = replace(plain, handling=Handling(screws=2))
    assert load_seconds([built], rates) == pytest.approx(4 * station_time(Handling(screws=2)).seconds)
    timed = replace(plain, handling=Handling(measured_seconds=18.0))
    assert timing(600, [built, timed], 4, 2, rates).load_basis == "motion-time elements; measured"


def test_a_module_of_two_is_handled_once():
    pair = StationLoad(0, 4, 1, 5.0, Handling(parts=2, measured_seconds=30.0))
    assert load_seconds([pair], Rates()) == pytest.approx(60.0)


def test_the_bottleneck_comes_first():
    whole, uses = resources(machine=1800, load=900, swap=90, sets=2, deburr=300, wash=400)
    assert (whole, uses[0].name, uses[0].busy) == (1890, "machine", 1.0)
    whole, uses = resources(machine=1800, load=1500, swap=90, sets=2, deburr=600)
    assert (whole, uses[0].name) == (2190, "bench")
    assert resources(machine=1800, load=1500, swap=90, sets=2, deburr=600, people=2)[0] == 1890
    assert resources(machine=1800, load=900, swap=90, sets=1)[0] == 2790
    assert resources(machine=600, load=100, swap=90, sets=2, wash=900)[1][0].name == "wash"


def test_the_bench_paces_from_where_the_lines_cross():
    at = bench_paces_from(machine_fixed=300, machine_per_part=40, load_per_part=25, bench_per_part=45)
    assert at == pytest.approx(10.0)
    assert 300 + at * 40 == pytest.approx(at * 70)
    assert bench_paces_from(machine_fixed=300, machine_per_part=90, load_per_part=25, bench_per_part=45) is None


@pytest.mark.parametrize("wrong", [{"parts": 0}, {"screws": -1}, {"bench_cm": 200.0}, {"measured_seconds": 0.0}])
def test_impossible_handling_is_refused(wrong):
    with pytest.raises(ValueError):
        Handling(**wrong)
