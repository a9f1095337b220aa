"""Features, clampings and in-process shapes of blocks whose answer is known."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from access_cases import answered, block, built, machine, material, shop

from palletwright.access import analyse, in_process, to_json
from palletwright.access.clampings import Problem, Setting, Task, reasons_of_more, solve
from palletwright.access.columns import look
from palletwright.access.model import Route
from palletwright.access.shapes import body_of
from palletwright.errors import InputError
from palletwright.field import clearances
from palletwright.field import view as height_field
from palletwright.job.model import Blank, DrawingFact, Job, KnownOperation, Override
from palletwright.solid import stock_mesh
from palletwright.solid.tolerances import Tolerance, Tolerances

SIZE = (100.0, 80.0, 50.0)
UP, DOWN = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0)
OPPOSED = [("cylinder", (30, 40, 40), UP, 2.5, 11), ("cylinder", (70, 40, -1), UP, 2.5, 11)]
RING = [
    ("cylinder", (25, 40, 40), UP, 2.5, 11),
    ("cylinder", (45, 40, -1), UP, 2.5, 11),
    ("cylinder", (65, -1, 25), (0, 1, 0), 2.5, 11),
    ("cylinder", (80, 81, 25), (0, -1, 0), 2.5, 11),
]
BOTH_ENDS = (((-1, 40, 25), (1, 0, 0)), ((101, 40, 25), (-1, 0, 0)))
MIXED = [
    ("box", (20, 20, 35), (60, 60, 51)),
    *[("cylinder", (x, y, 30), UP, 6, 21) for x, y in ((26, 26), (54, 26), (26, 54), (54, 54))],
    ("box", (-1, 30, 40), (101, 40, 51)),
    ("cylinder", (85, 20, -1), UP, 3.3, 52),
    ("cylinder", (85, 60, -1), UP, 3.3, 52),
    ("cylinder", (85, 60, 43), UP, 5.5, 8),
]
FINISHED = Blank(kind="finished")


def job(**more) -> Job:
    return Job(**({"part": "block.step", "material": "6061-T6", "per_year": 100, "blank": FINISHED} | more))


@cache
def mixed():
    return answered(block(MIXED))


def test_drilled_from_two_opposed_sides_needs_two_clampings_proven():
    access = answered(block(OPPOSED), job())
    assert len(access.features) == 2
    first = access.fixed[0]
    assert (len(first.clampings), first.bound, first.proven) == (2, 2, True)
    assert all(len(o.clampings) <= 3 for o in access.fixed)


def counts(order):
    return len(order.clampings), order.bound, order.proven


def test_ports_on_four_sides_in_a_ring_need_four_fixed_and_one_rotary_by_the_end():
    access = answered(block(RING), job())
    assert counts(access.fixed[0]) == (4, 4, True)
    assert counts(access.rotary[0]) == (1, 1, True)
    (held,) = access.rotary[0].clampings
    assert held.on_end
    assert held.ups[0] in ((1.0, 0.0, 0.0), (-1.0, 0.0, 0.0))
    # On a side of a carrier the part rests on one of the four: two clampings, proven for that mounting.
    beside = [o for o in access.rotary if not any(c.on_end for c in o.clampings)]
    assert counts(beside[0]) == (2, 2, True)


@pytest.mark.parametrize(("ends", "more"), [(BOTH_ENDS[:1], 1), (BOTH_ENDS, 2)])
def test_what_the_ends_of_a_ring_need_comes_on_top(ends, more):
    bores = [("cylinder", at, way, 4.0, 12) for at, way in ends]
    access = answered(block(RING + bores), job())
    assert counts(access.fixed[0]) == (4 + more, 4 + more, True)
    first = access.rotary[0]
    assert first.proven
    # One for the ring; two ends that point apart are never seen from one setting that sees the ring, nor both at once
    # but with the axis square to them, which then sees two sides of the ring as well.
    assert counts(first) == (2, 2, True)


def test_three_sides_of_a_ring_need_one_rotary_clamping():
    access = answered(block([RING[0], *RING[2:]]), job())
    first = access.rotary[0]
    assert (len(first.clampings), first.bound) == (1, 1)
    assert first.clampings[0].axis in ((1.0, 0.0, 0.0), (-1.0, 0.0, 0.0))
    assert first.clampings[0].ups == (UP,)


def test_the_removals_are_the_blank_without_the_part():
    access = mixed()
    whole = access.stock.volume - access.solid.mesh.volume
    assert sum(f.volume for f in access.features) == pytest.approx(whole, rel=1e-3)
    bodies = [body_of(f.removal) for f in access.features]
    for k, a in enumerate(bodies):
        for b in bodies[:k]:
            assert (a ^ b).volume() < 1e-3 * min(a.volume(), b.volume()) + 1e-6


def test_in_process_shapes_are_closed_shrink_and_end_as_the_part():
    access = mixed()
    for order in (access.fixed[0], access.rotary[0]):
        last = access.stock.volume
        for k in range(len(order.clampings)):
            before, after = in_process(access, order, k)
            assert before.volume == pytest.approx(last, rel=1e-9)
            assert after.volume < before.volume
            body_of(after)
            last = after.volume
        left = sum(x.mm3 for x in access.left_over)
        assert last == pytest.approx(access.solid.mesh.volume + left, rel=1e-3)
    with pytest.raises(IndexError):
        in_process(access, access.fixed[0], len(access.fixed[0].clampings))


def test_every_feature_is_cut_once_and_only_from_directions_that_its_clamping_has():
    access = mixed()
    routes = {f.id: {r.direction for r in f.routes} for f in access.features}
    for order in access.fixed + access.rotary:
        cut = [name for c in order.clampings for name, _ in c.features]
        assert set(cut) == {f.id for f in access.features if f.routes}
        twice = {name for name in cut if cut.count(name) > 1}
        assert all(f.id not in twice or all(r.pair for r in f.routes) for f in access.features)
        for c in order.clampings:
            for name, d in c.features:
                assert d in routes[name]
                if c.axis is not None:
                    assert abs(np.dot(d, c.axis)) < 1e-3
                    assert all(np.dot(d, u) >= -1e-6 for u in c.ups)
                else:
                    assert np.dot(d, c.ups[0]) > 0.999


def test_no_clamping_cuts_the_face_that_it_rests_on():
    access = mixed()
    slabs = {f.id: r.direction for f in access.features for r in f.routes if any(c.stage == "face" for c in r.cuts)}
    for order in access.fixed + access.rotary:
        for c in order.clampings:
            for name, _ in c.features:
                if name in slabs:
                    assert all(np.dot(slabs[name], u) > -0.999 for u in c.ups)


def test_tips_never_cut_into_the_part_and_cover_what_they_claim():
    access = mixed()
    tools = {t.number: t for t in shop().tools}
    for f in access.features:
        if f.kind == "hole":
            continue
        for r in f.routes[:4]:
            view = look(access.solid.mesh.corners, r.direction, access.pitch, 14.0)
            last = r.cuts[-1]
            radius = tools[last.tool].cutter.DC / 2
            tips = last.tips @ view.frame.T
            seen = f.removal.corners.mean(axis=1) @ view.frame.T
            j, i = np.nonzero(np.isfinite(view.height))
            cells = np.stack([view.origin[0] + (i + 0.5) * view.pitch, view.origin[1] + (j + 0.5) * view.pitch], 1)
            for x, y, z in tips[:: max(1, len(tips) // 60)]:
                near = np.hypot(cells[:, 0] - x, cells[:, 1] - y) < radius - 1.5 * view.pitch
                assert view.height[j[near], i[near]].max(initial=-np.inf) <= z + 0.26 * view.pitch + 0.06
            reach = np.hypot(seen[:, None, 0] - tips[None, :, 0], seen[:, None, 1] - tips[None, :, 1]).min(axis=1)
            assert np.quantile(reach, 0.95) <= radius + 2.0 + view.pitch


def test_a_turned_or_mirrored_part_has_the_same_counts():
    turns = [None, ((0, 0, 1), np.pi / 2), ((1, 0, 0), -np.pi / 2), ((0.3, 0.5, 0.8), 1.1)]
    rows = []
    for solid in built([(SIZE, MIXED, t, m) for t in turns for m in (False, True)]):
        a = answered(solid)
        kinds = sorted(f.kind for f in a.features)
        rows.append((kinds, len(a.fixed[0].clampings), len(a.rotary[0].clampings)))
        assert sum(f.volume for f in a.features) == pytest.approx(sum(f.volume for f in mixed().features), rel=2e-3)
    assert all(r == rows[0] for r in rows)


def test_the_same_question_has_the_same_answer():
    solid = block(MIXED)
    assert json.dumps(to_json(answered(solid))) == json.dumps(to_json(answered(solid)))


def test_json_has_the_published_keys():
    row = json.loads(json.dumps(to_json(mixed(), 1.5)))
    keys = {"directions", "features", "unreachable_mm3", "unreachable", "operations", "pitch_mm", "error_bound_mm"}
    assert keys | {"seconds"} == set(row)
    assert set(row["directions"][0]) == {"vector", "reachable_mm3"}
    hole = next(f for f in row["features"] if f["kind"] == "hole")
    assert {"id", "kind", "directions", "diameter_mm", "depth_mm", "through", "axis", "position_mm"} <= set(hole)
    for family in ("fixed", "rotary"):
        assert set(row["operations"][family]) == {"clampings", "bound", "proven"}
        first = row["operations"][family]["clampings"][0]
        assert {"directions", "features"} <= set(first)
        assert first["mounting"] == ("fixed" if family == "fixed" else first["mounting"])


def test_a_hidden_slot_is_left_over_and_named():
    tee = [
        ("box", (-1, 38, 30), (101, 42, 51)),
        ("box", (-1, 30, 20), (50, 50, 30)),
        ("box", (50, 30, 20), (51, 50, 30)),
    ]
    closed = [("box", (20, 38, 30), (80, 42, 51)), ("box", (20, 25, 20), (80, 55, 30))]
    access = answered(block(closed), job())
    stays = sum(x.mm3 for x in access.left_over)
    # The wings under the overhang: 60 x (30 - 4) x 10 mm, and the narrow ends that a round mill can't make.
    assert stays == pytest.approx(60 * 26 * 10, rel=0.08)
    assert any("undercut" in x.why for x in access.left_over)
    through = answered(block(tee[:1]), job())
    assert sum(x.mm3 for x in through.left_over) == 0


def test_a_corner_sharper_than_the_smallest_mill_stays():
    square = [("box", (30, 30, 30), (60, 60, 51))]
    access = answered(block(square), job())
    (pocket,) = access.features
    assert pocket.kind == "pocket"
    least = min(r.left_over for r in pocket.routes)
    smallest = min(t.cutter.DC for t in shop().tools if t.cutter.kind == "end_mill" and t.cutter.LU >= 20) / 2
    exact = 4 * (1 - np.pi / 4) * smallest**2 * 20
    assert least <= exact + 2 * access.pitch * 20
    assert max(r.left_over for r in pocket.routes) >= 0


def test_a_fatter_holder_never_reaches_more():
    solid = block([("box", (40, 30, 10), (52, 50, 51)), ("cylinder", (80, 40, 20), UP, 3.3, 31)])
    reached = []
    for extra in (0.0, 20.0, 60.0):
        tools = tuple(
            t.model_copy(
                update={
                    "holder": t.holder.model_copy(
                        update={
                            "stack": tuple(
                                s.model_copy(update={"diameter": s.diameter + extra}) for s in t.holder.stack
                            )
                        }
                    )
                }
            )
            for t in shop().tools
        )
        fat = shop().model_copy(update={"tools": tools})
        a = analyse(solid, stock_mesh(solid, FINISHED), fat, material(), machine(), job())
        reached.append(sum(max((r.reached for r in f.routes), default=0.0) * f.volume for f in a.features))
    assert reached[0] >= reached[1] - 1e-6
    assert reached[1] >= reached[2] - 1e-6


def test_shank_and_holder_keep_the_distance_that_reach_asks_for():
    """A slot half a millimetre shallower than a stubby mill's neck; the height field never reads too much."""
    solid = block([("box", (-1, 30, 30.5), (101, 35, 51)), ("box", (60, 50, 23.5), (75, 70, 51))])
    access = answered(solid, job())
    tools = {t.number: t for t in shop().tools}
    need, pitch, checked, wide = 1.0, 0.25, 0, 0
    assert machine().tool_setter
    for f in access.features:
        for r in f.routes:
            seen = height_field(solid.mesh, r.direction, pitch)
            for c in r.cuts:
                rows = tuple(row for row in tools[c.tool].stack() if row[0] > tools[c.tool].cutter.DC / 2 + 1e-9)
                have = clearances(c.tips @ seen.frame.T, rows, seen).distance.min()
                assert have >= need - 2**0.5 * pitch, (f.id, c.tool, have)
                checked += 1
                wide += have < 10.0
    assert checked >= 4
    assert wide


