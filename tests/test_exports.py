"""What the package offers, and that importing it costs nothing."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

import palletwright

EXPORTS = {
    "Fault",
    "InputError",
    "NoPlan",
    "PalletwrightError",
    "SolidError",
    "access",
    "check",
    "compare",
    "demo",
    "example_shop",
    "hold",
    "papers",
    "plan",
    "rank",
    "read_job",
    "read_shop",
    "schema",
    "serve",
    "time",
}
HEAVY = ("pint", "ortools", "OCP", "build123d", "numba", "scipy", "numpy", "pydantic", "pandas")

PROBE = """
import json, sys, time
began = time.perf_counter()
import palletwright
seconds = time.perf_counter() - began
print(json.dumps([seconds, [name for name in {heavy!r} if name in sys.modules]]))
"""


def test_the_exports_are_these_and_no_others() -> None:
    assert set(palletwright.__all__) == EXPORTS
    assert list(palletwright.__all__) == sorted(palletwright.__all__)


@pytest.mark.parametrize("name", sorted(EXPORTS))
def test_every_export_is_there(name: str) -> None:
    assert callable(getattr(palletwright, name))


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        palletwright.nothing  # noqa: B018


def test_importing_is_light() -> None:
    """Under 0.3 s at the best of three (other work shares the machine), and none of the heavy libraries."""
    seconds = []
    for _ in range(3):
        command = [sys.executable, "-c", PROBE.format(heavy=HEAVY)]
        ran = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60)
        took, loaded = json.loads(ran.stdout)
        assert loaded == []
        seconds.append(took)
    assert min(seconds) < 0.3


VERBS = ("access", "check", "compare", "demo", "hold", "papers", "plan", "rank", "schema", "serve", "time")


@pytest.mark.parametrize("name", VERBS)
def test_every_verb_is_a_function_of_the_package(name: str) -> None:
    assert callable(getattr(palletwright, name))


def test_a_room_with_a_verbs_name_is_called_as_the_verb_and_keeps_what_it_exports() -> None:
    from palletwright.plan import make

    with pytest.raises(palletwright.InputError, match="--material"):
        palletwright.plan("part.step")  # type: ignore[operator]
    assert palletwright.plan.make is make


def test_a_verb_that_is_no_room_answers_as_the_command_line_does() -> None:
    assert "unit" in palletwright.schema("shop")["properties"]
