"""Everything that the ways to hold a part have in common, gathered once for one operation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import manifold3d
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from palletwright.grip.bodies import outline_between, section
from palletwright.grip.patches import Facets, Patch, facets, patches
from palletwright.grip.sweeps import Sweep, Swept, shortfall, swept
from palletwright.shop.model import Carrier, Floors, Material, Shop
from palletwright.solid.bodies import manifold
from palletwright.solid.model import Floats, Mesh
from palletwright.verdict import Reason

STEP = 1.0  # mm: outlines up to a height are kept by this step, never lower than asked


@dataclass(frozen=True, eq=False)
class Work:
    """The in-process part in the operation frame: base plane at z = 0, with its untouched faces and the tool sweeps."""

    rotation: Floats
    shift: Floats
    before: Mesh
    body: manifold3d.Manifold
    cut_body: manifold3d.Manifold
    walls: tuple[Patch, ...]
    tops: tuple[Patch, ...]
    base: Patch | None
    bases: tuple[Patch, ...]
    swept: tuple[Swept, ...]
    shop: Shop
    material: Material
    floors: Floors
    tolerance: float
    vise: Carrier | None
    finished: Mesh
    outlines: dict[tuple[float, float], BaseGeometry] = field(default_factory=dict)
    ceilings: dict[tuple[float, ...], float] = field(default_factory=dict)
    gone: dict[tuple[float, float], BaseGeometry] = field(default_factory=dict)
    spots: dict[tuple[object, ...], object] = field(default_factory=dict)
    faults: dict[str, Reason] = field(default_factory=dict)

    @property
    def lateral(self) -> float:
        """mm demanded beside a tool."""
        return self.floors.cutter

    @property
    def vertical(self) -> float:
        """mm demanded along the tool, with the error of its measured length."""
        return self.floors.cutter + self.floors.tool_setting_error

    @property
    def height(self) -> float:
        """mm of part over the base."""
        return float(self.before.bounds[1, 2])

    @property
    def bottom(self) -> float:
        """A level (mm) below everything of the part."""
        return float(self.before.bounds[0, 2]) - 1.0

    @property
    def below_base(self) -> float:
        """mm by which the part reaches under its base plane."""
        return max(0.0, -float(self.before.bounds[0, 2]))

    def over(self, low: float, high: float, exact: bool = False) -> BaseGeometry:
        """Outline of the part between two heights over the base (mm), the upper one rounded up unless `exact`."""
        high = min(high, self.height + 1.0)
        key = (round(low, 4), round(high, 4) if exact else float(np.ceil(high / STEP - 1e-6)) * STEP)
        if key not in self.outlines:
            self.outlines[key] = outline_between(self.body, *key)
            shapely.prepare(self.outlines[key])
        return self.outlines[key]

    def finished_at(self, height: float) -> BaseGeometry:
        """The finished part's cut at a height over the base (mm)."""
        key = (round(height, 4), -np.inf)
        if key not in self.outlines:
            self.outlines[key] = section(manifold(self.finished), height)
        return self.outlines[key]

    def blocked(self, corners: Floats) -> float:
        """The greatest shortfall (mm) of a convex body against the tools of all directions; at most 0 if clear."""
        return max((shortfall(s, corners, self.lateral, self.vertical) for s in self.swept), default=0.0)

    def floor_of_tools(self, ring: Floats, lateral: float) -> float:
        """mm: the lowest that tools from above come within `lateral` mm of a convex outline (k, 2), anticlockwise."""
        key = (lateral, *np.round(ring.reshape(-1), 6).tolist())
        if key not in self.ceilings:
            self.ceilings[key] = min((s.lowest_near(ring, lateral) for s in self.swept if s.straight), default=np.inf)
        return self.ceilings[key]

    def ceiling(self, ring: Floats) -> float:
        """mm: up to where a body of a convex outline (k, 2), counter-clockwise, is clear of the tools from above."""
        return self.floor_of_tools(ring, self.lateral) - self.vertical

    def blocked_aside(self, corners: Floats) -> float:
        """As `blocked`, for the tools that don't come from straight above."""
        return max(
            (shortfall(s, corners, self.lateral, self.vertical) for s in self.swept if not s.straight), default=0.0
        )

    def blocked_outline(self, outline: BaseGeometry, low: float, high: float) -> float:
        """As `blocked`, for a body of any outline between two heights: exact from above, by its hull from the side."""
        ring = np.asarray(outline.convex_hull.exterior.coords)[:-1, :2]
        corners = np.concatenate([np.column_stack([ring, np.full(len(ring), z)]) for z in (low, high)])
        worst = 0.0
        for s in self.swept:
            if not s.straight:
                worst = max(worst, shortfall(s, corners, self.lateral, self.vertical))
                continue
            discs = s.discs[: int(np.searchsorted(s.discs[:, 2], high + self.vertical))]
            gaps = shapely.distance(outline, shapely.points(discs[:, :2]))
            hit = discs[gaps < discs[:, 3] + self.lateral]
            if len(hit):
                worst = max(worst, high + self.vertical - float(hit[0, 2]))
        return worst

    def fault(self, about: str, text: str, amount: float, unit: str = "mm") -> None:
        """Keep the least shortfall by which something failed."""
        old = self.faults.get(about)
        if old is None or old.amount is None or amount < old.amount:
            self.faults[about] = Reason(about, text, round(float(amount), 3), unit)


def gather(
    parts: tuple[Facets, Facets],
    part: Mesh,
    rotation: Floats,
    sweeps: Sequence[Sweep],
    shop: Shop,
    material: Material,
    floors: Floors,
    tolerance: float,
    vise: Carrier | None,
) -> Work:
    """Move everything into the operation frame and find the faces that stay untouched."""
    pose = np.eye(4)
    pose[:3, :3] = rotation
    middle = parts[0].mesh.vertices @ rotation.T
    centre = (middle.max(axis=0) + middle.min(axis=0)) / 2.0
    pose[:3, 3] = [-centre[0], -centre[1], -middle[:, 2].min()]
    before, after, finished = (facets(m.moved(pose)) for m in (parts[0].mesh, parts[1].mesh, part))
    bases = patches(before, after, finished, "base")
    base = _seat_plane(bases, before.mesh)
    lift = -float(base.origin[2]) if base is not None else 0.0
    if lift:
        pose[2, 3] += lift
        before, after, finished = (facets(m.moved(pose)) for m in (parts[0].mesh, parts[1].mesh, part))
        bases = patches(before, after, finished, "base")
        base = _seat_plane(bases, before.mesh)
    if base is not None:
        base = replace(base, origin=np.zeros(3))
    return Work(
        rotation=rotation,
        shift=pose[:3, 3],
        before=before.mesh,
        body=manifold(before.mesh),
        cut_body=manifold(after.mesh),
        walls=patches(before, after, finished, "wall"),
        tops=patches(before, after, finished, "top"),
        base=base,
        bases=bases,
        swept=swept(sweeps, rotation, pose[:3, 3]),
        shop=shop,
        material=material,
        floors=floors,
        tolerance=tolerance,
        vise=vise,
        finished=finished.mesh,
    )


def _seat_plane(bases: tuple[Patch, ...], mesh: Mesh) -> Patch | None:
    """The lowest untouched face that carries the part: its hull holds the centre of mass."""
    centre = shapely.Point(mesh.centroid[:2])
    good = [b for b in bases if b.area.area > 1.0 and b.area.convex_hull.buffer(1e-6).contains(centre)]
    return min(good, key=lambda b: (round(float(b.origin[2]), 6), -round(b.area.area, 6)), default=None)
