"""How fast a full scene is checked: 12 stations on a four-sided pallet, 6 tools, against exact mesh distances.

Run `python -m benchmarks.reach_scene`. Prints processor seconds and ratios to python-fcl in the same run: least
clearance of every tool at every station (aim 200 times faster, never above the exact one), the plain yes or no
against fcl's
collision test (aim 5 times), and 200 layouts (aim 10 s on two
cores, so 20 s of processor time). `--csv` prints the figures as CSV, `--layouts N` changes
the count.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable

import numpy as np
import trimesh
from numpy.typing import NDArray

from palletwright.reach import Rasters, Task, check
from palletwright.reach.model import ReachReport
from palletwright.scene import Placed, PlacedStation, Scene, StationBody, box, build, index_angle, rotary_pose, turning
from palletwright.shop.model import Cutter, Cylinder, Floors, Holder, Machine, RotaryAxis, Tool, Travel
from palletwright.solid.model import Mesh

Floats = NDArray[np.float64]

ROTARY = RotaryAxis(
    centre_height=180, swing_radius=150, between=400, faceplate_at=(-200, 0), brake_torque=400, payload=100,
    index_time=1.0,
)  # fmt: skip
MACHINE = Machine(
    id="m", travel=Travel(x=(-300, 300), y=(-250, 250), z=(90, 700)), table=(900, 500), table_payload=300, door=800,
    spindle_speed=10000, spindle_power=10, spindle_torque=60, taper="BT30",
    nose=(Cylinder(diameter=80, length=60), Cylinder(diameter=140, length=100)), tool_setter=True, chip_to_chip=3,
    rapid=(30000, 30000, 30000), acceleration=(3, 3, 3), magazine=20, rotary=ROTARY, rate=50,
)  # fmt: skip


def tool(number: int, diameter: float, stick_out: float, holder: float) -> Tool:
    cutter = Cutter(id=f"c{number}", kind="end_mill", DC=diameter, LU=stick_out, LCF=stick_out, DMM=diameter, OAL=120)
    stack = (Cylinder(diameter=holder, length=40), Cylinder(diameter=holder + 14, length=30))
    body = Holder(id=f"h{number}", taper="BT30", stack=stack, bore=(2, 20))
    return Tool(number=number, cutter=cutter, holder=body, stick_out=stick_out)


TOOLS = tuple(tool(k + 1, d, s, h) for k, (d, s, h) in enumerate(
    ((16, 50, 40), (10, 45, 32), (6, 38, 28), (5, 55, 28), (8, 60, 30), (4, 35, 26))
))  # fmt: skip


def fitting() -> Mesh:
    """A part with a boss, about 1,400 triangles."""
    base = trimesh.creation.box(bounds=[[-28, -18, 0], [28, 18, 22]])
    boss = trimesh.creation.cylinder(radius=13, height=16, sections=128)
    boss.apply_translation((8, 0, 30))
    ring = trimesh.creation.annulus(r_min=6, r_max=9, height=6, sections=128)
    ring.apply_translation((-18, 0, 25))
    body = trimesh.util.concatenate([base, boss, ring])
    return Mesh(np.array(body.vertices), np.array(body.faces, np.int32), chord_error=13 * (1 - np.cos(np.pi / 128)))


def moves(rng: np.random.Generator) -> list[Floats]:
    """Tips of each tool in the station frame: two milled regions and four hole patterns."""
    grid = np.stack(np.meshgrid(np.arange(-30, 31, 2.0), np.arange(-20, 21, 2.0)), -1).reshape(-1, 2)
    faces = [
        np.column_stack([grid, np.full(len(grid), 38.0)]),
        np.column_stack([grid[::2], np.full(len(grid[::2]), 22.0)]),
    ]
    holes = [np.column_stack([rng.uniform((-20, -12), (20, 12), (6, 2)), np.full(6, z)]) for z in (6.0, 2.0, 8.0, 12.0)]
    return faces + holes


def layout(spacing: float, part: Mesh, clamp: Mesh, tips: list[Floats]) -> tuple[Scene, list[Task]]:
    """Three stations on each of four sides, `spacing` mm apart, each with two clamps and five tools' directions."""
    sides, tasks, names = [], [], []
    for k in range(4):
        turn = turning_x(90.0 * k)
        for row in range(3):
            station = np.eye(4)
            station[:3, 3] = (70 + row * spacing, 0, 50)
            pose = turn @ station
            names.append(f"S{3 * k + row + 1}")
            bodies = (
                StationBody("part", "part", part),
                StationBody("clamp 1", "clamp", clamp, "cut"),
                StationBody("clamp 2", "clamp", clamp.moved(shifted(0, 64.5, 0)), "cut"),
            )
            sides.append(PlacedStation(names[-1], pose, bodies))
            to_machine = rotary_pose(MACHINE) @ pose
            direction = tuple(float(v) for v in to_machine[:3, 2])
            for t, points in zip(TOOLS, tips, strict=True):
                at = points @ to_machine[:3, :3].T + to_machine[:3, 3]
                entry = float((at @ to_machine[:3, 2]).max()) + 30
                tasks.append(Task(names[-1], "A axis", f"cut {t.number}", t, direction, at, entry))  # type: ignore[arg-type]
    pallet = box((5, -50, -50), (330, 50, 50))
    return build(MACHINE, [Placed("A axis", "pallet", pallet, rotary_pose(MACHINE), True, tuple(sides))]), tasks


def turning_x(degrees: float) -> Floats:
    from palletwright.scene import rotation

    out = np.eye(4)
    out[:3, :3] = rotation((1.0, 0.0, 0.0), degrees)
    return out


