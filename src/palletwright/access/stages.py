"""The part between its clampings: the blank without what has been cut so far."""

from __future__ import annotations

from palletwright.access.model import Access, Clamping, Feature, Sequence
from palletwright.access.shapes import Body, body_of, mesh_of, subtract
from palletwright.solid.model import Mesh


def cut_in(access: Access, clamping: Clamping) -> list[Feature]:
    """The features cut in a clamping."""
    names = {name for name, _ in clamping.features}
    return [f for f in access.features if f.id in names]


def in_process(access: Access, sequence: Sequence, k: int) -> tuple[Mesh, Mesh]:
    """The closed shapes before and after clamping `k` (0 is the first), part frame, mm.

    Features cut from both ends count as cut after the second. Raises IndexError where there is no clamping `k`.
    """
    if not 0 <= k < len(sequence.clampings):
        raise IndexError(f"clamping {k} of {len(sequence.clampings)}")
    before = state(access, sequence, k)
    after = state(access, sequence, k + 1)
    error = access.solid.mesh.chord_error
    return mesh_of(before, error), mesh_of(after, error)


def state(access: Access, sequence: Sequence, count: int) -> Body:
    """The blank after the first `count` clampings."""
    done = {name for c in sequence.clampings[:count] for name, _ in c.features}
    later = {name for c in sequence.clampings[count:] for name, _ in c.features}
    gone = [body_of(f.removal) for f in access.features if f.id in done - later and len(f.removal.triangles)]
    return subtract(body_of(access.stock), gone)
