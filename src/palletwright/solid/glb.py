"""Scenes for screens: binary glTF 2.0, metres, Y up, one primitive a body, the same bytes for the same scene."""

from __future__ import annotations

import json
import struct
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from palletwright.solid.model import Floats, Mesh

MAGIC, JSON_CHUNK, BINARY_CHUNK = 0x46546C67, 0x4E4F534A, 0x004E4942
FLOAT, UNSIGNED = 5126, 5125
ARRAY, INDEX = 34962, 34963
RGBA = tuple[float, float, float, float]


def write_glb(path: Path | str, bodies: Sequence[tuple[str, Mesh, RGBA]]) -> None:
    """Write named, coloured bodies; `rgba` is linear, 0 to 1. See `glb_bytes`."""
    Path(path).write_bytes(glb_bytes(bodies))


def glb_bytes(bodies: Sequence[tuple[str, Mesh, RGBA]]) -> bytes:
    """The file's bytes. Bodies that share a mesh share its data."""
    tree: dict[str, Any] = {
        "asset": {"version": "2.0", "generator": "palletwright"},
        "scene": 0,
        "scenes": [{"nodes": list(range(len(bodies)))}],
        **{k: [] for k in ("nodes", "meshes", "materials", "accessors", "bufferViews")},
    }
    blob = bytearray()
    data: dict[str, dict[str, int]] = {}
    materials: dict[RGBA, int] = {}
    for name, mesh, rgba in bodies:
        if mesh.key not in data:
            data[mesh.key] = geometry(tree, blob, mesh)
        if rgba not in materials:
            materials[rgba] = len(tree["materials"])
            tree["materials"].append(material(rgba))
        ids = data[mesh.key]
        attributes = {k: ids[k] for k in ("POSITION", "NORMAL")}
        primitive = {"attributes": attributes, "indices": ids["indices"], "material": materials[rgba]}
        tree["nodes"].append({"name": name, "mesh": len(tree["meshes"])})
        tree["meshes"].append({"name": name, "primitives": [primitive]})
    tree["buffers"] = [{"byteLength": len(blob)}]
    return packed(tree, bytes(blob))


def material(rgba: RGBA) -> dict[str, Any]:
    """A matt, non-metallic surface: the format's default is a metal, black without surroundings."""
    surface = {"baseColorFactor": list(rgba), "metallicFactor": 0.0, "roughnessFactor": 0.7}
    clear = {"alphaMode": "BLEND", "doubleSided": True} if rgba[3] < 1.0 else {}
    return {"pbrMetallicRoughness": surface, **clear}


def geometry(tree: dict[str, Any], blob: bytearray, mesh: Mesh) -> dict[str, int]:
    """Add one mesh's arrays; returns the numbers of its accessors."""
    points, normals, triangles = shaded(mesh)
    points = (points[:, [0, 2, 1]] * [1e-3, 1e-3, -1e-3]).astype(np.float32)
    normals = (normals[:, [0, 2, 1]] * [1.0, 1.0, -1.0]).astype(np.float32)
    ids = {"POSITION": accessor(tree, blob, points, FLOAT, "VEC3", ARRAY)}
    at = tree["accessors"][ids["POSITION"]]
    at["min"], at["max"] = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    ids["NORMAL"] = accessor(tree, blob, normals, FLOAT, "VEC3", ARRAY)
    ids["indices"] = accessor(tree, blob, triangles.astype(np.uint32).ravel(), UNSIGNED, "SCALAR", INDEX)
    return ids


def accessor(tree: dict[str, Any], blob: bytearray, values: Any, kind: int, shape: str, target: int) -> int:
    """Append an array to the blob and describe it."""
    tree["bufferViews"].append({"buffer": 0, "byteOffset": len(blob), "byteLength": values.nbytes, "target": target})
    blob += values.tobytes()
    tree["accessors"].append(
        {"bufferView": len(tree["bufferViews"]) - 1, "componentType": kind, "count": len(values), "type": shape}
    )
    return len(tree["accessors"]) - 1


def shaded(mesh: Mesh) -> tuple[Floats, Floats, Any]:
    """Points, normals and triangles: smooth within a face of the solid, sharp between faces (flat where unknown)."""
    owner = np.arange(len(mesh.triangles)) if mesh.face_of is None else mesh.face_of.astype(np.int64)
    corner = mesh.triangles.astype(np.int64) + owner[:, None] * len(mesh.vertices)
    used, index = np.unique(corner, return_inverse=True)
    index = index.reshape(-1, 3)
    across = np.cross(mesh.corners[:, 1] - mesh.corners[:, 0], mesh.corners[:, 2] - mesh.corners[:, 0])
    normals = np.zeros((len(used), 3))
    for k in range(3):
        np.add.at(normals, index[:, k], across)
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    normals = np.where(lengths > 0, normals / np.where(lengths > 0, lengths, 1.0), [0.0, 0.0, 1.0])
    return mesh.vertices[used % len(mesh.vertices)], normals, index


def packed(tree: dict[str, Any], blob: bytes) -> bytes:
    """Header, JSON chunk and binary chunk, each padded to four bytes."""
    text = json.dumps(tree, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    blob += b"\0" * (-len(blob) % 4)
    chunks = struct.pack("<II", len(text), JSON_CHUNK) + text + struct.pack("<II", len(blob), BINARY_CHUNK) + blob
    return struct.pack("<III", MAGIC, 2, 12 + len(chunks)) + chunks
