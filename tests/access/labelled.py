"""Parts whose faces' names are class numbers: what was labelled against what is found."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import numpy as np
from access_cases import SHARED

from palletwright.access.forms import forms
from palletwright.access.holes import bores
from palletwright.access.shapes import body_of
from palletwright.solid import Solid, part_frame, read_step

# Class numbers of the labelled set: names from memory, unconfirmed, and met by the faces' shapes in these files.
HOLES = {1: "through hole", 12: "blind hole"}
POCKETS = {2: "triangular passage", 3: "rectangular passage", 4: "six-sided passage", 13: "triangular pocket"}
POCKETS |= {14: "rectangular pocket", 15: "six-sided pocket", 16: "pocket with round ends"}
SLOTS = {5: "triangular through slot", 6: "rectangular through slot", 7: "round through slot"}
SLOTS |= {17: "rectangular blind slot", 18: "blind slot, upright round end", 19: "blind slot, flat round end"}
STEPS = {8: "rectangular through step", 9: "two-sided through step", 10: "slanted through step"}
STEPS |= {20: "triangular blind step", 21: "round blind step", 22: "rectangular blind step"}
NOT_MAPPED = {0: "chamfer", 11: "ring groove", 23: "round", 24: "outside of the block"}
KIND = {k: n for n, row in (("pocket", POCKETS), ("slot", SLOTS), ("step", STEPS)) for k in row}


def labelled_files() -> list[Path]:
    return sorted((SHARED / "parts").glob("mfcadpp__*.step"))


def labels_of(path: Path, solid: Solid) -> list[int]:
    """The class number of each face: the file's shell lists its faces in the order in which they are read."""
    rows = dict(re.findall(r"#(\d+)\s*=\s*(.*?);\s*\n", path.read_text(encoding="ascii"), re.DOTALL))
    shell = next(v for v in rows.values() if v.startswith("CLOSED_SHELL"))
    labels = []
    for face, number in zip(solid.faces, re.findall(r"#(\d+)", shell), strict=True):
        found = re.match(r"ADVANCED_FACE\s*\(\s*'(\d+)'\s*,\s*\(.*?\)\s*,\s*#(\d+)", rows[number], re.DOTALL)
        assert found is not None
        assert rows[found[2]].startswith("PLANE") == (face.kind == "plane"), "the order of faces differs"
        labels.append(int(found[1]))
    return labels


def instances(labels: list[int], solid: Solid, wanted: dict[int, object]) -> list[frozenset[int]]:
    """Neighbouring faces of one label are one labelled form."""
    ids = [f.id for f in solid.faces]
    left = {k for k, label in zip(ids, labels, strict=True) if label in wanted}
    of = dict(zip(ids, labels, strict=True))
    near = {f.id: f.neighbours for f in solid.faces}
    out = []
    while left:
        group, waiting = set(), [min(left)]
        while waiting:
            k = waiting.pop()
            if k in left:
                left.discard(k)
                group.add(k)
                waiting += [n for n in near[k] if n in left and of[n] == of[k]]
        out.append(frozenset(group))
    return out


def scored(path: Path) -> tuple[Counter[str], list[str]]:
    """Counts of labelled and found faces by kind, of hole instances, and each difference in words."""
    solid = read_step(path)
    labels = labels_of(path, solid)
    of = {f.id: label for f, label in zip(solid.faces, labels, strict=True)}
    holes, _ = bores(solid, body_of(solid.mesh))
    walls = frozenset().union(*(h.faces for h in holes)) if holes else frozenset()
    named = {k: f.kind for f in forms(solid, np.stack(tuple(part_frame(solid).T)), walls) for k in f.faces}
    count: Counter[str] = Counter()
    count["holes labelled"] = len(instances(labels, solid, HOLES))
    count["holes found"] = len(holes)
    count["holes right"] = sum(of[min(h.faces)] in HOLES for h in holes)
    words = []
    for k, label in of.items():
        if label in NOT_MAPPED and (label != 24 or k not in named):
            continue
        truth, ours = KIND.get(label), named.get(k)
        if label in HOLES and ours is None:
            continue
        count[f"{truth} labelled"] += truth is not None
        count[f"{ours} found"] += ours is not None
        count[f"{truth} right"] += truth is not None and truth == ours
        if truth != ours:
            words.append(f"{path.stem} face {k}: labelled {truth or label}, found {ours}")
    return count, words