def test_what_no_tool_reaches_alone_is_cut_by_two_and_the_rest_is_named():
    """A wide, deep pocket beside a narrow, shallow slot in one region: neither mill alone reaches 98 % of it."""
    solid = block([("box", (10, 10, 8), (60, 70, 51)), ("box", (55, 38, 44), (95, 43, 51))])
    access = answered(solid, job())
    (pocket,) = [f for f in access.features if f.kind != "hole"]
    best = max(r.reached for r in pocket.routes)
    assert best >= 0.95
    named = sum(x.mm3 for x in access.left_over)
    assert named == pytest.approx(min(r.left_over for r in pocket.routes), abs=500.0)


def test_edge_breaks_are_cut_by_a_chamfering_mill_that_stands_off_the_part():
    access = answered(block([("chamfer", 20.0, 1.0)], size=(60.0, 40.0, 20.0)), job())
    (chamfer,) = access.features
    assert chamfer.kind == "chamfer"
    # 45° prisms 1 mm wide along four edges, mitred at the corners.
    assert chamfer.volume == pytest.approx(0.5 * (2 * 59 + 2 * 39) + 4 / 3 * 0.5, rel=0.01)
    (route,) = chamfer.routes
    assert [c.stage for c in route.cuts] == ["chamfer"]
    tips, radius = route.cuts[0].tips, next(t for t in shop().tools if t.number == route.cuts[0].tool).cutter.DC / 2
    # The cone's flank (45°) passes through the chamfer's middle: half a millimetre in and under the edge.
    outside = np.maximum(np.maximum(-tips[:, 0], tips[:, 0] - 60), np.maximum(-tips[:, 1], tips[:, 1] - 40))
    assert outside + 0.5 == pytest.approx(19.5 - tips[:, 2], abs=2e-3)
    assert outside.max() < radius


