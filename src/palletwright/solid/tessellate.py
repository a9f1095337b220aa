"""In the kernel's child: closed, outward triangle meshes, stitched along the edges that faces share.

The kernel cuts each edge once and gives every face at it the same cut points, so that faces are joined by topology
and not by distance. What still doesn't close is tried again with other settings, then refused.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import manifold3d
import numpy as np
from OCP.BRep import BRep_Tool
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepMesh import BRepMesh_IncrementalMesh
from OCP.BRepTools import BRepTools
from OCP.collections import (
    IndexedDataMap_TopoDS_Shape_List_TopoDS_Shape_TopTools_ShapeMapHasher,
    IndexedMap_TopoDS_Shape_TopTools_ShapeMapHasher,
)
from OCP.GeomAbs import GeomAbs_SurfaceType
from OCP.TopAbs import TopAbs_Orientation as Way
from OCP.TopAbs import TopAbs_ShapeEnum as Kind
from OCP.TopExp import TopExp
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import TopoDS
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from palletwright.solid.bodies import manifold
from palletwright.solid.kernel import Refused
from palletwright.solid.model import Floats, Ints, Mesh

ANGLE = 0.35  # rad, greatest turn of the normal along one facet: about 18 facets round a small hole
FINER = ((1.0, ANGLE), (0.4, 0.25), (0.15, 0.15), (2.5, 0.5))  # factors on the chord, rad: settings to try in turn
MERGE = 1e-4  # mm: nodes of facets without edges that are the same point


def faces_map(solid: Any) -> Any:
    """The solid's distinct faces, numbered from 1."""
    faces = IndexedMap_TopoDS_Shape_TopTools_ShapeMapHasher()
    TopExp.MapShapes_s(solid, Kind.TopAbs_FACE, faces)
    return faces


def edges_map(solid: Any) -> Any:
    """The solid's edges, each with the list of faces at it."""
    edges = IndexedDataMap_TopoDS_Shape_List_TopoDS_Shape_TopTools_ShapeMapHasher()
    TopExp.MapShapesAndAncestors_s(solid, Kind.TopAbs_EDGE, Kind.TopAbs_FACE, edges)
    return edges


def mesh_of(solid: Any, chord: float) -> tuple[Mesh, list[str]]:
    """A closed mesh within `chord` (mm) of the solid, and what had to be done to get it. Raises Refused."""
    for attempt, (factor, angle) in enumerate(FINER):
        BRepTools.Clean_s(solid)
        BRepMesh_IncrementalMesh(solid, chord * factor, False, angle, False)
        mesh = stitched(solid)
        trouble = fault(mesh)
        if not trouble:
            departure = departure_of(solid, mesh)
            error = max(chord * factor, departure) if departure > 0.0 else 0.0
            notes = [f"meshed at chord {chord * factor:.3g} mm: the first settings left it open"] if attempt else []
            return replace(mesh, chord_error=error), notes
    closed = bridged(mesh)
    if closed is None:
        raise Refused(f"its surface doesn't close into a watertight mesh ({trouble})")
    return replace(closed, chord_error=chord), ["healed: cracks of the mesh between faces closed by tolerance"]


def node_arrays(face: Any) -> tuple[Floats, Ints, Any, Any]:
    """Nodes (n, 3) mm, outward triangles (m, 3), the triangulation and its location."""
    location = TopLoc_Location()
    patch = BRep_Tool.Triangulation_s(face, location)
    if patch is None:
        return np.zeros((0, 3)), np.zeros((0, 3), np.int32), None, location
    move = location.Transformation()
    nodes = np.array([patch.Node(i).Transformed(move).Coord() for i in range(1, patch.NbNodes() + 1)], np.float64)
    triangles = np.array([patch.Triangle(i).Get() for i in range(1, patch.NbTriangles() + 1)], np.int32) - 1
    if (face.Orientation() == Way.TopAbs_REVERSED) != (move.IsNegative()):
        triangles = triangles[:, ::-1]
    return nodes.reshape(-1, 3), triangles.reshape(-1, 3), patch, location


