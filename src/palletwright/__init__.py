"""From a part's solid model to a dense, proven fixture plan on the shop's own machining centres.

Names are loaded when they are first used, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from palletwright.errors import Fault, InputError, NoPlan, PalletwrightError, SolidError
    from palletwright.job import read_job
    from palletwright.shop import example_shop, read_shop

__all__ = [
    "Fault",
    "InputError",
    "NoPlan",
    "PalletwrightError",
    "SolidError",
    "example_shop",
    "read_job",
    "read_shop",
]

_HOME = {
    "Fault": "palletwright.errors",
    "InputError": "palletwright.errors",
    "NoPlan": "palletwright.errors",
    "PalletwrightError": "palletwright.errors",
    "SolidError": "palletwright.errors",
    "example_shop": "palletwright.shop",
    "read_job": "palletwright.job",
    "read_shop": "palletwright.shop",
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
