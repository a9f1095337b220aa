"""What pictures need of a way: meshes once each, bodies with poses, and the sides seen from above."""

from __future__ import annotations

import base64
from typing import Any

import numpy as np

from palletwright.layout.model import Side
from palletwright.plan.arrange import sides_of_placing
from palletwright.plan.context import Context
from palletwright.plan.evaluate import cycles_of
from palletwright.plan.model import Design
from palletwright.plan.options import Option
from palletwright.plan.scenes import scene_of
from palletwright.plan.stand import standings
from palletwright.plan.table import station_pose
from palletwright.solid.model import Mesh


def packed(mesh: Mesh) -> dict[str, str]:
    """Base64 of float32 vertices (mm) and uint32 triangles, little-endian."""
    return {
        "vertices": base64.b64encode(np.ascontiguousarray(mesh.vertices, dtype="<f4").tobytes()).decode(),
        "triangles": base64.b64encode(np.ascontiguousarray(mesh.triangles, dtype="<u4").tobytes()).decode(),
    }


def pictures(context: Context, design: Design, chosen: dict[int, Option]) -> dict[str, Any]:
    """Meshes by key; for every cycle its bodies (row-major 4x4 poses, machine frame, mm) and its sides in plan."""
    meshes: dict[str, dict[str, str]] = {}
    cycles = []
    for cycle in cycles_of(design):
        scene = scene_of(context, design, chosen, cycle)
        bodies = []
        for body in scene.bodies:
            meshes.setdefault(body.mesh.key, packed(body.mesh))
            bodies.append(
                {
                    "id": body.id,
                    "kind": body.kind,
                    "group": body.group,
                    "owner": body.owner,
                    "state": body.state,
                    "mesh": body.mesh.key,
                    "pose": np.round(body.pose, 6).ravel().tolist(),
                }
            )
        cycles.append({"bodies": bodies, "sides": sides_in_plan(context, design, chosen, cycle)})
    return {"meshes": meshes, "cycles": cycles}


def sides_in_plan(context: Context, design: Design, chosen: dict[int, Option], cycle: int) -> list[dict[str, Any]]:
    """Every side that carries stations: its free area and the outlines on it, mm in the side frame."""
    from palletwright.solid import footprint

    rows: dict[tuple[str, str], dict[str, Any]] = {}
    sides = {(p.mount, s.id): s for p in design.placings if p.cycle == cycle for s in sides_of_placing(context, p)}
    outlines: dict[str, list[tuple[str, list[list[list[float]]]]]] = {}
    for row in standings(context, design, chosen, cycle):
        if row.place:
            continue
        key = (row.module.mount, row.module.side)
        side = rows.setdefault(key, _side(sides[key], row.mount.mount))
        grip = row.option.grip.id
        if grip not in outlines:
            outlines[grip] = [
                (name, rings(footprint(mesh, (0.0, 0.0, 1.0)))) for name, mesh in row.option.module.bodies
            ]
        pose = station_pose(row.module.x, row.module.y, row.module.turn)
        side["stations"].append(
            {
                "parts": list(row.module.parts),
                "operation": row.module.operation,
                "x": row.module.x,
                "y": row.module.y,
                "turn": row.module.turn,
                "bodies": [{"id": name, "rings": [_placed(r, pose) for r in shape]} for name, shape in outlines[grip]],
            }
        )
    return list(rows.values())


def _side(side: Side, mount: str) -> dict[str, Any]:
    return {"mount": mount, "side": side.id, "area": rings(side.area), "stations": []}


def _placed(ring: list[list[float]], pose: np.ndarray) -> list[list[float]]:
    points = np.asarray(ring) @ pose[:2, :2].T + pose[:2, 3]
    return np.round(points, 3).tolist()  # type: ignore[no-any-return]


def rings(shape: Any) -> list[list[list[float]]]:
    """Outer and inner rings of a shapely area as lists of points."""
    found = []
    for polygon in getattr(shape, "geoms", [shape]):
        for ring in (polygon.exterior, *polygon.interiors):
            found.append(np.round(np.asarray(ring.simplify(0.05).coords), 3).tolist())
    return found