def test_deep_plain_hole_too_long_for_one_end_is_drilled_from_both():
    solid = block([("cylinder", (-1, 40, 25), (1, 0, 0), 4.25, 102)], size=(90.0, 80.0, 50.0))
    (hole,) = answered(solid, job()).features
    pairs = [r for r in hole.routes if r.pair]
    assert {r.direction for r in pairs} == {(1.0, 0.0, 0.0), (-1.0, 0.0, 0.0)}
    depth = {r.direction: abs(float(r.cuts[0].tips[0, 0]) - (90 if r.direction[0] > 0 else 0)) for r in pairs}
    assert sum(depth.values()) >= 90 + 1.0
    access = answered(solid, job())
    assert len(access.fixed[0].clampings) == 2


def test_thread_is_suggested_then_confirmed_by_the_job():
    solid = block([("cylinder", (30, 40, -1), UP, 2.5, 52)], size=(60.0, 80.0, 14.0))
    (hole,) = answered(solid, job()).features
    assert hole.thread is None
    assert any("M6" in n for n in hole.notes)
    fact = DrawingFact(at=(30.0, 40.0, 14.0), kind="thread", value="M6")
    (hole,) = answered(solid, job(facts=(fact,))).features
    assert hole.thread == "M6"
    assert all([c.stage for c in r.cuts] == ["drill", "tap"] for r in hole.routes)
    with pytest.raises(InputError, match=r"facts\[0\].at.*means no hole"):
        answered(solid, job(facts=(DrawingFact(at=(5.0, 5.0, 14.0), kind="thread", value="M6"),)))


