"""Double-acting wedges: one clamp that pushes two parts apart, the second turned by half a turn about it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from palletwright.grip.draft import Draft, Piece, piece
from palletwright.grip.patches import Patch
from palletwright.grip.seats import Seat
from palletwright.grip.sideways import (
    Stops,
    level,
    located,
    pressed,
    push,
    stop_sets,
    stroke,
    wrench,
)
from palletwright.grip.spots import Spot
from palletwright.grip.work import Work
from palletwright.shop.model import Clamp


def wedge(work: Work, seats: Sequence[Seat], walls: Sequence[Patch], clamps: Sequence[Clamp]) -> Iterator[Draft]:
    """One double-acting wedge between two parts, the second turned by half a turn about the wedge."""
    for clamp in clamps:
        for stops in stop_sets(work, walls, "wedge", clamp.reach_height):
            main = pressed(work, clamp, stops.pair, walls, "wedge")
            if main is None:
                work.fault("wedge", f"{clamp.id} finds no untouched wall across from the stops", clamp.height)
                continue
            if not _own_half(work, main, stops):
                continue
            level_ = level(work, stops, main.height, None, "wedge")
            if level_ is None:
                continue
            stops = level_
            margins = [stroke(work, clamp, [main, *stops.pair])]
            margins += [m for m in [wrench(work, main, clamp)] if m is not None]
            if any(not m.passed for m in margins):
                m = next(m for m in margins if not m.passed)
                work.fault("wedge", f"{clamp.id}: {m.check} needs {m.need:.2f}, has {m.have:.2f}", -m.spare)
                continue
            about = main.wall.point(main.s, 0.0) + main.away / 2.0 * main.wall.normal
            body = piece(main, "clamp1")
            shared = Piece(
                body.id,
                "clamp",
                body.catalogue,
                body.outline,
                body.high,
                None,
                body.foot,
                body.tighten_from,
                body.price,
                True,
            )
            for seat in seats:
                yield Draft(
                    "wedge",
                    seat,
                    (*stops.pieces(), shared),
                    (*located(work, stops), *push(work, main, clamp, "C1", "clamp1")),
                    "friction",
                    1,
                    margins=tuple(margins),
                    about=(float(about[0]), float(about[1])),
                    firm=stops.firm,
                )


def _own_half(work: Work, main: Spot, stops: Stops) -> bool:
    """Whether part and stops stay on their own side of the wedge's middle, so that the turned copy is clear."""
    line = float(main.wall.origin @ main.wall.normal) + main.away / 2.0
    far = float((work.before.vertices @ main.wall.normal).max())
    corners = [s.corners(0.0) @ main.wall.normal for s in (*stops.pair, stops.single)]
    far = max(far, *(float(c.max()) for c in corners))
    if far + work.floors.solid_gap / 2.0 > line:
        work.fault("wedge", "the part or a stop reaches past the middle of the wedge", far - line)
        return False
    return True
