"""A small plan by hand: two stations on a plate, one on each of two sides of a pallet, so that no search is needed."""

from __future__ import annotations

from dataclasses import asdict

import numpy as np
import pytest

from palletwright.cutting.model import Conditions, Cut, Load
from palletwright.demo import demo_job
from palletwright.grip.model import Contact, Device, Grip
from palletwright.job import read_job_and_shop
from palletwright.job.model import Job
from palletwright.layout.sides import carrier_mesh, sides_of
from palletwright.papers.facts import Facts, facts
from palletwright.papers.live import Live
from palletwright.papers.words import Words
from palletwright.plan.kept import Held, Kept, Visited
from palletwright.plan.model import Design, OperationChoice, Placing, Plan, StationAt, Way
from palletwright.plan.pictures import packed
from palletwright.plan.record import to_dict
from palletwright.plan.stand import mount_of
from palletwright.plan.table import carrier_pose, station_pose
from palletwright.scene import box

PART = box((-20.0, -15.0, 0.0), (20.0, 15.0, 25.0))
STOP = box((-10.0, 15.0, 0.0), (10.0, 25.0, 8.0))
CLAMP = box((-6.0, -31.0, 0.0), (6.0, -15.0, 8.0))
BODIES = (("part", "part", PART), ("stop-1", "locator", STOP), ("clamp-1", "clamp", CLAMP))
DRILL = 37
RUN_OUT = 3.0
CONTACTS = (
    *(
        Contact(f"R{k}", "locator", at, (0.0, 0.0, 1.0), (0.1, 0.15))
        for k, at in enumerate([(-9, -9, 0), (9, -9, 0), (0, 9, 0)])
    ),
    Contact("A1", "locator", (-8.0, 15.0, 5.0), (0.0, -1.0, 0.0), (0.1, 0.15), device="stop-1"),
    Contact("A2", "locator", (8.0, 15.0, 5.0), (0.0, -1.0, 0.0), (0.1, 0.15), device="stop-1"),
    Contact("C1", "clamp", (0.0, -15.0, 5.0), (0.0, 1.0, 0.0), (0.1, 0.15), device="clamp-1"),
)


def _way(shop, design: Design) -> Way:
    machine = next(m for m in shop.machines if m.id == design.machine)
    carriers = {c.id: c for c in shop.carriers}
    bodies, meshes, sides, events = [], {}, {}, []

    def add(name, kind, owner, mesh, pose):
        meshes[mesh.key] = packed(mesh)
        row = {"id": name, "kind": kind, "group": "table", "owner": owner, "state": "cut", "mesh": mesh.key}
        bodies.append(row | {"pose": np.round(pose, 6).ravel().tolist()})

    for p in design.placings:
        carrier = carriers[p.carrier]
        mesh = carrier_mesh(carrier, p.sides, p.apothem) if p.kind == "pallet" else carrier_mesh(carrier)
        add(f"{p.mount}/{p.carrier}", "carrier", "", mesh, carrier_pose(machine, p))
        for side in sides_of(carrier, p.sides, p.apothem) if p.kind == "pallet" else sides_of(carrier):
            for s in (s for s in design.stations if (s.mount, s.side) == (p.mount, side.id)):
                pose = carrier_pose(machine, p) @ side.pose @ station_pose(s.x, s.y, s.turn)
                for name, kind, mesh in BODIES:
                    add(f"{s.parts[0]}/{name}", kind, s.parts[0], mesh, pose)
                _plan_view(sides.setdefault((p.mount, side.id), (side, []))[1], s)
                _event(events, s, pose, mount_of(machine, p))
    rows = [
        {"mount": m, "side": i, "area": [np.asarray(side.area.exterior.coords).tolist()], "stations": stations}
        for (m, i), (side, stations) in sides.items()
    ]
    cycle = {"seconds": 60.0, "bound": 50.0, "tool_runs": 1, "least_tool_runs": 1, "by_kind": {}, "other_orders": []}
    operations = tuple(
        {"number": o.number, "features": ["hole-1"], "holding": {"factor": 3.0, "floor": 2.0}}
        for o in design.operations
    )
    return Way(
        "plan 1", design, 2.0, 0.5, 3.0, 1.2, 20.0, 8.5, 2.3, 3.0, operations,
        capital=1234.56,
        payback={"months": 3.0, "low": 2.0, "high": 4.0, "saving_per_year": 5000.0, "matters_most": [["demand", 0.5]]},
        timing={"load_seconds": 60.0, "load_basis": "by hand"},
        cost={"material": 3.0, "per_part": 8.5},
        cost_range=(8.0, 9.0),
        cycle={"cycles": [cycle | {"events": events, "parts": 2}]},
        bill=(("blank", 1000.06), ("making", 234.5)),
        scene={"meshes": meshes, "cycles": [{"bodies": bodies, "sides": rows}]},
    )  # fmt: skip


