"""Access as plain data for JSON."""

from __future__ import annotations

from typing import Any

from palletwright.access.model import Access, Clamping, Feature, Sequence


def to_json(access: Access, seconds: float | None = None) -> dict[str, Any]:
    """Directions, features, what isn't reached and the operations, with the pitch and its error bound."""
    return {
        "directions": [{"vector": list(d), "reachable_mm3": round(v, 3)} for d, v in access.directions],
        "features": [feature(f) for f in access.features],
        "unreachable_mm3": round(sum(x.mm3 for x in access.left_over), 3),
        "unreachable": [
            {"feature": x.feature, "mm3": round(x.mm3, 3), "why": x.why, "would_do": x.would_do}
            for x in access.left_over
        ],
        "operations": {"fixed": operations(access.fixed), "rotary": operations(access.rotary)},
        "pitch_mm": access.pitch,
        "error_bound_mm": access.error_bound,
        "seconds": seconds,
    }


def feature(f: Feature) -> dict[str, Any]:
    row: dict[str, Any] = {
        "id": f.id,
        "kind": f.kind,
        "directions": [list(d) for d in dict.fromkeys(r.direction for r in f.routes)],
        "volume_mm3": round(f.volume, 3),
        "tools": sorted({c.tool for r in f.routes for c in r.cuts}),
        "notes": list(f.notes),
        "forms": list(f.forms),
    }
    if f.kind == "hole":
        row |= {
            "diameter_mm": f.diameter,
            "depth_mm": f.depth,
            "through": f.through,
            "axis": list(f.axis or ()),
            "position_mm": list(f.position or ()),
            "thread": f.thread,
        }
    return row


def mounting(c: Clamping) -> str:
    """`fixed`, or with a rotary axis on a `side` of the carrier or by the part's `end`."""
    if c.axis is None:
        return "fixed"
    return "end" if c.on_end else "side"


def operations(rows: tuple[Sequence, ...]) -> dict[str, Any]:
    """The sequence with the fewest clampings; an empty list and null bound where there is none."""
    if not rows:
        return {"clampings": [], "bound": None, "proven": False}
    first = rows[0]
    return {
        "clampings": [
            {
                "directions": [list(d) for d in c.directions],
                "features": list(dict.fromkeys(name for name, _ in c.features)),
                "mounting": mounting(c),
                "axis": list(c.axis) if c.axis else None,
                "ups": [list(u) for u in c.ups],
            }
            for c in first.clampings
        ],
        "bound": first.bound,
        "proven": first.proven,
    }
