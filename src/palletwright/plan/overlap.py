"""Whether bodies of different stations stand in one another: exact booleans on close pairs."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from palletwright.plan.arrange import sides_of_placing
from palletwright.plan.context import Context
from palletwright.plan.model import Design
from palletwright.plan.options import Option
from palletwright.plan.stand import standings
from palletwright.plan.table import station_pose

LEAST = 1e-3
"""mm³ from which a shared volume counts."""

SAME = 1e-3
"""mm within which two stations' stops are one stop that both share."""


def overlaps(context: Context, design: Design, chosen: dict[int, Option], cycle: int) -> list[str]:
    """A line for every two modules whose bodies share volume, with the mm³."""
    from palletwright.solid import intersect

    placed = {}
    for row in standings(context, design, chosen, cycle):
        if row.place == 0:
            module = row.option.module
            meshes = [(mesh.moved(row.machine_station), name in module.stops) for name, mesh in module.bodies]
            placed[row.module] = (row.module.parts, meshes)
    lines = []
    for (names_a, a), (names_b, b) in combinations(placed.values(), 2):
        shared = 0.0
        for p, stop in a:
            for q, other in b:
                if not (p.bounds[0] < q.bounds[1]).all() or not (q.bounds[0] < p.bounds[1]).all():
                    continue
                if not (stop and other and np.allclose(p.bounds, q.bounds, rtol=0.0, atol=SAME)):
                    shared += abs(intersect([p, q]).volume)
        if shared > LEAST:
            lines.append(f"station {'/'.join(names_a)} stands in station {'/'.join(names_b)} ({shared:.1f} mm³)")
    return lines


def off_side(context: Context, design: Design, chosen: dict[int, Option]) -> list[str]:
    """A line for every module that stands past its side's free area, with the mm² outside."""
    from shapely.affinity import affine_transform

    sides = {p.mount: {s.id: s for s in sides_of_placing(context, p)} for p in design.placings}
    lines = []
    for station in design.stations:
        side = sides.get(station.mount, {}).get(station.side)
        name = "/".join(station.parts)
        if side is None:
            lines.append(f"station {name} is on side {station.side} of {station.mount}, which isn't there")
            continue
        pose = station_pose(station.x, station.y, station.turn)
        outline = affine_transform(
            chosen[station.operation].module.outline,
            [pose[0, 0], pose[0, 1], pose[1, 0], pose[1, 1], pose[0, 3], pose[1, 3]],
        )
        outside = outline.difference(side.area.buffer(1e-3)).area
        if outside > 1e-2:
            lines.append(f"station {name} stands {outside:.1f} mm² past the free area of {station.side}")
    return lines
