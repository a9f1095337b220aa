"""The room's compiled kernels, made ready ahead of their first use."""

from __future__ import annotations

from palletwright.holding.answer import hold
from palletwright.holding.walls import thin_walls
from palletwright.solid.bodies import box


def compile_kernels() -> None:
    """Compile and cache every kernel of the room by the smallest case that uses them."""
    hold(
        {
            "friction": 0.2,
            "safety": 2,
            "locator": [{"at": [0, 0, 0], "normal": [0, 0, 1]}, {"at": [9, 0, 0], "normal": [0, 0, 1]}],
            "clamp": [{"at": [4, 0, 9], "normal": [0, 0, -1], "preload": 100}],
            "load": [{"at": [4, 0, 9], "force": [10, 0, 0]}],
        }
    )
    thin_walls(box((0, 0, 0), (9, 2, 9)), (0.0, 0.0, 1.0))
