"""The demo's own parts, modelled by script: a hinge yoke and a valve block of a trailer for folding canoes.

`python -m palletwright.demo.parts` writes the STEP files that ship beside this file, the same bytes every time.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
TIMESTAMP = datetime(2026, 1, 1, tzinfo=UTC)
POINT = 118.0  # degrees, of a twist drill


def bore(diameter: float, depth: float, at: tuple[float, float, float], towards: str, pointed: bool = False) -> Any:
    """A hole as a body, mm: from `at` on the surface into the part, opening `towards` ('+x' to '-z')."""
    import math

    import build123d as b

    axis = {"x": (1, 0, 0), "y": (0, 1, 0), "z": (0, 0, 1)}[towards[1]]
    inward = tuple(-v if towards[0] == "+" else v for v in axis)
    plane = b.Plane(origin=at, z_dir=inward)
    ends = (b.Align.CENTER, b.Align.CENTER, b.Align.MIN)
    over = 1.0  # mm, out of the part, so that no skin is left
    body = b.Pos(0, 0, -over) * b.Cylinder(diameter / 2, depth + over, align=ends)
    if pointed:
        tip = diameter / 2 / math.tan(math.radians(POINT / 2))
        body += b.Pos(0, 0, depth) * b.Cone(diameter / 2, 0, tip, align=ends)
    return plane * body


def hinge_yoke() -> Any:
    """62 x 44 x 28 mm: two arms about a 16 mm slot, a 12 mm cross bore, all inside corners of R4 or more."""
    import build123d as b

    corner = (b.Align.MIN, b.Align.MIN, b.Align.MIN)
    body = b.Box(62, 44, 28, align=corner)
    upright = body.edges().filter_by(b.Axis.Z).sort_by(b.Axis.X)
    body = b.fillet(upright[:2], 8)
    body = b.fillet(body.edges().filter_by(b.Axis.Z).filter_by(b.GeomType.LINE).sort_by(b.Axis.X)[-2:], 6)
    slot = b.Pos(32, 14, -1) * b.Box(40, 16, 30, align=corner)
    slot = b.fillet(slot.edges().filter_by(b.Axis.Z).sort_by(b.Axis.X)[:2], 5)
    pocket = b.Pos(6, 15, -1) * b.Box(20, 14, 6, align=corner)
    pocket = b.fillet(pocket.edges().filter_by(b.Axis.Z), 4)
    body -= [slot, pocket, bore(12, 44 + 1, (50, 44, 14), "+y"), bore(4.2, 13, (24, 44, 14), "+y", pointed=True)]
    for y in (10, 34):
        body -= [bore(6.6, 29, (13, y, 28), "+z"), bore(11, 6.8, (13, y, 28), "+z")]
    return body


def valve_block() -> Any:
    """120 x 50 x 50 mm: four ports in a ring about an 8.5 mm gallery along the whole length (14 diameters)."""
    import build123d as b

    body = b.Box(120, 50, 50, align=(b.Align.MIN, b.Align.CENTER, b.Align.CENTER))
    body -= [bore(8.5, 121, (0, 0, 0), "-x"), bore(11.8, 15, (0, 0, 0), "-x"), bore(9.0, 12, (120, 0, 0), "+x")]
    faces = {"+y": (0, 25, 0), "-y": (0, -25, 0), "+z": (0, 0, 25), "-z": (0, 0, -25)}
    for towards, (_, y, z) in faces.items():
        at = (62, y, z)
        body -= [bore(24, 1, at, towards), bore(11.8, 16, at, towards), bore(6, 25, at, towards)]
    body -= [bore(8.8, 12, (32, 0, 25), "+z"), bore(4, 25, (32, 0, 25), "+z")]
    for x in (12, 108):
        body -= [bore(6.6, 51, (x, 25, 17), "+y"), bore(11, 7, (x, 25, 17), "+y")]
        body -= [bore(5, 14, (x, y, -25), "-z", pointed=True) for y in (-15, 15)]
    return body


def main() -> None:
    """Write both STEP files beside this one."""
    import build123d as b

    for make in (hinge_yoke, valve_block):
        shape = make()
        (solid,) = shape.solids()
        solid.label = make.__name__
        b.export_step(solid, str(HERE / f"{make.__name__}.step"), timestamp=TIMESTAMP)


if __name__ == "__main__":
    main()