def stitched(solid: Any) -> Mesh:
    """All faces' triangles with the cut points of shared edges and vertices made one."""
    faces, edges = faces_map(solid), edges_map(solid)
    patches = [node_arrays(TopoDS.Face(faces.FindKey(i))) for i in range(1, faces.Extent() + 1)]
    starts = np.concatenate([[0], np.cumsum([len(p[0]) for p in patches])]).astype(int)
    nodes = np.concatenate([p[0] for p in patches])
    triangles = np.concatenate([p[1] + starts[k] for k, p in enumerate(patches)]).astype(np.int32)
    owner = np.repeat(np.arange(len(patches), dtype=np.int32), [len(p[1]) for p in patches])
    same: list[tuple[int, int]] = []
    ends: dict[int, int] = {}
    corners = IndexedMap_TopoDS_Shape_TopTools_ShapeMapHasher()
    for number in range(1, edges.Extent() + 1):
        rows = edge_rows(edges, number, faces, patches, starts)
        if not rows:
            continue
        edge = TopoDS.Edge(edges.FindKey(number))
        flat = BRep_Tool.Degenerated_s(edge)
        for row in rows:
            same += zip(rows[0], row, strict=False) if len(row) == len(rows[0]) else []
            same += [(row[0], node) for node in row] if flat else []
            for vertex, node in zip(end_vertices(edge), (row[0], row[-1]), strict=True):
                same.append((ends.setdefault(corners.Add(vertex), node), node))
    return welded(nodes, triangles, owner, same)


def end_vertices(edge: Any) -> tuple[Any, Any]:
    """First and last vertex in the direction of the edge's own parameter."""
    forward = TopoDS.Edge(edge.Oriented(Way.TopAbs_FORWARD))
    return TopExp.FirstVertex_s(forward), TopExp.LastVertex_s(forward)


def edge_rows(edges: Any, number: int, faces: Any, patches: Any, starts: Any) -> list[list[int]]:
    """The nodes along an edge, once for each face at it (twice where the face closes on itself there)."""
    edge, rows, seen = edges.FindKey(number), [], set()
    for face in edges.FindFromIndex(number):
        k = faces.FindIndex(face) - 1
        if k in seen or patches[k][2] is None:
            continue
        seen.add(k)
        for way in (Way.TopAbs_FORWARD, Way.TopAbs_REVERSED):
            cut = BRep_Tool.PolygonOnTriangulation_s(TopoDS.Edge(edge.Oriented(way)), patches[k][2], patches[k][3])
            if cut is not None:
                row = [int(starts[k]) + cut.Node(i) - 1 for i in range(1, cut.NbNodes() + 1)]
                if row not in rows:
                    rows.append(row)
    return rows


def welded(nodes: Floats, triangles: Ints, owner: Ints, same: list[tuple[int, int]]) -> Mesh:
    """Nodes joined into one each; triangles that collapse are dropped."""
    pairs = np.array(same, np.int64).reshape(-1, 2)
    links = coo_matrix((np.ones(len(pairs), np.int8), (pairs[:, 0], pairs[:, 1])), shape=(len(nodes),) * 2)
    count, label = connected_components(links, directed=False)
    sums = np.stack([np.bincount(label, nodes[:, k], count) for k in range(3)], axis=1)
    points = np.asarray(sums, np.float64) / np.bincount(label, minlength=count)[:, None]
    triangles = label[triangles].astype(np.int32)
    whole = (triangles != np.roll(triangles, 1, axis=1)).all(axis=1)
    used, inverse = np.unique(triangles[whole], return_inverse=True)
    return Mesh(points[used], inverse.reshape(-1, 3).astype(np.int32), owner[whole])


def fault(mesh: Mesh) -> str:
    """Why the mesh isn't a closed, outward body; empty where it is."""
    if not len(mesh.triangles):
        return "no triangles"
    arcs = np.concatenate([mesh.triangles[:, [0, 1]], mesh.triangles[:, [1, 2]], mesh.triangles[:, [2, 0]]])
    n = len(mesh.vertices)
    there, back = arcs[:, 0].astype(np.int64) * n + arcs[:, 1], arcs[:, 1].astype(np.int64) * n + arcs[:, 0]
    unpaired = len(np.setxor1d(there, back))
    if unpaired or not np.array_equal(np.sort(there), np.sort(back)):
        return f"{max(unpaired, 1)} open edges"
    try:
        manifold(mesh)
    except ValueError as error:
        return str(error)
    return "" if mesh.volume > 0 else "inside out"


