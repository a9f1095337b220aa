"""Statics that can be done by hand, each within 1 %, and the free-body check."""

from __future__ import annotations

import math

import numpy as np
import pytest

from palletwright.holding import hold

TABLE = [{"at": [x, y, 0], "normal": [0, 0, 1], "stiffness": 5e4} for x in (-40, 40) for y in (-30, 30)]


def strap(preload: float, **more: object) -> dict[str, object]:
    return {"at": [0, 0, 40], "normal": [0, 0, -1], "preload": preload} | more


def case(load: dict[str, object], clamps: list[dict[str, object]], locators=TABLE, mu=0.2, **more: object):
    return hold({"friction": mu, "safety": 2, "locator": locators, "clamp": clamps, "load": [load]} | more)


@pytest.mark.parametrize(("clamp_mu", "faces"), [(0.2, 2), (0.0, 1)])
def test_block_on_a_table_under_one_strap(clamp_mu, faces):
    """Slip at F = µ·P per face that counts."""
    got = case({"at": [0, 0, 0], "force": [100, 0, 0]}, [strap(1000, friction=clamp_mu)])
    assert got["friction_factor"] == pytest.approx(faces * 0.2 * 1000 / 100, rel=0.01)
    assert got["gives_first"].startswith("slides along")


def test_weight_adds_to_the_strap_and_is_not_scaled():
    got = case({"at": [0, 0, 0], "force": [100, 0, 0]}, [strap(1000, friction=0)], mass_kg=10)
    assert got["friction_factor"] == pytest.approx(0.2 * (1000 + 98.0665) / 100, rel=0.01)


def test_two_jaw_vise_needs_half_the_force_over_friction():
    """P ≥ S·F/(2·µ) against a pull along the jaws."""
    fixed = [{"at": [0, y, 10], "normal": [1, 0, 0]} for y in (-20, 20)]
    got = case({"at": [25, 0, 10], "force": [0, 0, 300]}, [{"at": [50, 0, 10], "normal": [-1, 0, 0]}], fixed, mu=0.15)
    assert got["least_preload_n"]["sum"] == pytest.approx(2 * 300 / (2 * 0.15), rel=0.01)
    assert got["located"]["rank"] < 6


def test_tipping_about_the_edge():
    """F·h = P·b/2 at friction high enough that nothing slides first."""
    got = case({"at": [0, 0, 60], "force": [100, 0, 0]}, [strap(1000, friction=0)], mu=3.0)
    assert got["friction_factor"] == pytest.approx(1000 * 40 / (100 * 60), rel=0.01)
    assert got["gives_first"].startswith("lifts off")


def test_twist_under_one_central_clamp():
    """M = µ·P·r: the rests all stand at radius r, the clamp in the middle resists no twist."""
    got = case({"at": [0, 0, 40], "force": [0, 0, 0], "moment": [0, 0, 1000]}, [strap(1000)])
    assert got["friction_factor"] == pytest.approx(0.2 * 1000 * math.hypot(40, 30) / 1000, rel=0.01)


def test_elastic_lift_off_of_a_preloaded_table():
    """Reactions P/4 change by M/(4·a) under a moment: the first rest lifts at M = P·a."""
    got = case({"at": [0, 0, 0], "force": [0, 0, 0], "moment": [0, 10000, 0]}, [strap(1000, friction=0)], mu=0.5)
    assert got["elastic_factor"] == pytest.approx(1000 * 40 / 10000, rel=0.01)
    assert got["gives_first"].startswith("lifts off locator")


def test_elastic_displacement_of_a_stuck_block():
    """u = F/Σk_t with k_t = 0.82·k of four rests, the clamp without friction."""
    got = case({"at": [0, 0, 0], "force": [80, 0, 0]}, [strap(1000, friction=0)])
    assert got["elastic"][0]["displacement_mm"][0] == pytest.approx(80 / (4 * 0.82 * 5e4), rel=0.01)


