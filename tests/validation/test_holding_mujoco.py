"""Slip and tipping thresholds of six grips in a general physics engine (MuJoCo) against our friction factor.

The part is a free rigid box; locators are fixed balls, clamps are balls on frictionless slides pressed with a
constant force, which is what the friction verdict assumes. The load grows slowly until the part has moved by 0.5 mm.
The engine's contacts are soft and its friction creeps, so its threshold is met within a band, not exactly.

Where contacts share the load in more ways than statics decides (several rests, side stops) the engine follows its own
compliance, so it may let go a little earlier than the best friction state that our program finds; never by more than
the 10 % allowed here for these grips.
"""

from __future__ import annotations

import numpy as np
import pytest

from palletwright.holding import hold

mujoco = pytest.importorskip("mujoco", reason="the physics engine is a development dependency")

MU = 0.2
BOX = np.array([100.0, 80.0, 40.0])
RESTS = [((x, y, 0), (0, 0, 1)) for x in (10, 90) for y in (10, 70)]
STRAP = [((50, 40, 40), (0, 0, -1), 1000.0)]
JAW = [((0, y, 20), (1, 0, 0)) for y in (25, 55)]
JAW_CLAMP = [((100, 40, 20), (-1, 0, 0), 1500.0)]
STOPS = [((20, 0, 20), (0, 1, 0)), ((80, 0, 20), (0, 1, 0))]

# name, locators, clamps, where the load acts, its direction (N)
GRIPS = [
    ("strap, push along x", RESTS, STRAP, (50, 40, 0), (100, 0, 0)),
    ("strap, push aslant", RESTS, STRAP, (50, 40, 0), (70, 70, 0)),
    ("strap, push at a corner: slides and turns", RESTS, STRAP, (90, 40, 0), (0, 100, 0)),
    ("two jaws, pull up", JAW, JAW_CLAMP, (50, 40, 20), (0, 0, 100)),
    ("strap, tipping over the edge", RESTS, STRAP, (50, 40, 320), (50, 0, 0)),
    ("rests, stops and a side clamp, push along the stops", RESTS + STOPS, [*STRAP, ((50, 80, 20), (0, -1, 0), 1000.0)],
     (50, 40, 0), (100, 0, 0)),
]  # fmt: skip


def model(locators, clamps, mu, clamp_mu):
    """MJCF in metres. Balls of 3 mm touch the box at the contact points."""
    radius = 0.003
    world = []
    for i, (at, normal) in enumerate(locators):
        p = np.array(at) / 1000 - radius * np.array(normal)
        world.append(f'<geom name="l{i}" type="sphere" size="{radius}" pos="{p[0]} {p[1]} {p[2]}"/>')
    for i, (at, normal, _) in enumerate(clamps):
        p = np.array(at) / 1000 - radius * np.array(normal)
        axis = " ".join(map(str, normal))
        world.append(
            f'<body pos="{p[0]} {p[1]} {p[2]}"><joint name="c{i}" type="slide" axis="{axis}" damping="20"/>'
            f'<geom type="sphere" size="{radius}" mass="0.2" priority="1" '
            f'friction="{clamp_mu} 0 0"/></body>'
        )
    half, middle = BOX / 2000, BOX / 2000
    box = (
        f'<body name="part" pos="{middle[0]} {middle[1]} {middle[2]}"><freejoint/>'
        f'<geom type="box" size="{half[0]} {half[1]} {half[2]}" mass="1"/></body>'
    )
    return mujoco.MjModel.from_xml_string(
        f'<mujoco><option timestep="0.0005" cone="elliptic" impratio="50" gravity="0 0 0" iterations="100" '
        f'tolerance="1e-10" integrator="implicitfast"/><default><geom condim="3" friction="{mu} 0 0" solref="0.005 1" '
        f'solimp="0.99 0.999 0.0001"/></default><worldbody>{"".join(world)}{box}</worldbody></mujoco>'
    )


def threshold(locators, clamps, at, force, mu, clamp_mu, around):
    """Scale of the load at which the part has moved by 0.5 mm, the load growing over two seconds past `around`."""
    m = model(locators, clamps, mu, clamp_mu)
    d = mujoco.MjData(m)
    body = m.body("part").id
    for i, (_, _, preload) in enumerate(clamps):
        d.qfrc_applied[m.jnt_dofadr[m.joint(f"c{i}").id]] = preload
    for _ in range(400):
        mujoco.mj_step(m, d)
    start, centre = d.xpos[body].copy(), d.xmat[body].copy()
    arm, push = (np.array(at) - BOX / 2) / 1000, np.array(force, dtype=float)
    steps = 4000
    for i in range(steps):
        scale = around * (0.6 + 0.8 * i / steps)
        d.xfrc_applied[body, :3] = scale * push
        d.xfrc_applied[body, 3:] = scale * np.cross(arm, push)
        mujoco.mj_step(m, d)
        if np.abs(d.xpos[body] - start).max() > 5e-4 or np.abs(d.xmat[body] - centre).max() > 1e-2:
            return scale
    return np.inf


@pytest.mark.parametrize(("name", "locators", "clamps", "at", "force"), GRIPS, ids=[g[0] for g in GRIPS])
def test_slip_threshold(name, locators, clamps, at, force):
    # Tipping: rests that don't slide, a strap that lets the top go.
    mu, clamp_mu = (3.0, 0.0) if "tipping" in name else (MU, MU)
    ours = hold(
        {
            "friction": mu,
            "safety": 1,
            "locator": [{"at": list(p), "normal": list(n)} for p, n in locators],
            "clamp": [{"at": list(p), "normal": list(n), "preload": f, "friction": clamp_mu} for p, n, f in clamps],
            "load": [{"at": list(at), "force": list(force)}],
        }
    )["friction_factor"]
    engine = threshold(locators, clamps, at, force, mu, clamp_mu, ours)
    assert engine == pytest.approx(ours, rel=0.10)
