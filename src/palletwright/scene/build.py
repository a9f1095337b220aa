"""From a machine and the carriers placed in it to bodies with poses: who stands where."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from palletwright.scene.model import Body, BodyKind, Mount, Scene
from palletwright.scene.solids import box, cylinder
from palletwright.shop.model import Machine, RotaryAxis
from palletwright.solid.model import Mesh

Floats = NDArray[np.float64]

TABLE_THICKNESS = 60.0
"""mm, from memory, unconfirmed; only the table's face decides anything."""
FACEPLATE_THICKNESS = 30.0
"""mm of the housing's length that is the faceplate; from memory, unconfirmed."""


@dataclass(frozen=True, eq=False)
class StationBody:
    """One body of a station: `mesh` in the station frame."""

    id: str
    kind: BodyKind
    mesh: Mesh
    state: Literal["blank", "cut"] = "blank"


@dataclass(frozen=True, eq=False)
class PlacedStation:
    """A station on a carrier: `pose` (4, 4) is T_carrier_station."""

    name: str
    pose: Floats
    bodies: tuple[StationBody, ...]


@dataclass(frozen=True, eq=False)
class Placed:
    """A carrier in the machine.

    mount : id of the place; carrier : id of the carrier; mesh : its body in the carrier frame
    pose : (4, 4) T_machine_carrier with the rotary axis at zero (`rotary_pose` for a pallet on the rotary)
    rotary : whether it turns with the machine's rotary axis
    """

    mount: str
    carrier: str
    mesh: Mesh
    pose: Floats
    rotary: bool
    stations: tuple[PlacedStation, ...]
    kind: Literal["carrier", "vise"] = "carrier"


def axis_vector(rotary: RotaryAxis) -> tuple[float, float, float]:
    """The machine's rotary axis as a unit vector, from the faceplate towards the tailstock."""
    return (1.0, 0.0, 0.0) if rotary.axis == "x" else (0.0, 1.0, 0.0)


def rotary_pose(machine: Machine) -> Floats:
    """T_machine_carrier (4, 4) of a rotary pallet: its x along the axis from the faceplate, its origin on the axis."""
    rotary = _rotary(machine)
    pose = np.eye(4)
    if rotary.axis == "y":
        pose[:3, :3] = ((0.0, -1.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    pose[:3, 3] = (*rotary.faceplate_at, rotary.centre_height)
    return pose


def build(machine: Machine, placed: Sequence[Placed]) -> Scene:
    """All bodies of one set in the machine, with the table and, where there is one, the rotary unit.

    Body ids are `mount/carrier` for carriers and `station/id` for what stands on them.

    Raises ValueError when a rotary carrier is placed on a machine without a rotary axis, or an id occurs twice.
    """
    mounts, bodies = [], _machine_bodies(machine)
    for one in placed:
        mounts.append(_mount(machine, one))
        group = one.mount if one.rotary else "table"
        bodies.append(Body(f"{one.mount}/{one.carrier}", one.kind, one.mesh, one.pose, "cut", group))
        for station in one.stations:
            pose = one.pose @ station.pose
            for b in station.bodies:
                bodies.append(Body(f"{station.name}/{b.id}", b.kind, b.mesh, pose, b.state, group, station.name))
    for name, ids in (("mount", [m.id for m in mounts]), ("body", [b.id for b in bodies])):
        twice = sorted({i for i in ids if ids.count(i) > 1})
        if twice:
            raise ValueError(f"{name} ids must differ; twice or more: {', '.join(twice)}")
    return Scene(machine.id, tuple(mounts), tuple(bodies))


def _rotary(machine: Machine) -> RotaryAxis:
    if machine.rotary is None:
        raise ValueError(f"machine {machine.id} has no rotary axis")
    return machine.rotary


def _mount(machine: Machine, one: Placed) -> Mount:
    if not one.rotary:
        return Mount(one.mount, one.carrier, False, one.pose)
    rotary = _rotary(machine)
    x, y = rotary.faceplate_at
    return Mount(one.mount, one.carrier, True, one.pose, (x, y, rotary.centre_height), axis_vector(rotary))


def _machine_bodies(machine: Machine) -> list[Body]:
    """The table and the rotary unit as blocks and a cylinder, in the machine frame."""
    here = np.eye(4)
    x, y = machine.table[0] / 2, machine.table[1] / 2
    bodies = [Body("table", "table", box((-x, -y, -TABLE_THICKNESS), (x, y, 0.0)), here, "cut")]
    rotary = machine.rotary
    if rotary is None:
        return bodies
    pose = rotary_pose(machine)
    floor, half = -rotary.centre_height, rotary.housing_width / 2
    plate = min(FACEPLATE_THICKNESS, rotary.housing_length / 2)
    housing = box((-rotary.housing_length, -half, floor), (-plate, half, floor + rotary.housing_height))
    faceplate = cylinder(rotary.faceplate_diameter / 2, -plate, 0.0)
    bodies.append(Body("rotary housing", "rotary", housing, pose, "cut"))
    bodies.append(Body("faceplate", "rotary", faceplate, pose, "cut"))
    if rotary.tailstock:
        start, end = rotary.between, rotary.between + rotary.tailstock_length
        tail = box((start, -half, floor), (end, half, floor + rotary.tailstock_height))
        bodies.append(Body("tailstock", "tailstock", tail, pose, "cut"))
    return bodies
