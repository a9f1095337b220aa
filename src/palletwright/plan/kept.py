"""What a plan keeps of a way's grips, cuts and visits, so that papers print what was planned without a new search.

`check` never reads it: it works everything out again.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from palletwright.cutting.model import Conditions, Cut, Load
from palletwright.cycle.model import Crossing, Visit
from palletwright.errors import Fault, InputError
from palletwright.grip.model import Contact, Device, Grip
from palletwright.plan.context import Context
from palletwright.plan.cycles import asked, programs_of
from palletwright.plan.evaluate import cycles_of
from palletwright.plan.model import Design
from palletwright.plan.options import Option
from palletwright.plan.record import plain
from palletwright.solid.model import Mesh
from palletwright.verdict import Vec

GRIP = ("id", "kind", "regime", "screws", "price", "prepare_hours", "carrier_kinds", "notes", "unlocated",
        "part_seconds")  # fmt: skip
"""Fields of a grip that are kept as they are."""

CUT = ("feature", "stage", "tool", "entry", "seconds", "measured", "notes")
"""Fields of a cut that are kept as they are."""


@dataclass(frozen=True, eq=False)
class Held:
    """One operation's grip and cuts as planned."""

    grip: Grip
    cuts: tuple[Cut, ...]


@dataclass(frozen=True, eq=False)
class Visited:
    """One cycle's visits, the heights (mm) of the ways across, and the height that is safe everywhere."""

    visits: tuple[Visit, ...]
    clear: Mapping[Crossing, float]
    retract: float


@dataclass(frozen=True, eq=False)
class Kept:
    """Grips and cuts by clamping, cycles in order, and the clampings that a single-part program of the shop cuts."""

    operations: Mapping[int, Held]
    cycles: tuple[Visited, ...]
    programmed: tuple[int, ...]


def keep(context: Context, design: Design, chosen: Mapping[int, Option]) -> dict[str, Any]:
    """A way's grips, cuts and visits as plain data, with a fingerprint of the design that they belong to."""
    options = dict(chosen)
    kept: dict[str, Any] = plain(
        {
            "of": fingerprint(plain(asdict(design))),
            "operations": {
                str(k): {"grip": _grip(o.grip), "cuts": [_cut(c) for c in o.cuts]} for k, o in options.items()
            },
            "cycles": [_cycle(context, design, options, c) for c in cycles_of(design)],
            "programmed": sorted(programs_of(context, design)),
        }
    )
    return kept


def fingerprint(design: Mapping[str, Any]) -> str:
    """Tells two designs apart; the number of sets changes nothing that is kept."""
    rest = {k: v for k, v in design.items() if k != "sets"}
    return hashlib.sha256(json.dumps(rest, sort_keys=True).encode()).hexdigest()[:16]


def kept_from(data: Mapping[str, Any], key: str) -> Kept:
    """What `keep` wrote, as objects.

    Raises InputError that names the key when something is missing or of the wrong kind.
    """
    try:
        return Kept(
            {
                int(k): Held(_grip_from(o["grip"]), tuple(map(_cut_from, o["cuts"])))
                for k, o in data["operations"].items()
            },
            tuple(_cycle_from(c) for c in data["cycles"]),
            tuple(int(k) for k in data["programmed"]),
        )
    except (KeyError, TypeError, ValueError, IndexError) as error:
        raise InputError([Fault("plan", key, "", f"can't be read: {type(error).__name__} {error}")]) from error


def _held_from(row: Mapping[str, Any]) -> Held:
    return Held(_grip_from(row["grip"]), tuple(_cut_from(c) for c in row["cuts"]))


def _grip(grip: Grip) -> dict[str, Any]:
    return {
        **{name: getattr(grip, name) for name in GRIP},
        "poses": grip.poses.tolist(),
        "contacts": [asdict(c) for c in grip.contacts],
        "devices": [
            {"id": d.id, "kind": d.kind, "catalogue": d.catalogue, "from": d.tighten_from, "mesh": _mesh(d.mesh)}
            for d in grip.devices
        ],
    }


def _grip_from(row: Mapping[str, Any]) -> Grip:
    same: dict[str, Any] = {
        name: tuple(row[name]) if isinstance(row[name], list) else row[name] for name in GRIP if name in row
    }
    return Grip(
        **same,
        poses=np.array(row["poses"], np.float64).reshape(-1, 4, 4),
        contacts=tuple(Contact(**_tuples(c)) for c in row["contacts"]),
        devices=tuple(
            Device(d["id"], d["kind"], d["catalogue"], _mesh_from(d["mesh"]), _vec(d["from"])) for d in row["devices"]
        ),
    )


def _cut(cut: Cut) -> dict[str, Any]:
    return {
        **{name: getattr(cut, name) for name in CUT},
        "direction": cut.direction,
        "tips": _packed(cut.tips, "<f8"),
        "conditions": asdict(cut.conditions),
        "load": asdict(cut.load),
    }


def _cut_from(row: Mapping[str, Any]) -> Cut:
    same: dict[str, Any] = {
        name: tuple(row[name]) if isinstance(row[name], list) else row[name] for name in CUT if name in row
    }
    return Cut(
        **same,
        direction=_vec(row["direction"]),
        tips=_unpacked(row["tips"], "<f8"),
        conditions=Conditions(**row["conditions"]),
        load=Load(**row["load"]),
    )


def _cycle(context: Context, design: Design, chosen: dict[int, Option], cycle: int) -> dict[str, Any]:
    question = asked(context, design, chosen, cycle)
    return {
        "visits": [asdict(replace(v, after=())) for v in question.visits],
        "clear": [[*crossing, height] for crossing, height in question.clear.items()],
        "retract": question.retract,
    }


def _cycle_from(row: Mapping[str, Any]) -> Visited:
    visits = tuple(Visit(**_tuples(v)) for v in row["visits"])
    clear = {(str(m), float(a), int(t)): float(z) for m, a, t, z in row["clear"]}
    return Visited(visits, clear, float(row["retract"]))


def _tuples(row: Mapping[str, Any]) -> dict[str, Any]:
    return {k: tuple(v) if isinstance(v, list) else v for k, v in row.items()}


def _mesh(mesh: Mesh) -> dict[str, str]:
    return {"vertices": _packed(mesh.vertices, "<f8"), "triangles": _packed(mesh.triangles, "<u4")}


def _mesh_from(row: Mapping[str, str]) -> Mesh:
    return Mesh(_unpacked(row["vertices"], "<f8"), _unpacked(row["triangles"], "<u4").astype(np.int32))


def _packed(table: NDArray[Any], kind: str) -> str:
    return base64.b64encode(np.ascontiguousarray(table, dtype=kind).tobytes()).decode()


def _unpacked(text: str, kind: str) -> NDArray[Any]:
    return np.frombuffer(base64.b64decode(text, validate=True), dtype=kind).reshape(-1, 3).copy()


def _vec(v: Any) -> Vec:
    return float(v[0]), float(v[1]), float(v[2])
