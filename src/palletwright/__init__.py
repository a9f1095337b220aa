"""From a part's solid model to a dense, proven fixture plan on the shop's own machining centres.

The verbs of the command line are functions here: `palletwright.plan("part.step", material="6061-T6",
per_year=5000)`. Names are loaded when they are first used, so that importing the package costs nothing. Four verbs
have the name of a room: `palletwright.plan` is the room, and called it is the verb.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from palletwright.errors import Fault, InputError, NoPlan, PalletwrightError, SolidError
    from palletwright.job import read_job
    from palletwright.shop import example_shop, read_shop
    from palletwright.verbs import check, compare, hold, rank, schema, serve, time

__all__ = [
    "Fault",
    "InputError",
    "NoPlan",
    "PalletwrightError",
    "SolidError",
    "access",
    "check",
    "compare",
    "demo",
    "example_shop",
    "hold",
    "papers",
    "plan",
    "rank",
    "read_job",
    "read_shop",
    "schema",
    "serve",
    "time",
]

_HOME = {
    "Fault": "palletwright.errors",
    "InputError": "palletwright.errors",
    "NoPlan": "palletwright.errors",
    "PalletwrightError": "palletwright.errors",
    "SolidError": "palletwright.errors",
    "check": "palletwright.verbs",
    "compare": "palletwright.verbs",
    "example_shop": "palletwright.shop",
    "hold": "palletwright.verbs",
    "rank": "palletwright.verbs",
    "read_job": "palletwright.job",
    "read_shop": "palletwright.shop",
    "schema": "palletwright.verbs",
    "serve": "palletwright.verbs",
    "time": "palletwright.verbs",
}

_ROOMS = frozenset({"access", "demo", "papers", "plan"})
"""Rooms with the name of a verb."""


class _Room(ModuleType):
    """A room that is also its verb."""

    def __call__(self, *args: Any, **options: Any) -> Any:
        return getattr(import_module("palletwright.verbs"), self.__name__.rpartition(".")[2])(*args, **options)


class _Package(ModuleType):
    """This package: makes the rooms with a verb's name callable as they are imported."""

    def __setattr__(self, name: str, value: Any) -> None:
        if name in _ROOMS and type(value) is ModuleType:
            value.__class__ = _Room
        super().__setattr__(name, value)


def __getattr__(name: str) -> Any:
    if name in _ROOMS:
        return import_module(f"palletwright.{name}")
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)


sys.modules[__name__].__class__ = _Package
