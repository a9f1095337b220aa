"""What must hold of whole plans, whatever the part: the same question, turned or mirrored, has the same answer; fatter
holders and greater clearances never allow more. A cleat with a slot and two holes, on one plate of one machine."""

from __future__ import annotations

from collections import Counter
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from palletwright.job import least_job
from palletwright.plan import make, to_dict
from palletwright.shop import Shop, example_shop
from palletwright.solid import write_step
from palletwright.solid.primitives import Block, Cut, Rod, placed

pytestmark = pytest.mark.slow

TURNED = np.array([[0.0, 0.0, 1.0, 12.0], [1.0, 0.0, 0.0, -7.0], [0.0, 1.0, 0.0, 40.0], [0.0, 0.0, 0.0, 1.0]])
"""A third of a turn about the space diagonal, and a shift: x to y, y to z, z to x."""


def cleat(hand: int = 1) -> Cut:
    """50 x 30 x 16 mm: a slot along it and two holes, one of them off the middle on the side of `hand`."""
    slot = Block((-1.0, 10.0, 10.0), (51.0, 20.0, 17.0))
    holes = tuple(Rod((x, y, -1.0), (0.0, 0.0, 1.0), 3.3, 20.0) for x, y in ((8.0, 15.0), (42.0, 15.0 + 2.0 * hand)))
    return Cut(Block((0.0, 0.0, 0.0), (50.0, 30.0, 16.0)), (slot, *holes))


def little_shop() -> Shop:
    """The example shop with one machine and one plate."""
    shop = example_shop()
    return shop.model_copy(
        update={
            "machines": tuple(m for m in shop.machines if m.id == "mc-small"),
            "carriers": tuple(c for c in shop.carriers if c.id == "plate-350x300"),
        }
    )


@cache
def folder() -> Path:
    import tempfile

    return Path(tempfile.mkdtemp(prefix="laws-"))


@cache
def planned(name: str) -> dict[str, Any]:
    """The plan of the cleat under one change of the question."""
    shape = {"turned": placed(cleat(), TURNED), "mirrored": cleat(-1)}.get(name, cleat())
    step = folder() / f"{name}.step"
    write_step(step, [("cleat", shape)])
    shop = little_shop()
    if name == "fat holders":
        shop = shop.model_copy(update={"tools": tuple(fatter(t) for t in shop.tools)})
    if name == "greater clearance":
        shop = shop.model_copy(update={"floors": shop.floors.model_copy(update={"cutter": shop.floors.cutter + 4.0})})
    return to_dict(make(least_job(step, "6061-T6", 5000, shop, name="cleat"), shop))


def fatter(tool: Any) -> Any:
    """A tool in a holder one and a half times as thick."""
    stack = tuple(c.model_copy(update={"diameter": 1.5 * c.diameter}) for c in tool.holder.stack)
    return tool.model_copy(update={"holder": tool.holder.model_copy(update={"stack": stack})})


def counts(data: dict[str, Any]) -> list[float]:
    return [w["parts_per_start"] for w in data["plans"]]


def ups(data: dict[str, Any]) -> Counter[tuple[int, ...]]:
    return Counter(tuple(round(v) for v in o["up"]) for o in data["plans"][0]["design"]["operations"])


@pytest.mark.xdist_group("laws")
class TestLaws:
    def test_the_same_question_has_the_same_answer(self) -> None:
        first = planned("plain")
        again = to_dict(
            make(least_job(folder() / "plain.step", "6061-T6", 5000, little_shop(), name="cleat"), little_shop())
        )
        assert again["identity"] == first["identity"]

    def test_a_turned_part_has_the_same_counts_and_its_directions_turned(self) -> None:
        """The search stops at a fixed effort, so that ways of many stations may differ by one; the best may not."""
        plain, turned = planned("plain"), planned("turned")
        assert counts(turned)[0] == counts(plain)[0]
        assert counts(turned) == pytest.approx(counts(plain), rel=0.03)
        assert ups(turned) == Counter({(z, x, y): n for (x, y, z), n in ups(plain).items()})

    def test_a_mirrored_part_has_the_same_counts(self) -> None:
        assert counts(planned("mirrored"))[0] == counts(planned("plain"))[0]
        assert counts(planned("mirrored")) == pytest.approx(counts(planned("plain")), rel=0.03)

    def test_fatter_holders_never_allow_more(self) -> None:
        assert max(counts(planned("fat holders"))) <= max(counts(planned("plain")))

    def test_a_greater_clearance_never_allows_more(self) -> None:
        assert max(counts(planned("greater clearance"))) <= max(counts(planned("plain")))
        assert (
            planned("greater clearance")["plans"][0]["least_clearance_mm"]
            > planned("plain")["plans"][0]["least_clearance_mm"]
        )