def test_the_engineers_operations_are_honoured_or_contradicted():
    solid = block(OPPOSED)
    ops = (KnownOperation(directions=(DOWN,)), KnownOperation(directions=(UP,)))
    access = answered(solid, job(operations=ops))
    assert [c.directions for c in access.fixed[0].clampings] == [(DOWN,), (UP,)]
    access = answered(solid, job(operations=(KnownOperation(directions=(UP,)),)))
    assert any(r.about == "operations" and "not reached" in r.text for r in access.reasons)
    assert len(access.fixed[0].clampings) == 2


def test_overrides_filter_routes_and_unknown_features_are_an_error():
    solid = block(OPPOSED)
    access = answered(solid, job(overrides=(Override(feature="hole-1", seconds=30.0),)))
    assert access.features[0].routes[0].seconds == pytest.approx(30.0)
    assert all(c.measured for c in access.features[0].routes[0].cuts)
    with pytest.raises(InputError, match="hole-9"):
        answered(solid, job(overrides=(Override(feature="hole-9"),)))


def test_forbidden_clampings_are_avoided():
    solid = block(RING[:1] + RING[2:])
    free = answered(solid, job()).rotary[0].clampings
    assert len(free) == 1
    shut = [(c.axis, u, frozenset(n for n, _ in c.features)) for c in free for u in c.ups]
    # Then only by the end; and where no end can be held either, in two.
    (again,) = answered(solid, job(), forbid=shut).rotary[0].clampings
    assert again.on_end
    ends = [(again.axis, (s, 0.0, 0.0), None) for s in (1.0, -1.0)]
    assert len(answered(solid, job(), forbid=[*shut, *ends]).rotary[0].clampings) == 2


