"""Laws that no grip may break."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import nnls

from palletwright.cutting.model import Load
from palletwright.holding.contacts import Contacts, wrench
from palletwright.holding.elastic import balanced, elastic_factor, holds, respond, rest
from palletwright.holding.friction import UNLIMITED, friction_factors, least_preload
from palletwright.holding.loads import loads_of, undominated
from palletwright.holding.worst import lower_bounds, worst_factor

AT = np.array(
    [
        *[(10, 10, 0), (90, 10, 0), (50, 70, 0), (20, 0, 25), (80, 0, 25), (0, 40, 25)],
        *[(50, 80, 25), (100, 40, 25), (30, 40, 50), (70, 40, 50)],
    ],
    dtype=float,
)
NORMAL = np.array(
    [(0, 0, 1)] * 3 + [(0, 1, 0)] * 2 + [(1, 0, 0), (0, -1, 0), (-1, 0, 0), (0, 0, -1), (0, 0, -1)], dtype=float
)
NOTHING = np.zeros(6)
seeds = st.integers(0, 10_000)
quick = settings(max_examples=25, deadline=None)


def grip(seed: int, mu: float = 0.2, clamp_mu: float | None = None) -> Contacts:
    """The block with its places shaken by up to 8 mm in their faces, and preloads of 1 to 5 kN."""
    rng = np.random.default_rng(seed)
    at = AT + rng.uniform(-8, 8, AT.shape) * (NORMAL == 0)
    preload = np.concatenate([np.zeros(6), rng.uniform(1000, 5000, 4)])
    friction = np.concatenate([np.full(6, mu), np.full(4, mu if clamp_mu is None else clamp_mu)])
    return Contacts(tuple("abcdefghij"), 6, at, NORMAL, friction, np.full(10, 5e4), preload)


def loads(seed: int, count: int = 12) -> np.ndarray:
    rng = np.random.default_rng(seed + 77)
    at = rng.uniform((10, 10, 40), (90, 70, 50), (count, 3))
    return wrench(at, rng.normal(0, 400, (count, 3)), rng.normal(0, 2000, (count, 3)))


@quick
@given(seeds, st.floats(1.0, 4.0), st.sampled_from([None, 0.0]))
def test_all_preloads_up_together_never_lower_the_friction_factor(seed, times, clamp_mu):
    contacts, w = grip(seed, clamp_mu=clamp_mu), loads(seed)
    before = friction_factors(contacts, w, NOTHING).factor
    after = friction_factors(contacts.with_preload(times * contacts.preload[6:]), w, NOTHING).factor
    assert (after >= before * (1 - 1e-6)).all()
    np.testing.assert_allclose(after, np.minimum(times * before, UNLIMITED), rtol=1e-4)


def test_raising_one_preload_alone_can_lower_it():
    """A side clamp far above its stop tips the block: why the law holds for all together only."""
    contacts = grip(3, mu=0.05)
    high = contacts.at.copy()
    high[6] = (50, 80, 49)
    shaken = Contacts(contacts.ids, 6, high, NORMAL, contacts.mu, contacts.stiffness, contacts.preload)
    w = wrench(np.array([[50.0, 40, 50]]), np.array([[0.0, -200, 0]]), np.zeros((1, 3)))
    got = [friction_factors(shaken.with_preload([p, 1000, 1500, 1500]), w, NOTHING).factor[0] for p in (500, 4500)]
    assert got[1] < got[0]


@quick
@given(seeds, st.floats(0.05, 0.4), st.floats(1.0, 2.0))
def test_more_friction_never_lowers_it(seed, mu, times):
    w = loads(seed)
    less, more = (friction_factors(grip(seed, mu=m), w, NOTHING).factor for m in (mu, mu * times))
    assert (more >= less - 1e-6 * np.maximum(1, less)).all()


@quick
@given(seeds, st.floats(1.0, 4.0), st.sampled_from([None, 0.0]))
def test_least_preload_fed_back_gives_the_safety(seed, safety, clamp_mu):
    contacts, w = grip(seed, clamp_mu=clamp_mu), loads(seed)
    least = least_preload(contacts, w, NOTHING, safety)
    assert least.certificate["checked"]
    back = friction_factors(contacts.with_preload(least.each * (1 + 1e-6)), w, NOTHING)
    assert abs(back.factor.min() / safety - 1) < 1e-3
    assert least.total <= contacts.preload.sum() * safety / friction_factors(contacts, w, NOTHING).factor.min() * (
        1 + 1e-6
    )


@quick
@given(seeds, st.sampled_from([0, 1, 2, 3, 4, 5]), st.floats(-9, 9))
def test_one_more_locator_never_needs_more_preload(seed, beside, shift):
    contacts, w = grip(seed), loads(seed)
    extra = contacts.at[beside] + shift * (NORMAL[beside] == 0)
    more = Contacts(
        (*contacts.ids[:6], "new", *contacts.ids[6:]),
        7,
        np.insert(contacts.at, 6, extra, axis=0),
        np.insert(NORMAL, 6, NORMAL[beside], axis=0),
        np.insert(contacts.mu, 6, 0.2),
        np.full(11, 5e4),
        np.insert(contacts.preload, 6, 0.0),
    )
    a, b = (least_preload(c, w, NOTHING, 2.0).total for c in (contacts, more))
    assert b <= a * (1 + 1e-6)


@quick
@given(seeds, st.sampled_from([None, 0.0]))
def test_bounds_stay_on_their_side(seed, clamp_mu):
    contacts, w = grip(seed, clamp_mu=clamp_mu), loads(seed, 40)
    exact = friction_factors(contacts, w, NOTHING)
    assert (lower_bounds(contacts, w, NOTHING) <= exact.factor * (1 + 1e-6)).all()
    assert (exact.bound >= exact.factor * (1 - 1e-6)).all()
    np.testing.assert_allclose(exact.bound, exact.factor, rtol=1e-4)
    at_rest = rest(contacts, NOTHING)
    scale = exact.factor.min() * 1.3
    proven = balanced(contacts, at_rest, scale * w, NOTHING)
    assert (exact.factor[proven] >= scale * (1 - 1e-5)).all()


@quick
@given(seeds, st.sampled_from([None, 0.0]))
def test_the_worst_of_many_is_the_worst_of_all(seed, clamp_mu):
    contacts, w = grip(seed, clamp_mu=clamp_mu), loads(seed, 120)
    exact = friction_factors(contacts, w, NOTHING).factor
    got = worst_factor(contacts, w, NOTHING)
    assert abs(got.factor / exact.min() - 1) < 1e-5
    assert abs(exact[got.row] / exact.min() - 1) < 1e-5


@quick
@given(seeds, st.floats(1.0, 3.0))
def test_elastic_factor_falls_as_the_load_grows(seed, times):
    """s_max(α·w) = s_max(w)/α: what advice on smaller cuts rests on."""
    contacts, w = grip(seed), loads(seed, 4)
    at_rest = rest(contacts, NOTHING)
    one, _ = elastic_factor(contacts, at_rest, w, NOTHING)
    more, _ = elastic_factor(contacts, at_rest, times * w, NOTHING)
    assert abs(more * times / one - 1) < 2e-3


@quick
@given(seeds, st.sampled_from([None, 0.0]))
def test_the_elastic_factor_is_where_the_first_load_stops_holding(seed, clamp_mu):
    """Checked load by load with the plain solver: all hold just below the factor, the named one fails just above."""
    contacts, w = grip(seed, clamp_mu=clamp_mu), loads(seed, 60)
    at_rest = rest(contacts, NOTHING)
    factor, row = elastic_factor(contacts, at_rest, w, NOTHING)
    assert holds(
        contacts,
        at_rest,
        respond(contacts, at_rest, factor * (1 - 1e-3) * w, NOTHING),
    ).all()
    assert not holds(contacts, at_rest, respond(contacts, at_rest, factor * (1 + 1e-3) * w[row : row + 1], NOTHING))[0]
    shuffled = np.random.default_rng(seed).permutation(len(w))
    again, _ = elastic_factor(contacts, at_rest, w, NOTHING, order=shuffled)
    assert abs(again / factor - 1) < 3e-4


@quick
@given(seeds)
def test_a_cut_left_out_is_covered_by_those_kept(seed):
    """Every load of a dropped cut is a mean of loads that are kept, and none."""
    rng = np.random.default_rng(seed)
    corner = rng.uniform(-20, 20, (4, 3))
    inside = corner.mean(axis=0) + 0.2 * (corner - corner.mean(axis=0))
    big = Load(500.0, 100.0, 200.0, 5.0, 0.15, "test")
    small = Load(*(f * rng.uniform(0.2, 1.0) for f in (500.0, 100.0, 200.0, 5.0)), 0.15, "test")
    away = corner + np.array([60.0, 0.0, 0.0])
    up = (0.0, 0.0, 1.0)
    kept = undominated([("big", corner, up, big), ("small", inside, up, small), ("away", away, up, small)])
    assert [c.name for c in kept] == ["big", "away"]
    outer, inner = loads_of(kept[:1]).wrenches, loads_of([("small", inside, up, small)]).wrenches
    every = np.vstack([np.vstack([outer, np.zeros(6)]).T, np.ones(len(outer) + 1)])
    for w in inner[:: max(1, len(inner) // 10)]:
        assert nnls(every, np.append(w, 1.0))[1] < 1e-5 * max(1.0, float(np.abs(w).max()))


def test_a_clamps_pull_is_friction_of_its_nose_and_shares_its_cone():
    from palletwright.grip.model import Contact
    from palletwright.holding.contacts import contacts_of
    from palletwright.holding.elastic import rest

    seat = [Contact(f"R{k}", "locator", (x, y, 0.0), (0.0, 0.0, 1.0), (0.1, 0.1), device="carrier")
            for k, (x, y) in enumerate([(0.0, 0.0), (40.0, 0.0), (20.0, 40.0)], start=1)]  # fmt: skip
    stops = [Contact("A1", "locator", (10.0, 0.0, 8.0), (0.0, 1.0, 0.0), (0.1, 0.1), device="stop1"),
             Contact("A2", "locator", (30.0, 0.0, 8.0), (0.0, 1.0, 0.0), (0.1, 0.1), device="stop2"),
             Contact("B1", "locator", (0.0, 20.0, 8.0), (1.0, 0.0, 0.0), (0.1, 0.1), device="stop3")]  # fmt: skip
    push = Contact("C1", "clamp", (20.0, 40.0, 8.0), (0.0, -1.0, 0.0), (0.1, 0.1), preload=5000.0)
    pull = Contact("C1-down", "clamp", push.at, (0.0, 0.0, -1.0), (0.0, 0.0), preload=400.0)
    rows = [*seat, *stops, push, pull]
    with_friction = contacts_of(rows, clamp_friction=True)
    assert with_friction.ids[-1] == "C1"
    force = rest(with_friction, np.zeros(6)).force
    assert 0.0 < force[:3, 0].sum() <= 500.0 + 1e-6  # never more than µ times the push reaches the seat
    assert np.hypot(*force[-1, 1:]) <= 0.1 * force[-1, 0] * (1 + 1e-9)
    without = contacts_of(rows, clamp_friction=False)
    assert without.ids[-1] == "C1-down"
    assert without.mu[-1] == without.mu[-2] == 0.0
    assert without.stiffness[-1] < 10.0  # the force stays what it is when the part lifts
    assert len(set(with_friction.face[:3])) == 1
    assert len(set(with_friction.face)) == 5
