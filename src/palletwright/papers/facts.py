"""What the papers take from a plan: one way's stations with poses and angles, tools and bodies, read once."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from palletwright.errors import Fault, InputError
from palletwright.papers.words import Words
from palletwright.plan.model import Design
from palletwright.plan.record import design_from
from palletwright.plan.stand import mount_of
from palletwright.scene import Mount, index_angle, turning
from palletwright.shop.model import Machine, Shop
from palletwright.solid import Mesh

Data = dict[str, Any]
Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class StationFact:
    """One part's station: `pose` T_machine_station at angle zero; `angles` at which it is cut, degrees; `within` is
    its place among the parts of its module."""

    name: str
    operation: int
    number: int
    mount: str
    side: str
    pose: Floats
    angles: tuple[float, ...]
    within: int = 0


@dataclass(frozen=True, eq=False)
class Facts:
    """One way of a plan with everything that its papers print."""

    data: Data
    way: Data
    design: Design
    shop: Shop
    words: Words

    @property
    def identity(self) -> str:
        """Stands on every page: the plan's hash and the way."""
        return f"{self.data['identity']}/{self.way['name'].replace(' ', '-')}"

    @property
    def machine(self) -> Machine:
        return next(m for m in self.shop.machines if m.id == self.design.machine)

    @property
    def cycles(self) -> range:
        return range(len(self.way["scene"]["cycles"]))

    @cached_property
    def meshes(self) -> dict[str, Mesh]:
        """Every body's shape by its key, mm."""
        return {key: _mesh(row) for key, row in self.way["scene"]["meshes"].items()}

    def bodies(self, cycle: int) -> list[Data]:
        """The cycle's bodies as the plan keeps them."""
        return list(self.way["scene"]["cycles"][cycle]["bodies"])

    def mounts(self, cycle: int) -> dict[str, Mount]:
        """Where the cycle's carriers sit."""
        numbers = sorted({p.cycle for p in self.design.placings})
        return {p.mount: mount_of(self.machine, p) for p in self.design.placings if p.cycle == numbers[cycle]}

    def events(self, cycle: int) -> list[Data]:
        """The cycle in time."""
        return list(self.way["cycle"]["cycles"][cycle]["events"])

    def stations(self, cycle: int) -> list[StationFact]:
        """All stations of a cycle, side by side in the order of the design."""
        poses = {b["owner"]: np.reshape(b["pose"], (4, 4)) for b in self.bodies(cycle) if b["kind"] == "part"}
        angles: dict[str, set[float]] = {}
        for event in self.events(cycle):
            if event["what"] == "cut":
                angles.setdefault(event["station"], set()).add(round(event["angle"], 6))
        numbers = {o.clamping: o.number for o in self.design.operations}
        return [
            StationFact(
                name,
                row.operation,
                numbers[row.operation],
                row.mount,
                row.side,
                poses[name],
                tuple(sorted(angles.get(name, ()))),
                i,
            )
            for row in self.design.stations
            for i, name in enumerate(row.parts)
            if name in poses
        ]

    def tools(self, cycle: int) -> list[int]:
        """Tool numbers in the order of their first cut."""
        return list(dict.fromkeys(e["tool"] for e in self.events(cycle) if e["what"] == "cut"))


def facts(data: Data, way: int, words: Words, file: str = "plan") -> Facts:
    """The papers' view of one way of a plan.

    Raises InputError when the plan has no such way, or one without the pictures and times that papers need.
    """
    plans = data["plans"]
    if not 0 <= way < len(plans):
        raise InputError([Fault(file, "way", str(way), "isn't in the plan", f"0 to {len(plans) - 1}")])
    chosen = plans[way]
    missing = [key for key in ("design", "scene", "cycle") if not chosen.get(key)]
    if missing:
        allowed = [str(i) for i, p in enumerate(plans) if all(p.get(k) for k in ("design", "scene", "cycle"))]
        raise InputError(
            [
                Fault(
                    file,
                    f"plans[{way}]",
                    chosen["name"],
                    f"is kept without its {' and '.join(missing)}",
                    f"way {', '.join(allowed) or 'none'}",
                )
            ]
        )
    design = design_from(chosen["design"], file, f"plans[{way}].design")
    return Facts(data, chosen, design, Shop.model_validate(data["shop"]), words)


def side_angle(fact: StationFact, mount: Mount) -> float | None:
    """Degrees at which the station's side faces the spindle; None where it never does."""
    return index_angle([float(v) for v in fact.pose[:3, 2]], mount)[0]


def zero_at(fact: StationFact, mount: Mount, angle: float) -> Floats:
    """(3,) the station's origin in the machine with its mount at `angle`, mm."""
    return np.asarray((turning(mount, angle) @ fact.pose)[:3, 3])


def quarter_turn(fact: StationFact, mount: Mount, angle: float) -> int:
    """Quarter turns about the spindle between the station's own view along this cut's direction and the machine.

    Two stations that are cut along the same direction of their own frame differ by such a turn only, so that their
    cuts can be written once. The station's view has x along the station's x, or along y where that is the direction.
    """
    rotation = (turning(mount, angle) @ fact.pose)[:3, :3]
    up = rotation.T @ np.array([0.0, 0.0, 1.0])
    along = np.array([1.0, 0.0, 0.0]) if abs(up[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
    x = rotation @ (along - (along @ up) * up)
    return round(float(np.degrees(np.arctan2(x[1], x[0]))) / 90.0) % 4


def _mesh(row: dict[str, str]) -> Mesh:
    vertices = np.frombuffer(base64.b64decode(row["vertices"]), "<f4").reshape(-1, 3).astype(np.float64)
    triangles = np.frombuffer(base64.b64decode(row["triangles"]), "<u4").reshape(-1, 3).astype(np.int32)
    return Mesh(vertices, triangles)
