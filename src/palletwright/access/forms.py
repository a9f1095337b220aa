"""Forms that a designer sees: faces joined by inside edges, named pocket, slot or step by where they are open.

Two volumes taken from one block meet in outside edges only, so faces that an inside edge joins belong to one form.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from palletwright.access.directions import negated, same, vec
from palletwright.solid.model import Face, Floats, Mesh, Solid
from palletwright.verdict import Vec

FormKind = Literal["pocket", "slot", "step"]

SMOOTH = 3.0
"""degrees of turn below which an edge is smooth: neither inside nor outside."""
BARELY = 0.02
"""sine of the angle by which a wall may lean over and still count as open along a direction."""
UPRIGHT = 0.94
"""least cosine between a wall's normal and the axis across which it faces another (within 20°)."""
ALIKE = 0.5
"""least share of the larger of two facing walls that the smaller has: less is one wall and a hollow floor."""
LONG = 4.0
"""length over width from which an opening right through is a slot, no pocket (the trade's slotted hole; no source)."""


@dataclass(frozen=True, slots=True)
class Form:
    """Faces of one pocket, slot or step, and the directions of the part's axes in which it lies open."""

    kind: FormKind
    faces: frozenset[int]
    open_to: tuple[Vec, ...]


def forms(solid: Solid, frame: Floats, holes: Collection[int] = ()) -> list[Form]:
    """The part's pockets, slots and steps, greatest area first; faces in `holes` are left out."""
    faces = {f.id: f for f in solid.faces}
    axes = [vec(s * row) for row in frame for s in (1.0, -1.0)]
    area = {f.id: f.area for f in solid.faces}
    found = []
    for group in groups(solid.mesh, faces, frozenset(holes)):
        ways = tuple(a for a in axes if lies_open(solid.mesh, group, a))
        kind = named(ways, walls_face(solid.mesh, group, axes, ways))
        if kind == "pocket" and len(ways) == 2 and elongated(solid.mesh, group, axes, ways):
            kind = "slot"
        if kind is not None and not one_plane(faces, group) and (len(group) > 1 or hollow_slot(faces, group, ways)):
            found.append(Form(kind, group, ways))
    return sorted(found, key=lambda f: (-sum(area[k] for k in f.faces), min(f.faces)))


def one_plane(faces: dict[int, Face], group: Collection[int]) -> bool:
    """Whether the group is one flat face, which the file may hold in pieces."""
    rows = [faces[k] for k in group]
    return all(f.kind == "plane" and same(vec(f.axis), vec(rows[0].axis)) for f in rows)


def hollow_slot(faces: dict[int, Face], group: Collection[int], ways: Sequence[Vec]) -> bool:
    """A single face is a form where it is the hollow wall of a round slot or passage."""
    return bool(ways) and all(faces[k].hollow for k in group)


def named(ways: Sequence[Vec], facing: bool) -> FormKind | None:
    """One way out, or two in line: pocket. Two at right angles between facing walls, or three with two in line: slot.
    More, or no facing walls: step. None where it is open nowhere, or to five sides: a plain outside face.
    (An opening right through that is long and narrow is a slot too: `elongated`.)
    """
    pairs = sum(1 for a in ways if any(same(negated(a), b) for b in ways)) // 2
    if not ways or len(ways) >= 5:
        return None
    if len(ways) == 1 or (len(ways) == 2 and pairs == 1):
        return "pocket"
    if len(ways) == 2:
        return "slot" if facing else "step"
    return "slot" if len(ways) == 3 and pairs == 1 else "step"


def walls_face(mesh: Mesh, group: Collection[int], axes: Sequence[Vec], ways: Sequence[Vec]) -> bool:
    """Whether two upright walls of like size face each other across an axis in which the group isn't open."""
    normals, area = surface(mesh, group)
    for a in axes[::2]:
        if any(same(a, w) or same(negated(a), w) for w in ways):
            continue
        lean = normals @ np.asarray(a)
        one, other = float(area[lean > UPRIGHT].sum()), float(area[lean < -UPRIGHT].sum())
        if min(one, other) >= ALIKE * max(one, other, 1e-9):
            return True
    return False


def elongated(mesh: Mesh, group: Collection[int], axes: Sequence[Vec], ways: Sequence[Vec]) -> bool:
    """Whether an opening right through along `ways` is `LONG` times as long as wide: the smallest box about it."""
    assert mesh.face_of is not None
    flat = np.stack([np.asarray(a) for a in axes[::2] if not any(same(a, w) or same(negated(a), w) for w in ways)])
    points = mesh.corners[np.isin(mesh.face_of, list(group))].reshape(-1, 3) @ flat.T
    turns = np.radians(np.arange(0.0, 90.0, 3.0))
    turned = (points @ np.array([[np.cos(t), -np.sin(t)], [np.sin(t), np.cos(t)]]) for t in turns)
    sizes = [(float(np.ptp(p[:, 0])), float(np.ptp(p[:, 1]))) for p in turned]
    box = min(sizes, key=lambda wh: wh[0] * wh[1])
    small, large = min(box), max(box)
    return bool(large >= LONG * small)