def _plan_view(rows, s: StationAt) -> None:
    pose = station_pose(s.x, s.y, s.turn)
    shapes = []
    for name, mesh in (("part1", PART), ("stop-1", STOP), ("clamp-1", CLAMP)):
        (x0, y0, _), (x1, y1, _) = mesh.bounds
        ring = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]) @ pose[:2, :2].T + pose[:2, 3]
        shapes.append({"id": name, "rings": [ring.tolist()]})
    rows.append(
        {"parts": list(s.parts), "operation": s.operation, "x": s.x, "y": s.y, "turn": s.turn, "bodies": shapes}
    )


def _event(events, s: StationAt, pose, mount) -> None:
    from palletwright.scene import index_angle

    angle, _ = index_angle(pose[:3, 2], mount)
    note = f"{s.parts[0]}|0|hole-1/drill/T{DRILL}"
    row = {"start": 10.0 * len(events), "seconds": 10.0, "what": "cut", "tool": DRILL, "angle": angle}
    events.append(row | {"station": s.parts[0], "note": note})


@pytest.fixture(scope="session")
def data():
    """The plan's data."""
    job, shop = read_job_and_shop(demo_job("hinge_yoke"), None)
    rotary = next(m for m in shop.machines if m.rotary is not None)
    plate = next(c for c in shop.carriers if c.kind == "plate")
    pallet = next(c for c in shop.carriers if c.kind == "pallet")
    apothem = round(0.7 * pallet.blank_diameter / 2, 3)
    up, down = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0)
    design = Design(
        rotary.id, "rotary", 0,
        (OperationChoice(10, 0, up, "plate", "edge-1"), OperationChoice(20, 1, down, "pallet", "edge-2")),
        (
            Placing("fixed", "plate", plate.id, 1, None, (300.0, 0.0)),
            Placing("turning", "pallet", pallet.id, 4, apothem, (0.0, 0.0)),
        ),
        (
            StationAt(("10.1",), 0, "fixed", f"{plate.id}/1", -60.0, 40.0, 0),
            StationAt(("10.2",), 0, "fixed", f"{plate.id}/1", 60.0, -40.0, 2),
            StationAt(("20.1",), 1, "turning", f"{pallet.id}/1", 0.0, 0.0, 0),
            StationAt(("20.2",), 1, "turning", f"{pallet.id}/2", 50.0, 0.0, 0),
        ),
        1,
    )  # fmt: skip
    today = Way("today", None, 1.0, 1.0, 5.0, 4.0, 0.0, 18.0, None, None, (), cost={"material": 2.0, "per_part": 18.0})
    hole = {"id": "hole-1", "kind": "hole", "diameter_mm": 12.0, "axis": [0.0, 1.0, 0.0]}
    plan = Plan(
        "Hinge yoke: by hand", True,
        {"name": "hinge_yoke", "blank_mm": [65.0, 47.0, 31.0], "material": "6061-T6"},
        job.model_dump(mode="json"), shop.model_dump(mode="json"), today, (_way(shop, design), today), (), (), (),
        ("Times are estimates.",),
        {"features": [hole | {"position_mm": [50.0, 44.0, 14.0], "thread": None}]},
        1, False, {}, 0.0,
    )  # fmt: skip
    assert asdict(plan)
    return to_dict(plan)


@pytest.fixture(scope="session")
def given(data) -> Facts:
    return facts(data, 0, Words())


@pytest.fixture(scope="session")
def live(given):
    """The grips of both operations as the papers need them: devices with their shapes and catalogue names."""
    clamp = next(c for c in given.shop.clamps if c.kind == "edge")
    stop = next(c for c in given.shop.locators if c.kind == "stop")
    devices = (Device("stop-1", "locator", stop.id, STOP), Device("clamp-1", "clamp", clamp.id, CLAMP))
    conditions = Conditions(4000.0, 800.0, 0.2, 11.8, 11.8, 1.0)
    load = Load(0.0, 100.0, 0.0, 1.0, 0.2, "by hand")
    tip = np.array([[0.0, 0.0, -RUN_OUT]])
    cut = Cut("hole-1", "drill", (0.0, 0.0, 1.0), DRILL, tip, 30.0, conditions, load, 10.0)
    grip = Grip("edge-1", "edge", np.eye(4)[None], CONTACTS, devices, "stop", 1, 100.0, 0.5)
    held = Held(grip, (cut,))
    material = next(m for m in given.shop.materials if m.id == "6061-T6")
    tools = {t.number: t for t in given.shop.tools}
    kept = Kept({0: held, 1: held}, (Visited((), {}, 400.0),), ())
    return Live(Job.model_validate(given.data["job"]), material, tools, kept)
