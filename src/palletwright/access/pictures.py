"""Pictures of the part along each direction, every face in the colour of the feature that is cut there."""

from __future__ import annotations

import base64
import struct
import zlib
from html import escape
from pathlib import Path

import numba as nb
import numpy as np
from numpy.typing import NDArray

from palletwright.access.directions import same
from palletwright.access.model import Access, Feature
from palletwright.access.pages import page, way
from palletwright.access.shapes import face_areas
from palletwright.field.frame import frame_of
from palletwright.verdict import Vec

Pixels = NDArray[np.uint8]

LONGEST = 460
"""pixels along the longer side of a picture."""
OTHER = (206, 210, 214)
"""what isn't cut from this direction: light grey."""
STAYS = (200, 40, 40)
"""stripes over what a feature leaves uncut."""
PALETTE = ("4477aa", "ee7733", "228833", "aa3377", "66ccee", "ccbb44", "994455", "009988", "997700", "6699cc")
"""ten colours that stay apart for most kinds of colour-blindness; more features use them again, named beside."""


@nb.njit(cache=True)
def _nearest(corners, ox, oy, ny, nx, pitch):  # type: ignore[no-untyped-def]
    """The number of the highest triangle over each pixel's centre, -1 where there is none."""
    top = np.full((ny, nx), -np.inf)
    which = np.full((ny, nx), -1, dtype=np.int64)
    for t in range(corners.shape[0]):
        ax, ay, az = corners[t, 0]
        bx, by, bz = corners[t, 1]
        cx, cy, cz = corners[t, 2]
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if area < 1e-12:
            continue
        i0 = max(0, int((min(ax, bx, cx) - ox) / pitch - 0.5))
        i1 = min(nx - 1, int((max(ax, bx, cx) - ox) / pitch + 0.5))
        j0 = max(0, int((min(ay, by, cy) - oy) / pitch - 0.5))
        j1 = min(ny - 1, int((max(ay, by, cy) - oy) / pitch + 0.5))
        for j in range(j0, j1 + 1):
            y = oy + (j + 0.5) * pitch
            for i in range(i0, i1 + 1):
                x = ox + (i + 0.5) * pitch
                u = ((bx - x) * (cy - y) - (by - y) * (cx - x)) / area
                v = ((cx - x) * (ay - y) - (cy - y) * (ax - x)) / area
                w = 1.0 - u - v
                z = u * az + v * bz + w * cz
                if u >= -1e-9 and v >= -1e-9 and w >= -1e-9 and z > top[j, i]:
                    top[j, i], which[j, i] = z, t
    return which


def picture(access: Access, direction: Vec) -> tuple[Pixels, list[Feature]]:
    """(rgb (ny, nx, 3), the features cut from this direction that are seen): the part along a direction."""
    mesh = access.solid.mesh
    assert mesh.face_of is not None
    frame = frame_of(direction)
    seen = np.ascontiguousarray(mesh.corners @ frame.T)
    low, high = seen[..., :2].min(axis=(0, 1)), seen[..., :2].max(axis=(0, 1))
    pitch = float((high - low).max()) / LONGEST
    ny, nx = (int(n) for n in np.ceil((high - low) / pitch)[::-1] + 8)
    which = _nearest(seen, low[0] - 4 * pitch, low[1] - 4 * pitch, ny, nx, pitch)[::-1]
    owner = owners(access, direction)
    face = np.where(which >= 0, mesh.face_of[which], -1)
    image = np.full((ny, nx, 3), 255, dtype=np.uint8)
    shade = 0.62 + 0.38 * facing(seen)[which]
    stripes = (np.add.outer(np.arange(ny), np.arange(nx)) % 9) < 2
    for k in np.unique(face[face >= 0]):
        here = face == k
        feature = owner.get(int(k))
        base = np.array(OTHER if feature is None else colour(access, feature), dtype=np.float64)
        image[here] = (base * shade[here][:, None]).astype(np.uint8)
        if feature is not None and any(x.feature == feature.id for x in access.left_over):
            image[here & stripes] = STAYS
    edges(image, face)
    shown = {owner[k].id: owner[k] for k in (int(k) for k in np.unique(face)) if k in owner}
    return image, sorted(shown.values(), key=lambda f: access.features.index(f))


def facing(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Cosine between each triangle's normal and the view, 0 where it looks away."""
    n = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return np.asarray(np.clip(n[:, 2] / np.maximum(np.linalg.norm(n, axis=1), 1e-30), 0, 1))


def edges(image: Pixels, face: NDArray[np.int64]) -> None:
    """Darkens the pixels where one face ends and the next begins."""
    change = np.zeros(face.shape, dtype=bool)
    change[1:] |= face[1:] != face[:-1]
    change[:, 1:] |= face[:, 1:] != face[:, :-1]
    image[change] = (70, 74, 80)


def owners(access: Access, direction: Vec) -> dict[int, Feature]:
    """The part's face to the smallest feature that makes it and that a route along the direction cuts."""
    found: dict[int, Feature] = {}
    for f in sorted(access.features, key=lambda f: -f.volume):
        if any(same(r.direction, direction) for r in f.routes):
            found |= dict.fromkeys(f.faces | set(face_areas(f.removal)), f)
    return found


def colour(access: Access, feature: Feature) -> tuple[int, int, int]:
    """The feature's own colour in all pictures: the palette, then the same again paler."""
    turn, k = divmod(access.features.index(feature), len(PALETTE))
    pale = min(0.45 * turn, 0.8)
    red, green, blue = (int(int(PALETTE[k][n : n + 2], 16) * (1 - pale) + 255 * pale) for n in (0, 2, 4))
    return red, green, blue


def png(image: Pixels) -> bytes:
    """The picture as a PNG file's bytes."""
    ny, nx, _ = image.shape
    rows = np.concatenate([np.zeros((ny, 1), dtype=np.uint8), image.reshape(ny, 3 * nx)], axis=1)

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", nx, ny, 8, 2, 0, 0, 0)
    body = zlib.compress(rows.tobytes(), 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


def write_report(access: Access, folder: Path | str) -> Path:
    """Writes `access.html` and one PNG for each direction from which something is cut; the path of the HTML.

    The HTML holds its own pictures. Raises OSError where the folder can't be written.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    cards = []
    for k, (direction, volume) in enumerate((d, v) for d, v in access.directions if v > 0):
        image, shown = picture(access, direction)
        data = png(image)
        (folder / f"direction-{k + 1}.png").write_bytes(data)
        cards.append(card(access, direction, volume, data, shown))
    path = folder / "access.html"
    path.write_text(page(access, cards), encoding="utf-8")
    return path


def card(access: Access, direction: Vec, volume: float, data: bytes, shown: list[Feature]) -> str:
    """One direction: picture, volume reached and the colours' names."""
    name = way(direction)
    chips = "".join(f'<li><span style="background:rgb{colour(access, f)}"></span>{escape(f.id)}</li>' for f in shown)
    source = base64.b64encode(data).decode()
    return (
        f"<figure><figcaption>from ({name}): up to {volume:,.0f} mm³ of what must go</figcaption>"
        f'<img alt="the part seen from {name}" src="data:image/png;base64,{source}">'
        f'<ul class="key">{chips}</ul></figure>'
    )
