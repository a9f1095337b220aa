"""Defaults of flow against the shop practice that they claim to be (common practice, no source).

The numbers are read from practice.md of the shared folder, so that neither side can drift alone.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from palletwright.flow.compare import TIME_ERROR
from palletwright.flow.loading import Handling, station_time
from palletwright.flow.returns import SPREAD
from palletwright.shop.model import Floors, Rates

SHARED = Path(os.environ.get("PALLETWRIGHT_SHARED", Path(__file__).parents[3] / "shared"))


@pytest.fixture(scope="module")
def practice() -> str:
    file = SHARED / "practice.md"
    if not file.is_file():
        pytest.skip("practice.md is not beside the repository (PALLETWRIGHT_SHARED names its folder)")
    return file.read_text(encoding="utf-8")


def numbers(text: str, pattern: str) -> list[float]:
    found = re.search(pattern, text)
    assert found is not None, pattern
    return [float(v) for v in found.groups()]


def test_a_set_change_and_a_station_take_what_practice_says(practice):
    low, high = numbers(practice, r"set change by hand, door to door: (\d+)–(\d+) s")
    assert low <= Rates().swap_seconds <= high
    low, high = numbers(practice, r"A station: (\d+)–(\d+) s with blow-off and wipe")
    assert low <= Rates().station_seconds <= high
    for screws in (1, 2):
        assert low <= station_time(Handling(screws=screws)).seconds <= high


def test_allowance_up_time_and_edge_use_are_those_of_practice(practice):
    (allowance,) = numbers(practice, r"Allowance (\d+) %")
    (up_time,) = numbers(practice, r"Up-time (\d+) %")
    (edge_use,) = numbers(practice, r"can't finish below (\d+) % of its life")
    found = (Rates().allowance, Rates().up_time, Floors().edge_use)
    assert found == pytest.approx((allowance / 100, up_time / 100, edge_use / 100))


def test_cutting_time_is_as_unsure_as_practice_says(practice):
    (error,) = numbers(practice, r"within ±(\d+) %")
    assert pytest.approx(error / 100) == TIME_ERROR
    assert SPREAD["planned cutting time"] == pytest.approx(error / 100)
