"""A seat that sucks the part down: thin plates with a finished base, and light cuts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from palletwright.grip.draft import Draft, Piece
from palletwright.grip.model import Contact
from palletwright.grip.patches import Patch
from palletwright.grip.seats import Seat, cut_outs
from palletwright.grip.sideways import located, stop_sets
from palletwright.grip.work import Work
from palletwright.shop.model import Clamp
from palletwright.verdict import Margin

SEAL = 5.0  # mm of land from an edge of the base to the sucked area: the seal's cord and its groove; common practice
LEAST_AREA = 1500.0  # mm² that are worth a seat; common practice, no source
HOURS_SEAT = 1.2  # grooves, port and cord of one seat; common practice, no source
SETS = 2  # choices of stops


def vacuum(work: Work, seats: Sequence[Seat], walls: Sequence[Patch], clamps: Sequence[Clamp]) -> Iterator[Draft]:
    """The part on a sucking seat, against low stops on its walls."""
    base = work.base
    if base is None or not any(s.lift < 1e-6 for s in seats) or work.below_base > 1e-6:
        work.fault("vacuum", "the part doesn't stand flat on one untouched face", 1.0, "face")
        return
    sound = base.area.intersection(base.finished).difference(cut_outs(work, work.vertical, work.lateral))
    sucked = sound.buffer(-SEAL)
    if sucked.area < LEAST_AREA:
        text = (
            f"{sucked.area:.0f} mm² of finished, untouched base within the seal; less than {LEAST_AREA:.0f} is no seat"
        )
        work.fault("vacuum", text, LEAST_AREA - float(sucked.area), "mm²")
        return
    sets = [s for _, s in zip(range(SETS), stop_sets(work, walls, "vacuum"), strict=False)]
    if not sets:
        work.fault("vacuum", "no two untouched walls across each other with room for three stops", 1.0, "wall")
    flat = next(s for s in seats if s.lift < 1e-6)
    for clamp in clamps:
        for stops in sets:
            yield _draft(work, flat, clamp, sucked, tuple(located(work, stops)), stops.pieces())


def _draft(
    work: Work,
    seat: Seat,
    clamp: Clamp,
    sucked: shapely.Geometry,
    where: tuple[Contact, ...],
    stops: tuple[Piece, ...],
) -> Draft:
    """Air presses evenly on the sucked area: four forces at its quarters, which no movement changes."""
    told = f"sucked down on {sucked.area / 100.0:.0f} cm²"
    force = clamp.force * float(sucked.area) / float(np.prod(clamp.footprint))
    outline = shapely.MultiPolygon(
        [shapely.Polygon(g.exterior) for g in shapely.get_parts(sucked.buffer(SEAL - 0.1).intersection(_under(work)))]
    )
    body = Piece("seat1", "clamp", clamp.id, outline, 0.0, None, -clamp.height, price=clamp.price)
    quarters = _quarters(sucked)
    air = [
        Contact(
            f"C{k + 1}",
            "clamp",
            (float(x), float(y), 0.0),
            (0.0, 0.0, -1.0),
            (0.0, 0.0),
            preload=force * share,
            device="seat1",
        )
        for k, (x, y, share) in enumerate(quarters)
    ]
    return Draft(
        "vacuum",
        Seat(seat.points, seat.relief, clamp.height, None, under="the seat", apart=False, more=seat.more,
             ground="seat1"),
        (body, *stops),
        (*where, *air),
        "friction",
        0,
        hours=HOURS_SEAT,
        margins=(Margin("sucked area", clamp.id, "base", LEAST_AREA, float(sucked.area), "mm²", frame="station"),),
        notes=(f"{told} with {force:.0f} N: a vacuum switch has to stop the cycle",),
    )  # fmt: skip


def _under(work: Work) -> shapely.Geometry:
    """What of the base the seat may lie under: clear of tools that run out of it."""
    assert work.base is not None
    return work.base.area.difference(cut_outs(work, work.vertical, work.lateral))


def _quarters(area: shapely.Geometry) -> list[tuple[float, float, float]]:
    """(x, y, share) of the middles of an area's four quarters about its own middle."""
    x0, y0, x1, y1 = area.bounds
    cx, cy = area.centroid.coords[0]
    boxes = [shapely.box(*b) for b in ((x0, y0, cx, cy), (cx, y0, x1, cy), (cx, cy, x1, y1), (x0, cy, cx, y1))]
    parts = [p for p in (area.intersection(b) for b in boxes) if p.area > 1e-6]
    whole = sum(p.area for p in parts)
    return [(*p.centroid.coords[0], p.area / whole) for p in parts]