def surface(mesh: Mesh, group: Collection[int]) -> tuple[Floats, Floats]:
    """(unit normals (n, 3), mm² (n,)) of the group's triangles."""
    assert mesh.face_of is not None
    corners = mesh.corners[np.isin(mesh.face_of, list(group))]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normals, axis=1)
    return normals / np.maximum(size, 1e-30)[:, None], size / 2


def lies_open(mesh: Mesh, group: Collection[int], direction: Vec) -> bool:
    """Whether no face of the group leans over along the direction, but for slivers of its area."""
    normals, area = surface(mesh, group)
    over = normals @ np.asarray(direction) < -BARELY
    return bool(area[over].sum() <= 0.005 * area.sum())


def groups(mesh: Mesh, faces: dict[int, Face], holes: frozenset[int]) -> list[frozenset[int]]:
    """Faces joined by inside edges, or smoothly to a hollow one; each face stands in one group."""
    ids = [k for k in faces if k not in holes]
    place = {k: n for n, k in enumerate(ids)}
    pairs = [
        (place[a], place[b])
        for a, b, turn in edges_between(mesh)
        if a in place and b in place and (turn > SMOOTH or (abs(turn) <= SMOOTH and inside(faces[a], faces[b])))
    ]
    n = len(ids)
    rows, cols = (np.array([p[k] for p in pairs], dtype=np.int64) for k in (0, 1))
    graph = coo_matrix((np.ones(len(pairs)), (rows, cols)), shape=(n, n))
    count, label = connected_components(graph, directed=False)
    return [frozenset(ids[i] for i in np.flatnonzero(label == k)) for k in range(count)]


def inside(a: Face, b: Face) -> bool:
    """Whether a smooth edge between the two runs along an inside round, or through one plane that the file splits."""
    if a.kind == b.kind == "plane":
        return True
    return any(f.hollow and f.kind in ("cylinder", "torus", "cone", "sphere") for f in (a, b))


def edges_between(mesh: Mesh) -> list[tuple[int, int, float]]:
    """(face, face, turn in degrees) of neighbouring faces: the mean over their common edge, positive where inside."""
    assert mesh.face_of is not None
    size = float(np.ptp(mesh.vertices, axis=0).max())
    _, weld = np.unique(np.round(mesh.vertices / (1e-7 * size)), axis=0, return_inverse=True)
    tri = weld.reshape(-1)[mesh.triangles]
    ends = np.concatenate([tri[:, [0, 1]], tri[:, [1, 2]], tri[:, [2, 0]]])
    owner = np.tile(np.arange(len(tri)), 3)
    far = np.concatenate([mesh.triangles[:, 2], mesh.triangles[:, 0], mesh.triangles[:, 1]])
    near = np.concatenate([mesh.triangles[:, 0], mesh.triangles[:, 1], mesh.triangles[:, 2]])
    ends.sort(axis=1)
    order = np.lexsort((ends[:, 1], ends[:, 0]))
    twin = (ends[order[1:]] == ends[order[:-1]]).all(axis=1)
    first, second = order[:-1][twin], order[1:][twin]
    face = np.asarray(mesh.face_of)
    apart = face[owner[first]] != face[owner[second]]
    first, second = first[apart], second[apart]
    corners = mesh.corners
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-30)[:, None]
    a, b = normal[owner[first]], normal[owner[second]]
    length = np.linalg.norm(np.diff(mesh.vertices[mesh.triangles[owner[first]]][:, :2], axis=1)[:, 0], axis=1)
    rise = np.einsum("ij,ij->i", mesh.vertices[far[second]] - mesh.vertices[near[first]], a)
    turn = np.degrees(np.arccos(np.clip(np.einsum("ij,ij->i", a, b), -1, 1))) * np.sign(rise)
    rows: dict[tuple[int, int], list[tuple[float, float]]] = {}
    for f, g, t, w in zip(face[owner[first]], face[owner[second]], turn, length, strict=True):
        rows.setdefault((int(min(f, g)), int(max(f, g))), []).append((float(t), float(w)))
    return [
        (f, g, sum(t * w for t, w in row) / max(sum(w for _, w in row), 1e-12)) for (f, g), row in sorted(rows.items())
    ]