def test_clampings_need_at_least_the_greatest_number_of_incompatible_tasks():
    ways = [UP, DOWN, (1.0, 0.0, 0.0)]
    tasks = tuple(Task(f"t{k}", (Route(d, (), 1.0, 0.0),), {}, (), None) for k, d in enumerate(ways))
    orders = solve(Problem(tasks, tuple(Setting(None, d) for d in ways)), {})
    assert (len(orders[0].clampings), orders[0].bound, orders[0].proven) == (3, 3, True)
    assert solve(Problem(tasks, (Setting(None, UP),)), {}) == []


def two_sided_holes():
    """A hole that can be drilled from two sides, and one from the top only: apart only by choice."""
    return block([("cylinder", (30, 40, -1), UP, 3.3, 32), ("cylinder", (70, 40, 20), UP, 3.3, 11)], size=(100, 80, 30))


def tolerances(solid, access, value, ids=("hole-1", "hole-2"), kind="position"):
    faces = [min(f.faces) for f in access.features if f.id in ids]
    rows = (Tolerance("datum", None, ("A",), (faces[0],)), Tolerance(kind, value, ("A",), tuple(faces[1:])))
    return Tolerances(rows, "2 machine-readable tolerances read from the file")


def test_a_tight_tolerance_asks_for_one_clamping_and_a_wide_one_for_nothing():
    solid = two_sided_holes()
    plain = answered(solid, job())
    asked = answered(solid, job(), tolerances=tolerances(solid, plain, 0.05))
    assert any(r.about == "tolerance" and "hole-2, hole-1" in r.text for r in asked.reasons)
    (together,) = [c for c in asked.fixed[0].clampings if any(n == "hole-1" for n, _ in c.features)]
    assert {n for n, _ in together.features} >= {"hole-1", "hole-2"}
    wide = answered(solid, job(), tolerances=tolerances(solid, plain, 0.3))
    assert not any(r.about == "tolerance" for r in wide.reasons)
    assert any("read from the file" in r.text for r in wide.reasons)
    assert not any(r.about.startswith("tolerance") for r in plain.reasons)


