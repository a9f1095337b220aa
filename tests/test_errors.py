"""What is raised on purpose says where, what, and what is allowed."""

from __future__ import annotations

import pytest

from palletwright.errors import Fault, InputError, NoPlan, PalletwrightError, SolidError
from palletwright.verdict import Margin, Reason


@pytest.mark.parametrize(
    ("fault", "text"),
    [
        (Fault("a.toml", "k", "3", "is bad", "4", 7), "a.toml, line 7: k = 3: is bad; allowed: 4"),
        (Fault("a.toml", "k", "3", "is bad"), "a.toml: k = 3: is bad"),
        (Fault("a.toml", "k", "", "is missing", "a number"), "a.toml: k: is missing; allowed: a number"),
        (Fault("a.step", "", "", "holds no solid"), "a.step: holds no solid"),
    ],
)
def test_a_fault_reads_as_a_sentence(fault: Fault, text: str) -> None:
    assert str(fault) == text


def test_an_input_error_carries_every_fault() -> None:
    faults = [Fault("a", "k", "1", "x"), Fault("a", "l", "2", "y")]
    error = InputError(faults)
    assert error.faults == tuple(faults)
    assert str(error).splitlines() == ["a: k = 1: x", "a: l = 2: y"]
    with pytest.raises(ValueError, match="at least one fault"):
        InputError([])


def test_the_tree() -> None:
    assert issubclass(SolidError, InputError)
    assert issubclass(InputError, PalletwrightError)
    assert issubclass(NoPlan, PalletwrightError)
    assert not issubclass(NoPlan, InputError)


def test_no_plan_gives_its_reasons() -> None:
    assert "vise-125: too narrow" in str(NoPlan([Reason("vise-125", "too narrow", 3.0, "mm")]))


@pytest.mark.parametrize(("have", "passed"), [(1.99, False), (2.0, True), (2.5, True)])
def test_a_margin_passes_at_its_need(have: float, passed: bool) -> None:
    margin = Margin("clearance", "T1", "clamp 7", 2.0, have, "mm")
    assert margin.passed is passed
    assert margin.spare == pytest.approx(have - 2.0)