def shifted(x: float, y: float, z: float) -> Floats:
    out = np.eye(4)
    out[:3, 3] = (x, y, z)
    return out


def exact(scene: Scene, tasks: list[Task], measure: bool) -> dict[tuple[str, str], float]:
    """fcl's least distance (or 0 for a collision, 1 for none) of each station's tools to all bodies but its part."""
    import fcl

    out: dict[tuple[str, str], float] = {}
    mount = scene.mounts[0]
    models = {id(b.mesh): model(b.mesh) for b in scene.bodies}
    tools = {t.id: [model(column(r, a, b)) for r, a, b in t.stack()] for t in TOOLS}
    for task in tasks:
        angle, _ = index_angle(task.direction, mount)
        move = turning(mount, angle or 0.0)
        others = [b for b in scene.bodies if (b.kind == "part" and b.owner != task.station) or b.kind != "part"]
        placed = []
        for b in others:
            pose = move @ b.pose if b.group == mount.id else b.pose
            placed.append(fcl.CollisionObject(models[id(b.mesh)], fcl.Transform(pose[:3, :3], pose[:3, 3])))
        manager = fcl.DynamicAABBTreeCollisionManager()
        manager.registerObjects(placed)
        manager.setup()
        tips = task.tips @ move[:3, :3].T + move[:3, 3]
        key = (task.station, task.tool.id)
        for tip in tips:
            for step in tools[task.tool.id]:
                body = fcl.CollisionObject(step, fcl.Transform(tip))
                if measure:
                    data = fcl.DistanceData()
                    manager.distance(body, data, fcl.defaultDistanceCallback)
                    value = max(0.0, float(data.result.min_distance))
                else:
                    hit = fcl.CollisionData()
                    manager.collide(body, hit, fcl.defaultCollisionCallback)
                    value = 0.0 if hit.result.is_collision else 1.0
                out[key] = min(out.get(key, np.inf), value)
    return out


def model(mesh: Mesh) -> object:
    import fcl

    bvh = fcl.BVHModel()
    bvh.beginModel(len(mesh.vertices), len(mesh.triangles))
    bvh.addSubModel(mesh.vertices, mesh.triangles)
    bvh.endModel()
    return bvh


def column(radius: float, low: float, high: float) -> Mesh:
    body = trimesh.creation.cylinder(radius=radius, height=high - low, sections=64)
    body.apply_translation((0, 0, (low + high) / 2))
    return Mesh(np.array(body.vertices), np.array(body.faces, np.int32))


def timed(run: Callable[[], object]) -> tuple[float, object]:
    """Seconds of processor time, so that whatever else the machine does doesn't count."""
    start = time.process_time()
    result = run()
    return time.process_time() - start, result


def clearances_of(report: ReachReport) -> dict[tuple[str, str], float]:
    out = {}
    for m in report.margins:
        if m.check == "tool clearance":
            station, number = m.subject.rsplit(" ", 1)
            out[station, number] = m.have
    return out


def main() -> None:
    args = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    args.add_argument("--csv", action="store_true")
    args.add_argument("--layouts", type=int, default=200)
    options = args.parse_args()
    part, tips = fitting(), moves(np.random.default_rng(1))
    clamp = box((-12, -44.5, 0), (12, -20, 18))
    scene, tasks = layout(90.0, part, clamp, tips)
    floors = Floors()
    check(scene, tasks, MACHINE, floors)  # compiles
    first, report = timed(lambda: check(scene, tasks, MACHINE, floors))
    rasters = Rasters()
    check(scene, tasks, MACHINE, floors, rasters=rasters)
    again = min(timed(lambda: check(scene, tasks, MACHINE, floors, rasters=rasters))[0] for _ in range(3))
    many, _ = timed(
        lambda: [
            check(*layout(70.0 + 0.25 * k, part, clamp, tips), MACHINE, floors, rasters=rasters)
            for k in range(options.layouts)
        ]
    )
    verdict = min(timed(lambda: check(scene, tasks, MACHINE, floors, look=0.0, rasters=rasters))[0] for _ in range(3))
    slow, true = timed(lambda: exact(scene, tasks, True))
    yes_no, _ = timed(lambda: exact(scene, tasks, False))
    assert isinstance(report, ReachReport)
    assert isinstance(true, dict)
    ours = clearances_of(report)
    over = max(ours[k] - min(true[k], 30.0) for k in ours)
    under = max(min(true[k], 30.0) - max(ours[k], 0.0) for k in ours)
    rows = [
        ("stations x tools", len(ours), ""),
        ("tips", sum(len(t.tips) for t in tasks), ""),
        ("one scene, all margins, first", first * 1e3, "ms"),
        ("one scene, all margins, rasters at hand", again * 1e3, "ms"),
        (f"{options.layouts} layouts", many, "s"),
        ("fcl exact distances", slow, "s"),
        ("ratio to fcl distance", slow / first, "x"),
        ("one scene, verdict alone, rasters at hand", verdict * 1e3, "ms"),
        ("fcl collision", yes_no, "s"),
        ("ratio to fcl collision", yes_no / verdict, "x"),
        ("greatest over the exact distance (must not be above 0)", over, "mm"),
        ("greatest under it", under, "mm"),
    ]
    for name, value, unit in rows:
        print(f"{name},{value:.6g},{unit}" if options.csv else f"{name:58s} {value:12.4g} {unit}")
    if over > 1e-6:
        raise SystemExit("a clearance is above the exact one")


if __name__ == "__main__":
    main()