def test_a_tight_tolerance_between_opposite_sides_is_refused_with_its_reason():
    solid = block(OPPOSED)
    plain = answered(solid, job())
    asked = answered(solid, job(), tolerances=tolerances(solid, plain, 0.02))
    assert len(asked.fixed[0].clampings) == 2
    assert any(r.about == "tolerance" and "no sequence" in r.text for r in asked.reasons)


def test_a_form_tolerance_ties_nothing():
    solid = two_sided_holes()
    plain = answered(solid, job())
    asked = answered(solid, job(), tolerances=tolerances(solid, plain, 0.01, kind="flatness"))
    assert not any(r.about == "tolerance" for r in asked.reasons)


def test_a_tool_that_sticks_out_far_asks_for_one_clamping_more_and_says_so():
    cuts = {"slim": 7, "stout": 8}
    conditions = mixed().features[-1].routes[0].cuts[0]
    route = lambda d, tool: Route(d, (replace(conditions, tool=cuts[tool], seconds=60.0),), 1.0, 0.0)  # noqa: E731
    side = (1.0, 0.0, 0.0)
    tasks = (
        Task("a", (route(UP, "stout"),), {}, (), None),
        Task("b", (route(UP, "slim"), route(side, "stout")), {}, (), None),
    )
    orders = solve(Problem(tasks, (Setting(None, UP), Setting(None, side))), {7: 7.5, 8: 3.0})
    assert (len(orders[0].clampings), orders[0].bound, orders[0].proven) == (1, 1, True)
    assert [r.about for r in orders[0].reasons] == ["b"]
    (said,) = [r for r in reasons_of_more(orders) if "6 D" in r.text]
    assert "one clamping more (2)" in said.text
    assert said.text.endswith("b")


def test_groups_that_cannot_be_kept_are_refused_one_by_one():
    access = answered(block(RING), job(together=(("hole-1", "hole-2"), ("hole-3", "hole-4"))))
    assert len(access.rotary[0].clampings) == 1
    assert access.kept(access.rotary[0]) == {("hole-1", "hole-2"), ("hole-3", "hole-4")}
    refused = [r.text for r in access.reasons if r.about == "together"]
    assert len(refused) == 2
    assert all("none sees them all" in text for text in refused)
    half = answered(block([*RING[:1], (*RING[0][:1], (65, 40, 40), *RING[0][2:]), *RING[1:2]]), job())
    up = [f.id for f in half.features if f.routes[0].direction == UP]
    down = [f.id for f in half.features if f.routes[0].direction == DOWN]
    again = answered(half.solid, job(together=(tuple(up), (up[0], down[0]))))
    assert [r.text.split(":")[0] for r in again.reasons if r.about == "together"][:1] == [f"{up[0]}, {down[0]}"]
    assert tuple(up) in again.kept(again.fixed[0])


def test_names_that_mean_no_feature_are_faults():
    with pytest.raises(InputError) as caught:
        answered(
            block(OPPOSED),
            job(together=(("hole-1", "hole-9"),), operations=(KnownOperation(directions=(UP,), features=("slot-4",)),)),
        )
    text = str(caught.value)
    assert "together[0]" in text
    assert "hole-9" in text
    assert "operations[0].features" in text
    assert "slot-4" in text


def test_an_operation_that_cannot_see_its_feature_is_contradicted_by_name():
    ops = (KnownOperation(directions=(UP,), features=("hole-2",)), KnownOperation(directions=(DOWN,)))
    access = answered(block(OPPOSED), job(operations=ops))
    lost = {f.id for f in access.features if all(r.direction != UP for r in f.routes)}
    ops = (KnownOperation(directions=(UP,), features=tuple(lost)), KnownOperation(directions=(DOWN,)))
    access = answered(block(OPPOSED), job(operations=ops))
    assert not access.known
    assert any(r.about == "operations" and all(n in r.text for n in lost) for r in access.reasons)
    good = answered(block(OPPOSED), job(operations=(ops[1], KnownOperation(directions=(UP,)))))
    assert good.known == ("fixed",)
    assert [c.directions for c in good.fixed[0].clampings] == [(DOWN,), (UP,)]
