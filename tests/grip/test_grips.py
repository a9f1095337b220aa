"""Every grip offered stands clear of the tools, touches the part where it says, and locates it."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
import shapely
from grip_cases import (
    CASES,
    Case,
    around,
    cut_all_round,
    ell,
    on_two_levels,
    plate_with_holes,
    puck,
    sawn_block,
    shop,
    side_drilled,
)

from palletwright.grip import Grip, grips
from palletwright.solid.bodies import box, manifold, union
from palletwright.solid.model import Mesh
from palletwright.solid.outline import polygons

ON_SURFACE = 1e-6  # mm


@pytest.fixture(params=[(name, kind) for name in CASES for kind in ("plate", "vise")], ids="-".join, scope="module")
def solved(request: pytest.FixtureRequest) -> tuple[Case, tuple[Grip, ...]]:
    name, kind = request.param
    case = CASES[name]()
    if kind == "plate":
        return case, case.solve()[0]
    vise = next(c for c in shop().carriers if c.kind == "vise")
    return case, case.solve(carrier_kind="vise", vise=vise)[0]


def towards(direction: np.ndarray) -> np.ndarray:
    """(4, 4) rotation that turns a direction to +z."""
    z = direction / np.linalg.norm(direction)
    x = np.cross(np.eye(3)[int(np.argmin(np.abs(z)))], z)
    x /= np.linalg.norm(x)
    pose = np.eye(4)
    pose[:3, :3] = np.stack([x, np.cross(z, x), z])
    return pose


def shortest(device: Mesh, case: Case, pose: np.ndarray, vertical: float) -> float:
    """Least lateral gap (mm) between tool cylinders and what of a device stands higher than `vertical` below them."""
    least = np.inf
    for direction, tips, rows, _ in case.sweeps:
        turn = towards(pose[:3, :3] @ np.asarray(direction))
        at = tips @ (turn @ pose)[:3, :3].T + (turn @ pose)[:3, 3]
        body = manifold(device.moved(turn))
        for radius, start, _end in rows:
            for height in np.unique(np.round(at[:, 2] + start, 6)):
                high = body.trim_by_plane((0.0, 0.0, 1.0), float(height) - vertical)
                if high.is_empty():
                    continue
                here = at[np.abs(at[:, 2] + start - height) < 1e-5]
                gaps = shapely.distance(polygons(high.project()), shapely.points(here[:, :2]))
                least = min(least, float(gaps.min()) - radius)
    return least


def test_no_device_comes_nearer_to_a_tool_than_the_floor(solved: tuple[Case, tuple[Grip, ...]]) -> None:
    case, found = solved
    floors = shop().floors
    for grip in found:
        for device in grip.devices:
            if device.id.startswith(("rest", "pin-")) or "jaws" in " ".join(grip.notes):
                continue  # below and inside the part: their own test
            for pose in grip.poses:
                gap = shortest(device.mesh, case, pose, floors.cutter + floors.tool_setting_error - 1e-6)
                assert gap >= floors.cutter - 1e-6, (grip.id, device.id)


def test_nothing_that_holds_is_cut(solved: tuple[Case, tuple[Grip, ...]]) -> None:
    case, found = solved
    for grip in found:
        if any("jaws milled" in n for n in grip.notes):
            continue  # soft jaws may be drilled into
        for device in grip.devices:
            assert all(shortest(device.mesh, case, pose, 0.0) > -1e-6 for pose in grip.poses), (grip.id, device.id)


def surface(mesh: Mesh, point: np.ndarray) -> np.ndarray | None:
    """Outward normals of the triangles that hold a point."""
    a, b, c = (mesh.corners[:, k] for k in range(3))
    normal = np.cross(b - a, c - a)
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    off = np.abs(np.einsum("ij,ij->i", normal, point - a))
    inside = np.ones(len(a), dtype=bool)
    for p, q in ((a, b), (b, c), (c, a)):
        inward = np.cross(normal, q - p)
        length = np.linalg.norm(inward, axis=1)
        inside &= np.einsum("ij,ij->i", inward, point - p) / length > -ON_SURFACE
    return normal[inside & (off < ON_SURFACE)]


def test_contacts_lie_on_the_part_and_press_into_it_before_and_after(solved: tuple[Case, tuple[Grip, ...]]) -> None:
    case, found = solved
    for grip in found:
        if grip.kind in ("vacuum", "stud", "dovetail"):
            continue  # they pull, or touch what is made in the blank for them: test_held_below.py
        for shape in (case.before, case.after):
            mesh = shape.moved(grip.poses[0])
            for contact in grip.contacts:
                normals = surface(mesh, np.asarray(contact.at))
                assert len(normals), (grip.id, contact.id)
                if contact.id.endswith("-down"):
                    assert contact.normal == (0.0, 0.0, -1.0)
                    continue
                least = 0.99 if contact.id.startswith("P") else 1.0 - 1e-6  # a pin meets a bore's facets
                assert (normals @ -np.asarray(contact.normal)).max() > least, (grip.id, contact.id)


def test_every_grip_locates_the_part_or_says_that_it_is_round(solved: tuple[Case, tuple[Grip, ...]]) -> None:
    for grip in solved[1]:
        rows = [[*c.normal, *(np.cross(c.at, c.normal) / 50.0)] for c in grip.contacts if c.kind == "locator"]
        rank = np.linalg.matrix_rank(np.array(rows), tol=1e-4)
        assert rank == 6 - len(grip.unlocated), grip.id


def test_bodies_are_closed_and_share_no_room(solved: tuple[Case, tuple[Grip, ...]]) -> None:
    case, found = solved
    for grip in found:
        named = [(f"part{k}", manifold(case.before.moved(p))) for k, p in enumerate(grip.poses)]
        named += [(d.id, manifold(d.mesh)) for d in grip.devices]
        for (a, one), (b, two) in combinations(named, 2):
            assert (one ^ two).volume() < 0.05, (grip.id, a, b)
        assert all(d.mesh.bounds[0, 2] > -1e-9 for d in grip.devices)


def test_the_origin_is_the_middle_of_the_module(solved: tuple[Case, tuple[Grip, ...]]) -> None:
    case, found = solved
    for grip in found:
        boxes = [case.before.moved(p).bounds for p in grip.poses] + [d.mesh.bounds for d in grip.devices]
        low, high = np.min([b[0] for b in boxes], axis=0), np.max([b[1] for b in boxes], axis=0)
        assert np.allclose((low + high)[:2], 0.0, atol=0.01)
        assert low[2] >= -1e-9
        assert np.allclose([(p[:3, :3] @ np.asarray(case.up)) for p in grip.poses], (0, 0, 1))


def test_clamps_press_within_the_reach_of_their_stops(solved: tuple[Case, tuple[Grip, ...]]) -> None:
    """With no friction, the sideways push of all clamps is borne by pressing on stops and seat alone."""
    from scipy.optimize import nnls

    for grip in solved[1]:
        if grip.kind not in ("edge", "wedge", "jaw"):
            continue
        push = np.zeros(6)
        for c in grip.contacts:
            if c.kind == "clamp" and not c.id.endswith("-down"):
                f = c.preload * np.asarray(c.normal)
                push += np.concatenate([f, np.cross(c.at, f) / 50.0])
        stops = [c for c in grip.contacts if c.kind == "locator" and c.id[0] in "AB"]
        rows = np.array([[*c.normal, *(np.cross(c.at, c.normal) / 50.0)] for c in stops]).T
        plane = [0, 1, 5]  # forces in the side and the moment about its normal; the seat bears the rest
        _, left = nnls(rows[plane], -push[plane])
        assert left < 1e-6 * np.abs(push).max() + 1e-6, grip.id


def test_every_kind_is_offered_for_some_part() -> None:
    vise = next(c for c in shop().carriers if c.kind == "vise")
    kinds = {g.kind for make in CASES.values() for g in make().solve()[0]}
    kinds |= {g.kind for g in ell().solve(carrier_kind="vise", vise=vise)[0]}
    assert kinds >= {"edge", "wedge", "strap", "screw", "jaw", "soft_jaw", "v_jaw", "vacuum"}


def rotation(seed: int) -> np.ndarray:
    from scipy.spatial.transform import Rotation

    pose = np.eye(4)
    pose[:3, :3] = Rotation.random(rng=np.random.default_rng(seed)).as_matrix()
    pose[:3, 3] = np.random.default_rng(seed).uniform(-80, 80, 3)
    return pose


def looks(found: tuple[Grip, ...]) -> list[tuple[object, ...]]:
    return [
        (
            g.kind,
            g.regime,
            g.screws,
            len(g.contacts),
            tuple(np.round(_size(g), 3)),
            tuple(sorted(d.catalogue for d in g.devices)),
        )
        for g in found
    ]


def _size(grip: Grip) -> np.ndarray:
    boxes = [d.mesh.bounds for d in grip.devices]
    return np.max([b[1] for b in boxes], axis=0) - np.min([b[0] for b in boxes], axis=0)


@pytest.mark.parametrize("seed", range(3))
def test_a_turned_part_gets_the_turned_grips(seed: int) -> None:
    move = rotation(seed)
    here, there = ell().solve()[0], ell().moved(move).solve()[0]
    assert looks(here) == looks(there)
    for a, b in zip(here, there, strict=True):
        assert np.allclose(a.poses[0], b.poses[0] @ move, atol=1e-5)


def test_a_mirrored_part_gets_the_same_choice() -> None:
    here = ell().solve()[0]
    there = ell().moved(np.diag([-1.0, 1.0, 1.0, 1.0])).solve()[0]
    assert sorted(looks(here)) == sorted(looks(there))


def test_the_same_call_gives_the_same_answer() -> None:
    one, two = ell().solve(), ell().solve()
    assert [g.id for g in one[0]] == [g.id for g in two[0]]
    assert all(np.array_equal(a.poses, b.poses) for a, b in zip(one[0], two[0], strict=True))
    assert one[1] == two[1]


def test_x_lies_along_the_rotary_axis() -> None:
    case = side_drilled()
    for axis in ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0)):
        for grip in case.solve(axis=axis)[0]:
            assert abs((grip.poses[0][:3, :3] @ np.asarray(axis))[0]) == pytest.approx(1.0)


def test_an_axis_along_up_is_refused() -> None:
    with pytest.raises(ValueError, match="lies along up"):
        side_drilled().solve(axis=(0.0, 0.0, 1.0))


def test_a_vise_without_its_vise_is_refused() -> None:
    with pytest.raises(ValueError, match="needs the vise"):
        ell().solve(carrier_kind="vise")


def test_a_part_cut_down_to_its_base_is_refused_with_the_grip_stock_that_would_help() -> None:
    case = cut_all_round()
    found, reasons = case.solve()
    assert not found
    need = next(r.amount for r in reasons if r.about == "walls")
    assert need is not None

    def with_stock(depth: float) -> tuple[Grip, ...]:
        below = box((-2, -2, -depth), (82, 52, 0))
        before, after = union([case.before, below]), union([case.after, below])
        base = shapely.box(0, 0, 80, 50)
        after_cut = manifold(after) - manifold(box((-20, -20, -1), (100, 80, 0))) + manifold(case.part)
        after_cut += manifold(box((0, 0, -1), (80, 50, 0)))
        from palletwright.solid.bodies import from_manifold

        sweeps = (case.sweeps[0], around(base, -1.0))
        return Case(before, from_manifold(after_cut), before, case.part, case.up, sweeps).solve()[0]

    assert any(g.kind == "edge" for g in with_stock(need + 0.01))
    assert not any(g.kind == "edge" for g in with_stock(need - 0.2))


def test_contacts_on_the_blanks_skin_are_marked_raw() -> None:
    case = sawn_block()
    tall = Case(
        union([case.before, box((-2, -2, -12), (82, 52, -4))]),
        union([case.after, box((-2, -2, -12), (82, 52, -4))]),
        case.stock,
        case.part,
        case.up,
        case.sweeps,
    )
    found = tall.solve()[0]
    assert found
    assert all(c.raw for g in found if g.kind not in ("stud", "dovetail") for c in g.contacts)
    assert not any(c.raw for g in ell().solve()[0] for c in g.contacts)


def test_a_rough_blank_uses_up_the_stroke_of_an_edge_clamp() -> None:
    case = sawn_block()
    low = box((-2, -2, -16), (82, 52, -4))
    tall = Case(union([case.before, low]), union([case.after, low]), case.stock, case.part, case.up, case.sweeps)
    assert any(d.catalogue == "edge-m4" for g in tall.solve(tolerance=0.2)[0] for d in g.devices)
    rough = tall.solve(tolerance=0.5)[0]
    assert not any(d.catalogue == "edge-m4" for g in rough for d in g.devices)
    assert all(m.passed for g in rough for m in g.margins)


def test_screws_hold_a_part_whose_outline_is_cut() -> None:
    found, _ = plate_with_holes().solve()
    assert {g.kind for g in found} == {"screw"}
    assert all(g.regime == "stop" and g.screws == 2 for g in found)


def test_a_round_part_says_that_its_turn_is_free() -> None:
    found, reasons = puck().solve()
    assert {g.kind for g in found} == {"soft_jaw", "v_jaw"}
    assert all(g.unlocated == ("turn about z",) for g in found)
    assert any(r.about == "walls" for r in reasons)


def test_a_wider_clearance_never_brings_a_device_nearer() -> None:
    """A floor of 8 mm leaves only grips that a floor of 2 mm would have allowed: their clearance is at least 8."""
    case = ell()
    floors = shop().floors.model_copy(update={"cutter": 8.0})
    for grip in case.solve(floors=floors)[0]:
        if grip.kind == "soft_jaw":
            continue
        for device in grip.devices:
            assert shortest(device.mesh, case, grip.poses[0], 8.5 - 1e-6) >= 8.0 - 1e-6


def test_the_answer_needs_a_closed_mesh() -> None:
    case = ell()
    open_mesh = Mesh(case.before.vertices.copy(), case.before.triangles[1:].copy())
    with pytest.raises(ValueError, match="closed"):
        grips(
            open_mesh,
            open_mesh,
            case.stock,
            case.part,
            case.up,
            [],
            [],
            shop(),
            shop().materials[0],
            tolerance=0.1,
            floors=shop().floors,
            carrier_kind="plate",
        )


def test_supports_of_different_heights_carry_what_no_single_face_does() -> None:
    case = on_two_levels()
    found, _ = case.solve()
    assert found
    for grip in found:
        heights = sorted(c.at[2] for c in grip.contacts if c.id.startswith("R"))
        assert heights[-1] - heights[0] == pytest.approx(6.0)
        for contact in grip.contacts:
            assert len(surface(case.before.moved(grip.poses[0]), np.asarray(contact.at)))


def test_too_low_a_strip_of_wall_asks_for_the_missing_grip_stock() -> None:
    vise = next(c for c in shop().carriers if c.kind == "vise")
    case = sawn_block()
    found, reasons = case.solve(carrier_kind="vise", vise=vise)
    assert not found
    need = next(r.amount for r in reasons if r.about == "walls")
    assert need is not None
    assert 0 < need < 4

    def deeper(extra: float) -> tuple[Grip, ...]:
        below = box((-2, -2, -4 - extra), (82, 52, -4))
        parts = [union([m, below]) for m in (case.before, case.after)]
        more = Case(parts[0], parts[1], parts[0], case.part, case.up, case.sweeps)
        return more.solve(carrier_kind="vise", vise=vise)[0]

    assert deeper(need + 0.01)
    assert not deeper(need - 0.2)


def test_every_clamp_presses_between_the_levels_of_the_stops_across_from_it_so_that_nothing_tips() -> None:
    for make in (CASES["pocket"], CASES["ell"], CASES["stepped"]):
        for grip in make().solve()[0]:
            if grip.kind not in ("edge", "wedge"):
                continue
            stops = [c for c in grip.contacts if c.kind == "locator" and c.id[0] in "AB"]
            for clamp in (c for c in grip.contacts if c.kind == "clamp" and not c.id.endswith("-down")):
                across = [c.at[2] for c in stops if np.dot(c.normal, clamp.normal) < -0.99]
                assert min(across) - 0.5 <= clamp.at[2] <= max(across) + 0.5, (grip.id, clamp.id)


def test_a_seat_on_a_flat_face_bears_at_more_points_than_the_three_that_locate() -> None:
    for grip in CASES["pocket"]().solve()[0]:
        seat = [c for c in grip.contacts if c.id[0] == "R"]
        assert len(seat) >= 3
        if grip.kind == "edge" and not any(d.id.startswith("rest") for d in grip.devices):
            assert 4 <= len(seat) <= 8, grip.id
            assert min(np.hypot(*(np.subtract(a.at, b.at)[:2])) for a, b in combinations(seat, 2)) > 2.0
