"""Cuts eased to what a grip bears: one pass is enough, and no cut is eased that needn't be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from palletwright.cutting.model import Load
from palletwright.grip.model import Contact, Grip
from palletwright.holding import StationCut, bearable, certify
from palletwright.shop.model import Floors

PLACES = [
    *[("locator", at, (0, 0, 1), 0.0) for at in ((10, 10, 0), (90, 10, 0), (50, 70, 0))],
    *[("locator", at, (0, 1, 0), 0.0) for at in ((20, 0, 25), (80, 0, 25))],
    ("locator", (0, 40, 25), (1, 0, 0), 0.0),
    *[("clamp", at, n, 4000.0) for at, n in (((50, 80, 25), (0, -1, 0)), ((100, 40, 25), (-1, 0, 0)))],
    *[("clamp", at, (0, 0, -1), 3000.0) for at in ((30, 40, 50), (70, 40, 50))],
]  # fmt: skip
UP = (0.0, 0.0, 1.0)
FIELD = np.array([(x, y, 50.0) for x in (15, 85) for y in (15, 65)], dtype=float)
HOLE = np.array([[50.0, 40.0, 10.0], [50.0, 40.0, 50.0]])


def grip(regime: str) -> Grip:
    rows = tuple(
        Contact(f"{k[0].upper()}{i}", k, at, n, (0.1, 0.15), preload=p) for i, (k, at, n, p) in enumerate(PLACES)
    )
    return Grip("block", "edge", np.eye(4)[None], rows, (), regime, 4, 0.0, 0.0)


def cuts(scale: float) -> list[StationCut]:
    rough = Load(900.0 * scale, 200.0, 400.0 * scale, 8.0, 0.15, "test")
    light = Load(40.0, 20.0, 10.0, 0.5, 0.15, "test")
    return [StationCut("rough", FIELD, UP, rough), StationCut("drill", HOLE, UP, light)]


def eased(rows: list[StationCut], shares: tuple[float, ...]) -> list[StationCut]:
    names = ("side", "push", "pull", "torque")
    scaled = [replace(c.load, **{n: s * getattr(c.load, n) for n in names}) for c, s in zip(rows, shares, strict=True)]
    return [c._replace(load=load) for c, load in zip(rows, scaled, strict=True)]


@pytest.mark.parametrize("regime", ["stop", "friction"])
@pytest.mark.parametrize("scale", [1.0, 2.0])
def test_cuts_eased_to_what_is_borne_hold_and_no_more_is_eased(regime, scale):
    rows, held, floors = cuts(scale), grip(regime), Floors()
    before = certify(held, rows, mass_kg=1.1, floors=floors, advice=False, least=False)
    shares = bearable(held, rows, mass_kg=1.1, floors=floors)
    assert not before.passed
    assert min(shares) == pytest.approx(before.holding_factor / before.floor, rel=2e-3)
    assert shares[1] == 1.0  # the drill was never too heavy
    after = certify(held, eased(rows, shares), mass_kg=1.1, floors=floors, advice=False, least=False)
    assert after.holding_factor == pytest.approx(after.floor, rel=2e-3)


def test_a_grip_that_holds_asks_for_nothing_lighter():
    assert bearable(grip("friction"), cuts(0.05)[1:], mass_kg=1.1, floors=Floors()) == (1.0,)


def test_what_falls_out_by_its_own_weight_bears_no_cut():
    loose = replace(grip("stop"), contacts=grip("stop").contacts[:6])
    side = [StationCut("drill", HOLE, (0.0, 1.0, 0.0), cuts(1.0)[1].load)]
    assert bearable(loose, side, mass_kg=1.1, floors=Floors()) == (0.0,)
