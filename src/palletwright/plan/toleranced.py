"""Which features a drawing places, how closely and to what: from the job's facts and the part's own file."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from palletwright.access.model import Access, Feature
from palletwright.access.tight import MUTUAL, makers
from palletwright.plan.context import Context
from palletwright.shop.model import Machine
from palletwright.verdict import Reason

NEAR = 0.5
"""mm from a feature's surface within which a fact's point means it."""

UNITS = {"": 1.0, "mm": 1.0, "in": 25.4, '"': 25.4, "µm": 1e-3, "um": 1e-3}

NUMBER = r"(\d+(?:[.,]\d+)?)\s*(mm|in|\"|µm|um)?"


@dataclass(frozen=True, slots=True)
class Placed:
    """One feature that must stand within ± `half` mm of its place; `to` are all the features that it is measured
    from, empty where the drawing says none or names a datum that no feature makes."""

    feature: str
    half: float
    text: str
    to: tuple[str, ...] = ()


def half_width(text: str) -> float | None:
    """± mm of a tolerance's words: '±0.05', '+0.1/-0.05', 'position 0.1', '0.004 in'; None where no number is there.

    A bare number is a zone, so half of it; with two signed ones half of what lies between.
    """
    plain = text.replace("+/-", "±").replace("+-", "±")
    either = re.search(r"±\s*" + NUMBER, plain)
    if either:
        return _mm(either)
    signed = list(re.finditer(r"([+\-−])\s*" + NUMBER, plain))
    if len(signed) >= 2:
        ends = [(-1.0 if m.group(1) in "-−" else 1.0) * _mm(m, 2) for m in signed[:2]]
        return abs(ends[0] - ends[1]) / 2.0
    found = re.search(NUMBER, plain)
    return _mm(found) / 2.0 if found else None


def _mm(found: re.Match[str], at: int = 1) -> float:
    return float(found.group(at).replace(",", ".")) * UNITS[found.group(at + 1) or ""]


def toleranced(context: Context, machine: Machine) -> tuple[tuple[Placed, ...], tuple[Reason, ...]]:
    """Every feature that the job's facts or the file's own tolerances place, and facts that couldn't be used."""
    return context.once(("toleranced", machine.id), lambda: _toleranced(context, context.access(machine)))


def _toleranced(context: Context, access: Access) -> tuple[tuple[Placed, ...], tuple[Reason, ...]]:
    rows: list[Placed] = []
    why: list[Reason] = []
    datums = {f.value: f.at for f in context.job.facts if f.kind == "datum"}
    for n, fact in enumerate(context.job.facts):
        if fact.kind != "tolerance":
            continue
        half, feature = half_width(fact.value), feature_at(access, fact.at)
        if half is None or half <= 0 or feature is None:
            problem = "has no number" if not half else f"means no feature ({fact.at})"
            why.append(Reason(f"job: facts[{n}]", f"tolerance {fact.value!r} {problem}: its place isn't checked"))
            continue
        seen = [feature_at(access, datums.get(name, name)) for name in _names(fact.to)]
        rows.append(Placed(feature, half, fact.value, _all_known(seen)))
    return (*rows, *_from_file(context, access)), tuple(why)


def _names(to: str | None) -> list[str]:
    return [n for n in re.split(r"[\s,|]+", to or "") if n]


def feature_at(access: Access, at: object) -> str | None:
    """The feature that an id or a point (mm, part frame) on its surface means, a hole before what it opens into.

    None if there is none.
    """
    if isinstance(at, str):
        return next((f.id for f in access.features if f.id == at), None)
    point = np.asarray(at, dtype=float)
    rows = [(round(_distance(f, point), 3), f.kind != "hole", f.id) for f in access.features]
    least = min(rows, default=(np.inf, True, ""))
    return least[2] if least[0] <= NEAR else None


def _distance(feature: Feature, point: np.ndarray) -> float:
    """mm from a point to a feature's surface; a hole's wall and everything within it are near."""
    if feature.diameter and feature.axis is not None and feature.position is not None and feature.depth:
        axis, off = np.asarray(feature.axis), point - np.asarray(feature.position)
        along, radius = -float(off @ axis), max([feature.diameter, *(s.diameter for s in feature.steps)]) / 2.0
        across = float(np.linalg.norm(off - (off @ axis) * axis))
        return max(0.0, across - radius, along - feature.depth, -along)
    if not len(feature.removal.triangles):
        return float("inf")
    from trimesh.triangles import closest_point

    corners = feature.removal.corners
    near = closest_point(corners, np.broadcast_to(point, (len(corners), 3)))
    return float(np.linalg.norm(near - point, axis=1).min())


def _from_file(context: Context, access: Access) -> list[Placed]:
    """Tolerances that the STEP file carries for machines to read."""
    from palletwright.solid import read_tolerances

    path = context.job.part
    if b"TOLERANCE" not in path.read_bytes():
        return []
    read = read_tolerances(path, context.job.solid)
    datum = {t.datums[0]: t.faces for t in read.items if t.kind == "datum" and t.datums}
    maker = makers(access.features)
    rows = []
    for t in read.items:
        if t.kind not in MUTUAL or not t.value:
            continue
        to = _all_known([maker.get(k) for name in t.datums for k in datum.get(name, (-1,))])
        text = f"{t.kind} {t.value:g} mm" + (f" to {', '.join(t.datums)}" if t.datums else "")
        rows += [
            Placed(name, t.value / 2.0, text, to) for name in dict.fromkeys(maker[k] for k in t.faces if k in maker)
        ]
    return list(dict.fromkeys(rows))


def _all_known(features: Sequence[str | None]) -> tuple[str, ...]:
    """The features, each once; none where one of them isn't known: then nothing is taken to be cut with the feature."""
    return () if None in features else tuple(dict.fromkeys(f for f in features if f is not None))
