"""Flow against published answers.

Sources
-------
Stevenson, Operations Management, 14th ed.: finite-source tables and examples, two-machine flow (Johnson's rule).
Ashcroft, Journal of the Royal Statistical Society B (1950): machines running with constant service.
Niebel, Motion and Time Study: one operator and several machines.
Worker-machine notes after Freivalds and Niebel; a solved sheet in Tompkins' notation; worker cluster problems.
Hoffman, Jig and Fixture Design, section II, p. 94: cost per part, saving, break-even (see test_money).
Fixture habits (six starts for four parts, one start for nine): common practice, no source.

Published values stand beside the tolerance that their printed digits allow.
"""

from __future__ import annotations

import pytest

from palletwright import flow
from palletwright.flow import batch, people


def test_stevenson_five_machines_one_server():
    published = {"running": 4.025, "waiting": 0.40, "served": 0.575, "efficiency": 0.920}
    found = flow.finite_source(machines=5, service_factor=0.125, servers=1)
    assert found.running == pytest.approx(published["running"], abs=0.005)
    assert found.waiting == pytest.approx(published["waiting"], abs=0.005)
    assert found.served == pytest.approx(published["served"], abs=0.0005)
    assert found.efficiency == pytest.approx(published["efficiency"], abs=0.0005)
    # Its printed chance of waiting, 0.575, is the served number once more: who calls sees four machines.
    assert found.must_wait == pytest.approx(0.4727, abs=0.0001)


@pytest.mark.parametrize(("servers", "cost"), [(1, 305.5), (2, 159.9), (3, 148.2), (4, 158.7)])
def test_stevenson_ten_machines_how_many_operators(servers, cost):
    """Service 14, running 86 min, downtime 70 and an operator 15 an hour; exact birth-death answers."""
    found = flow.finite_source(machines=10, service_factor=0.14, servers=servers)
    assert (10 - found.running) * 70 + 15 * servers == pytest.approx(cost, abs=0.06)


@pytest.mark.parametrize(("machines", "k", "running"), [(6, 0.1, 5.278), (4, 0.2, 3.123)])
def test_ashcroft_constant_service(machines, k, running):
    found = flow.finite_source(machines=machines, service_factor=k / (1 + k), constant_service=True)
    assert found.running == pytest.approx(running, abs=0.0005)
    assert found.running + found.waiting + found.served == pytest.approx(machines)


def test_niebel_five_machines_a_piece():
    """l = 0.038 h, m = 0.164 h, operator 12.80 and machine 14 an hour: five machines cost 3.35 a piece."""
    cost = flow.machine_tending_cost(
        load=0.038 * 60, attend=0.0, run=0.164 * 60, operator_rate=12.80, machine_rate=14.0, machines=5
    )
    assert cost == pytest.approx(3.35, abs=0.005)
    assert people.most_without_waiting(load=0.038, attend=0.0, run=0.164) == pytest.approx(5.3, abs=0.05)


@pytest.mark.parametrize(("machines", "published"), [(3, 13.89), (4, 13.54)])
def test_tompkins_five_one_twenty(machines, published):
    """a = 5, b = 1, t = 20 min, 10 and 30 an hour: n' = 4.17, 13.89 with three machines, 13.54 with four."""
    case = {"load": 5.0, "attend": 1.0, "run": 20.0}
    cost = flow.machine_tending_cost(**case, operator_rate=10, machine_rate=30, machines=machines)
    assert cost == pytest.approx(published, abs=0.006)
    assert people.most_without_waiting(**case) == pytest.approx(4.17, abs=0.005)
    assert people.best_machines(**case, operator_rate=10, machine_rate=30)[0] == 4


def test_tompkins_idle_operator_with_three_machines():
    chart = people.man_machine_chart(machines=3, load=5, attend=1, run=20)
    assert chart.minutes("operator", "idle") == pytest.approx(7.0)


@pytest.mark.parametrize(("machines", "published"), [(4, 3.617), (5, 3.967)])
def test_tompkins_six_one_twentyfive(machines, published):
    """a = 6, b = 1, t = 25 min, 4 and 6 an hour: n' = 4.43, four machines 3.617, five 3.967."""
    case = {"load": 6.0, "attend": 1.0, "run": 25.0}
    cost = flow.machine_tending_cost(**case, operator_rate=4, machine_rate=6, machines=machines)
    assert cost == pytest.approx(published, abs=0.0006)
    assert people.most_without_waiting(**case) == pytest.approx(4.43, abs=0.005)


@pytest.mark.parametrize(("machines", "published"), [(2, 1.2500), (3, 1.2833)])
def test_synchronous_servicing(machines, published):
    """l = 1.0, m = 2.0, w = 0.1 min, 10 and 20 an hour: two machines are cheaper than three."""
    cost = flow.machine_tending_cost(
        load=1.0, attend=0.1, run=2.0, operator_rate=10, machine_rate=20, machines=machines
    )
    assert cost == pytest.approx(published, abs=0.00006)
    assert people.best_machines(load=1.0, attend=0.1, run=2.0, operator_rate=10, machine_rate=20)[0] == 2


@pytest.mark.parametrize(("machines", "published"), [(2, 0.45), (4, 0.394), (5, 0.425)])
def test_worker_cluster_two_units_a_cycle(machines, published):
    """Service 0.35, walk 0.15, run 1.90 min, two units a cycle, 12 and 18 an hour."""
    cost = flow.machine_tending_cost(
        load=0.35, attend=0.15, run=1.90, operator_rate=12, machine_rate=18, machines=machines
    )
    assert cost / 2 == pytest.approx(published, abs=0.0006)


def test_grinding_cluster():
    """Tm 3.6 min, Ts 40 s, Tr 20 s: n = 4.27, four machines, 16 s idle in 4.267 min, 56.25 pieces an hour."""
    case = {"load": 40 / 60, "attend": 20 / 60, "run": 3.6}
    assert people.most_without_waiting(**case) == pytest.approx(4.27, abs=0.005)
    chart = people.man_machine_chart(machines=4, **case)
    assert chart.cycle == pytest.approx(4.267, abs=0.0005)
    assert chart.minutes("operator", "idle") * 60 == pytest.approx(16.0, abs=0.05)
    assert 60 / chart.cycle * chart.pieces == pytest.approx(56.25, abs=0.005)


def test_johnson_two_machine_flow():
    jobs = {"A": (5, 5), "B": (4, 3), "C": (8, 9), "D": (2, 7), "E": (6, 8), "F": (12, 15)}
    order, end = batch.johnson(jobs)
    assert end == 51
    assert sorted(order) == sorted(jobs)


@pytest.mark.parametrize(("sets", "published"), [(1, 0.600), (2, 0.789), (3, 0.877), (4, 0.924)])
def test_sets_in_a_closed_loop(sets, published):
    assert flow.utilisation_exponential(30, 20, sets) == pytest.approx(published, abs=0.0005)


@pytest.mark.parametrize("sets", [1, 2, 5, 9])
def test_equal_exponential_servers_in_a_closed_loop(sets):
    """X = N / (N + 1)."""
    assert flow.utilisation_exponential(7.0, 7.0, sets) == pytest.approx(sets / (sets + 1))


def test_six_starts_for_four_parts_against_one_for_nine():
    """The old way: three operations, two parts a start in two vises, each load run twice for four parts."""
    four_parts = 4
    starts_of_each_operation = [2, 2, 2]
    old = flow.starts_per_part([four_parts / n for n in starts_of_each_operation])
    new = flow.starts_per_part([9])
    assert old / new == pytest.approx(13.5)
    assert new == pytest.approx(1 / 9)