def bridged(mesh: Mesh) -> Mesh | None:
    """The mesh with open edges closed by merging points within growing tolerances; None where that fails."""
    size = float(np.ptp(mesh.bounds, axis=0).max())
    for tolerance in (1e-7 * size, 1e-6 * size, 1e-5 * size, 1e-4 * size):
        joined = manifold3d.Mesh64(np.array(mesh.vertices), mesh.triangles.astype(np.uint64), tolerance=tolerance)
        joined.merge()
        pairs = list(zip(joined.merge_from_vert, joined.merge_to_vert, strict=True))
        owner = np.zeros(len(mesh.triangles), np.int32) if mesh.face_of is None else mesh.face_of
        closed = welded(mesh.vertices, mesh.triangles, owner, [(int(a), int(b)) for a, b in pairs])
        if not fault(closed):
            return closed
    return None


def mesh_of_facets(faces: list[Any]) -> tuple[Mesh, list[str]]:
    """A closed mesh from faces that carry triangles only. Raises Refused."""
    patches = [node_arrays(TopoDS.Face(face)) for face in faces]
    starts = np.concatenate([[0], np.cumsum([len(p[0]) for p in patches])]).astype(int)
    nodes = np.concatenate([p[0] for p in patches])
    triangles = np.concatenate([p[1] + starts[k] for k, p in enumerate(patches)]).astype(np.int32)
    owner = np.repeat(np.arange(len(patches), dtype=np.int32), [len(p[1]) for p in patches])
    _, label = np.unique(np.round(nodes / MERGE).astype(np.int64), axis=0, return_inverse=True)
    first = np.full(label.max() + 1, -1)
    first[label[::-1]] = np.arange(len(nodes))[::-1]
    mesh: Mesh | None = welded(
        nodes, triangles, owner, list(zip(first[label].tolist(), range(len(nodes)), strict=True))
    )
    assert mesh is not None
    trouble = fault(mesh)
    if trouble == "inside out":
        mesh, trouble = replace(mesh, triangles=mesh.triangles[:, ::-1].copy()), ""
    if trouble:
        mesh = bridged(mesh)
    if mesh is None:
        raise Refused(f"holds triangles only, no exact surfaces, and they don't close ({trouble})")
    return mesh, ["triangles only in the file: surfaces fitted to them, sizes and chord error are estimates"]


def departure_of(solid: Any, mesh: Mesh) -> float:
    """The most by which triangles' inner points stand off round surfaces, mm, sampled at ten points each."""
    faces, worst = faces_map(solid), 0.0
    assert mesh.face_of is not None
    for k in range(faces.Extent()):
        surface = BRepAdaptor_Surface(TopoDS.Face(faces.FindKey(k + 1)), False)
        corners = mesh.corners[mesh.face_of == k]
        if surface.GetType() == GeomAbs_SurfaceType.GeomAbs_Plane or not len(corners):
            continue
        worst = max(worst, 1e-9, float(stand_off(surface, np.einsum("sk,nkd->nsd", SAMPLES, corners).reshape(-1, 3))))
    return worst


SAMPLES = np.array([(i, j, 3 - i - j) for i in range(4) for j in range(4 - i)], np.float64) / 3.0


def stand_off(surface: Any, points: Floats) -> float:
    """Greatest distance of points from a cylinder, cone, sphere or torus, mm; 0 for other surfaces."""
    kinds = GeomAbs_SurfaceType
    kind = surface.GetType()
    if kind == kinds.GeomAbs_Sphere:
        ball = surface.Sphere()
        return float(abs(np.linalg.norm(points - ball.Location().Coord(), axis=1) - ball.Radius()).max())
    if kind not in (kinds.GeomAbs_Cylinder, kinds.GeomAbs_Cone, kinds.GeomAbs_Torus):
        return 0.0
    shape = {kinds.GeomAbs_Cylinder: "Cylinder", kinds.GeomAbs_Cone: "Cone", kinds.GeomAbs_Torus: "Torus"}[kind]
    body = getattr(surface, shape)()
    along = (points - body.Location().Coord()) @ np.array(body.Axis().Direction().Coord())
    radial = np.sqrt(np.maximum(((points - body.Location().Coord()) ** 2).sum(axis=1) - along**2, 0.0))
    if shape == "Cylinder":
        return float(abs(radial - body.Radius()).max())
    if shape == "Torus":
        return float(abs(np.hypot(radial - body.MajorRadius(), along) - body.MinorRadius()).max())
    slope = np.tan(body.SemiAngle())
    return float((abs(radial - abs(body.RefRadius() + along * slope)) * np.cos(body.SemiAngle())).max())
