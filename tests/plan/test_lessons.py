"""What a failed check teaches, with hand-made designs."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

from palletwright.plan.arrange import Candidate
from palletwright.plan.lessons import known_to_fail, taught_by
from palletwright.plan.model import Design, OperationChoice, Placing, StationAt

UP = (0.0, 0.0, 1.0)
PLATE = Placing("plate#1", "plate", "plate", 1, None, (100.0, 0.0))
PALLET = Placing("rotary", "pallet", "pallet", 4, 60.0, (0.0, 0.0))


def design(*placings: Placing) -> Design:
    choices = (OperationChoice(10, 0, UP, "plate", "edge-1"), OperationChoice(20, 1, UP, "plate", "jaw-1"))
    stations = (
        StationAt(("10.1",), 0, placings[0].mount, "a", 0.0, 0.0, 0),
        StationAt(("10.2",), 0, placings[0].mount, "a", 50.0, 0.0, 0),
        StationAt(("20.1",), 1, placings[-1].mount, "a", 0.0, 0.0, 0),
        StationAt(("20.2",), 1, placings[-1].mount, "a", 50.0, 0.0, 0),
    )
    return Design("mc", "rotary", 0, choices, placings, stations, 1)


def failed(made: Design, *conflicts: tuple[str, str]) -> Any:
    return SimpleNamespace(design=made, reaches=(SimpleNamespace(conflicts=conflicts),))


def as_candidate(made: Design) -> Candidate:
    return Candidate(made, 2, 2, (), "")


def test_an_operation_that_no_station_of_a_carrier_can_run_is_not_tried_there_again() -> None:
    lessons = taught_by(failed(design(PALLET, PLATE), ("20.1", "tailstock"), ("20.2", "x travel")))
    assert known_to_fail(as_candidate(design(replace(PALLET, sides=5), PLATE)), lessons)
    assert not known_to_fail(as_candidate(design(PALLET, replace(PLATE, at=(300.0, 0.0)))), lessons)
    assert not known_to_fail(as_candidate(design(PALLET)), lessons)


def test_a_tool_that_meets_its_own_part_does_so_wherever_that_stands() -> None:
    lessons = taught_by(failed(design(PALLET, PLATE), ("20.1", "20.1/part"), ("20.2", "20.2/part")))
    assert known_to_fail(as_candidate(design(PALLET)), lessons)


def test_conflicts_between_stations_and_of_some_stations_only_teach_nothing() -> None:
    made = design(PALLET, PLATE)
    assert not taught_by(failed(made, ("20.1", "tailstock")))
    assert not taught_by(failed(made, ("20.1", "10.1"), ("20.2", "10.2")))