def test_clamp_spring_shares_a_pull():
    """A pull F on a preloaded joint: the rests lose F·k_r/(k_r + k_c), the clamp gains the rest."""
    got = case({"at": [0, 0, 0], "force": [0, 0, 500]}, [strap(1000, friction=0)])
    up = [r[2] for r in got["elastic"][0]["reactions"]]
    assert sum(up[:4]) == pytest.approx(1000 - 500 * 4 / 5, rel=0.01)
    assert up[4] == pytest.approx(-(1000 + 500 / 5), rel=0.01)


def test_slip_of_a_hundredth_ends_the_elastic_factor():
    """One rest carries all: it slides from µ·P, and the clamp's friction spring lets it go 0.01 mm further."""
    rests = [{"at": [0, 0, 0], "normal": [0, 0, 1], "stiffness": 5e4}]
    got = case(
        {"at": [0, 0, 0], "force": [1, 0, 0]},
        [{"at": [0, 0, 0], "normal": [0, 0, -1], "preload": 1000, "friction": 9}],
        rests,
    )
    k_t = 0.82 * 5e4
    slides_from = 200.0  # µ·P at the rest, when both springs have moved by 200/k_t
    assert got["elastic_factor"] == pytest.approx(slides_from + k_t * (slides_from / k_t + 0.01), rel=0.01)


def test_every_load_is_balanced_to_a_millionth():
    rng = np.random.default_rng(5)
    loads = [
        {"at": [float(v) for v in rng.uniform(-40, 40, 3)], "force": [float(v) for v in rng.normal(0, 60, 3)]}
        for _ in range(20)
    ]
    got = hold({"friction": 0.2, "safety": 1, "mass_kg": 2.0, "locator": TABLE, "clamp": [strap(2000)], "load": loads})
    places = np.array([c["at"] for c in TABLE] + [[0, 0, 40]], dtype=float)
    weight, middle = np.array([0, 0, -2.0 * 9.80665]), np.array([0.0, 0.0, 20.0])
    for load, entry in zip(loads, got["elastic"], strict=True):
        f = np.array(entry["reactions"])
        force = f.sum(axis=0) + load["force"] + weight
        moment = np.cross(places, f).sum(axis=0) + np.cross(load["at"], load["force"]) + np.cross(middle, weight)
        assert entry["balanced"]
        assert np.abs(force).max() <= 1e-6 * 2000
        assert np.abs(moment).max() <= 1e-6 * 2000 * 50


def test_nothing_helps_against_a_pull_without_friction():
    got = case({"at": [0, 0, 0], "force": [50, 0, 0]}, [strap(1000)], mu=0.0)
    assert got["least_preload_n"]["sum"] is None
    assert got["least_preload_n"]["status"] == "infeasible"
    assert got["certificate"]["least_preload"]["checked"]
    assert got["holding_factor"] == pytest.approx(0.0, abs=1e-6)
    assert got["elastic"][0]["balanced"] is False
    assert got["elastic"][0]["displacement_mm"] is None


def test_one_contact_is_not_located_and_does_not_crash():
    got = hold(
        {
            "friction": 0.2,
            "safety": 2,
            "locator": [{"at": [0, 0, 0], "normal": [0, 0, 1]}],
            "load": [{"at": [0, 0, 0], "force": [0, 0, -10]}],
        }
    )
    assert got["located"] == {"rank": 1, "condition": None, "located": False, "lifts_off": []}
    assert got["passed"] is not True


def test_three_two_one_is_located():
    base = [{"at": p, "normal": [0, 0, 1]} for p in ([0, 0, 0], [100, 0, 0], [0, 80, 0])]
    side = [{"at": p, "normal": [0, 1, 0]} for p in ([20, 0, 10], [80, 0, 10])]
    good = case({"at": [0, 0, 0], "force": [0, 0, -1]}, [], [*base, *side, {"at": [0, 40, 10], "normal": [1, 0, 0]}])
    # All three side stops through one line of action: the part turns about it (rank 5).
    bad = case({"at": [0, 0, 0], "force": [0, 0, -1]}, [], [*base, *side, {"at": [50, 0, 10], "normal": [0, 1, 0]}])
    assert good["located"]["rank"] == 6
    assert 1 <= good["located"]["condition"] < 20
    assert bad["located"]["rank"] == 5
