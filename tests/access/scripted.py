"""Parts made by script with known truth: holes, pockets, slots and steps at random in a block, turned at random."""

from __future__ import annotations

import math
import random
from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np
from access_cases import built

from palletwright.access.forms import forms as forms_of
from palletwright.access.holes import bores
from palletwright.access.shapes import body_of
from palletwright.solid import part_frame

SIZE = (120.0, 90.0, 50.0)
Hole = tuple[float, bool]
"""(diameter, blind)."""
DRILLS = (3.3, 4.2, 5.0, 6.6, 8.5)


def part(seed: int) -> tuple[list[tuple[Any, ...]], Counter[Hole], Counter[str]]:
    """(tools, holes by diameter and blindness, forms by kind). Six places of 40 x 45 mm hold one thing each; a step may
    run along the underside's edge, a hole crosses under all of it, and some bodies have every face split in two."""
    rng = random.Random(seed)
    tools: list[tuple[Any, ...]] = []
    holes: Counter[Hole] = Counter()
    forms: Counter[str] = Counter()
    for column in range(3):
        for row in range(2):
            x, y = 40.0 * column, 45.0 * row
            rng.choice((nothing, drilled, oblique, pocket, slot, corner))(rng, tools, holes, forms, x, y)
    if rng.random() < 0.4:
        tools.append(("box", (-1, -1, -1), (121, rng.uniform(3, 5.5), rng.uniform(3, 9))))
        forms["step"] += 1
    if rng.random() < 0.5:
        d = rng.choice(DRILLS[:3])
        tools.append(("cylinder", (-1, 45, 6), (1, 0, 0), d / 2, 122))
        holes[d, False] += 1
    if rng.random() < 0.3:
        tools.append(("split", rng.choice((20.0, 60.0, 100.0))))
    return tools, holes, forms


def counted(seeds: Sequence[int]) -> tuple[Counter[str], list[str]]:
    """(`<kind> wanted`, `found` and `right` over all parts, each part that differs in words)."""
    rows = [part(s) for s in seeds]
    total: Counter[str] = Counter()
    words = []
    solids = built([(SIZE, tools, turn_of(s), s % 2 == 1) for s, (tools, _, _) in zip(seeds, rows, strict=True)])
    for seed, (_, holes, wanted), solid in zip(seeds, rows, solids, strict=True):
        bored, _ = bores(solid, body_of(solid.mesh))
        walls = frozenset().union(*(h.faces for h in bored)) if bored else frozenset()
        got = Counter((round(2 * h.core.radius, 3), not h.through) for h in bored if not h.other_end)
        kinds = Counter(f.kind for f in forms_of(solid, np.stack(tuple(part_frame(solid).T)), walls))
        total.update({"hole wanted": holes.total(), "hole found": got.total(), "hole right": (holes & got).total()})
        for k in ("pocket", "slot", "step"):
            right = min(wanted[k], kinds[k])
            total.update({f"{k} wanted": wanted[k], f"{k} found": kinds[k], f"{k} right": right})
        if got != holes or kinds != wanted:
            words.append(
                f"part {seed}: holes {dict(holes)} found {dict(got)}, forms {dict(wanted)} found {dict(kinds)}"
            )
    return total, words


def turn_of(seed: int) -> tuple[tuple[float, float, float], float]:
    rng = random.Random(1000 + seed)
    return (rng.uniform(-1, 1), rng.uniform(-1, 1), rng.uniform(0.1, 1)), rng.uniform(0, 2 * math.pi)


def nothing(rng, tools, holes, forms, x, y) -> None:  # type: ignore[no-untyped-def]
    """An empty place."""


def drilled(rng, tools, holes, forms, x, y, top=50.0) -> None:  # type: ignore[no-untyped-def]
    """A hole straight down from `top`, blind or through, perhaps counterbored; it may cross the one under all."""
    d, blind = rng.choice(DRILLS), rng.random() < 0.5
    at = (x + 20.0, y + 22.5)
    depth = rng.uniform(8, 14) if blind else top + 1
    tools.append(("cylinder", (*at, top - depth), (0, 0, 1), d / 2, depth + (60 if blind else 1)))
    if rng.random() < 0.3:
        tools.append(("cylinder", (*at, top - 4), (0, 0, 1), d / 2 + 2, 60))
    holes[d, blind] += 1


def oblique(rng, tools, holes, forms, x, y) -> None:  # type: ignore[no-untyped-def]
    """A blind hole up to 25 degrees off the vertical."""
    d, lean, way = rng.choice(DRILLS[:4]), math.radians(rng.uniform(8, 25)), rng.uniform(0, 2 * math.pi)
    axis = (math.sin(lean) * math.cos(way), math.sin(lean) * math.sin(way), math.cos(lean))
    tools.append(("cylinder", (x + 20 - 6 * axis[0], y + 22.5 - 6 * axis[1], 38), axis, d / 2, 40))
    holes[d, True] += 1


def pocket(rng, tools, holes, forms, x, y) -> None:  # type: ignore[no-untyped-def]
    """A pocket, blind (perhaps with a hole in its floor) or right through, sharp or with round corners."""
    w, h = rng.uniform(12, 30), rng.uniform(12, 34)
    floor = rng.uniform(20, 42) if rng.random() < 0.7 else -1.0
    x0, y0, x1, y1 = x + 20 - w / 2, y + 22.5 - h / 2, x + 20 + w / 2, y + 22.5 + h / 2
    if rng.random() < 0.5:
        tools.append(("box", (x0, y0, floor), (x1, y1, 51)))
    else:
        r = rng.uniform(2, 5)
        tools.append(("box", (x0 + r, y0, floor), (x1 - r, y1, 51)))
        tools.append(("box", (x0, y0 + r, floor), (x1, y1 - r, 51)))
        corners = [(a, b) for a in (x0 + r, x1 - r) for b in (y0 + r, y1 - r)]
        tools.extend(("cylinder", (*c, floor), (0, 0, 1), r, 51 - floor) for c in corners)
    forms["pocket"] += 1
    if floor > 0 and rng.random() < 0.5:
        drilled(rng, tools, holes, forms, x, y, floor)


def slot(rng, tools, holes, forms, x, y) -> None:  # type: ignore[no-untyped-def]
    """A slot that comes in from the nearest long side and ends square or round."""
    w, floor = rng.uniform(5, 14), rng.uniform(18, 42)
    end = 30.0
    near, far = (-1.0, end) if y == 0 else (90.0 - end, 91.0)
    tools.append(("box", (x + 20 - w / 2, near, floor), (x + 20 + w / 2, far, 51)))
    if rng.random() < 0.5:
        tools.append(("cylinder", (x + 20, end if y == 0 else 90 - end, floor), (0, 0, 1), w / 2, 51 - floor))
    forms["slot"] += 1


def corner(rng, tools, holes, forms, x, y) -> None:  # type: ignore[no-untyped-def]
    """A step: at a corner open to three sides; in the middle column open to two of them, wide and shallow, a slot."""
    w, h, floor = rng.uniform(8, 25), rng.uniform(8, 25), rng.uniform(18, 42)
    near, far = (-1.0, h) if y == 0 else (90.0 - h, 91.0)
    if x == 40.0:
        tools.append(("box", (x + 20 - w / 2, near, floor), (x + 20 + w / 2, far, 51)))
        forms["slot"] += 1
        return
    tools.append(("box", (-1 if x == 0 else 120 - w, near, floor), (w if x == 0 else 121, far, 51)))
    forms["step"] += 1
