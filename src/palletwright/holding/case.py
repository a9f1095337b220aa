"""A holding case typed by hand: TOML in, checked data out, all faults at once."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from palletwright.errors import Fault, InputError
from palletwright.holding.contacts import CLAMP_STIFFNESS, LOCATOR_STIFFNESS, STANDARD_GRAVITY, Array, Contacts, wrench
from palletwright.units import to

_TOP = {"friction", "safety", "mass_kg", "centre", "locator", "clamp", "load"}
_CONTACT = {"at", "normal", "friction", "stiffness", "name"}
_LOAD = {"at", "force", "moment", "name"}


@dataclass(frozen=True, eq=False)
class Case:
    """Contacts, loads and what is asked of them. `wrenches` (k, 6), `gravity` (6,): N and N·mm about the origin."""

    contacts: Contacts
    at: Array
    force: Array
    moment: Array
    names: tuple[str, ...]
    gravity: Array
    safety: float
    given: bool

    @property
    def wrenches(self) -> Array:
        return wrench(self.at, self.force, self.moment)


class _Reader:
    """Gathers every fault of one file."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.faults: list[Fault] = []

    def fault(self, key: str, value: object, problem: str, allowed: str) -> None:
        self.faults.append(Fault(self.file, key, repr(value), problem, allowed))

    def number(self, key: str, value: object, unit: str, low: float = -math.inf, above: bool = False) -> float:
        allowed = {0.0: "zero or more", -math.inf: "any finite number"}.get(low, f"{low:g} or more")
        allowed = f"more than {low:g}" if above else allowed
        try:
            if unit:
                got = to(value, unit)
            elif isinstance(value, bool) or not isinstance(value, int | float):
                raise ValueError("needs a number")
            else:
                got = float(value)
        except ValueError as error:
            self.fault(key, value, str(error), f"{allowed}{f', in {unit}' if unit else ''}")
            return math.nan
        if not math.isfinite(got):
            self.fault(key, value, "isn't finite", allowed)
        elif got < low or (above and got <= low):
            self.fault(key, value, "is too small", allowed)
        return got

    def vector(self, key: str, value: object, unit: str) -> list[float]:
        if not isinstance(value, list) or len(value) != 3:
            self.fault(key, value, "needs three components", f"[x, y, z]{f' in {unit}' if unit else ''}")
            return [math.nan] * 3
        return [self.number(f"{key}[{i}]", v, unit) for i, v in enumerate(value)]

    def tables(self, data: Mapping[str, Any], key: str) -> list[dict[str, Any]]:
        found = data.get(key, [])
        if not isinstance(found, list) or not all(isinstance(t, dict) for t in found):
            self.fault(key, found, f"needs one or more tables written as [[{key}]]", f"[[{key}]]")
            return []
        return found

    def known(self, where: str, table: Mapping[str, Any], keys: set[str]) -> None:
        for key in sorted(set(table) - keys):
            self.fault(f"{where}{key}", table[key], "isn't a known key", ", ".join(sorted(keys)))

    def need(self, where: str, table: Mapping[str, Any], key: str, allowed: str) -> bool:
        if key not in table:
            self.faults.append(Fault(self.file, f"{where}{key}", "(missing)", "is missing", allowed))
        return key in table


def read_case(path: str | Path) -> Case:
    """Read a case file; raises InputError with every fault, each with file, key, value and what is allowed."""
    path = Path(path)
    try:
        data = tomllib.loads(path.read_text("utf-8"))
    except OSError as error:
        raise InputError([Fault(str(path), "", "", f"can't be read: {error.strerror}", "a TOML file")]) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError([Fault(str(path), "", "", f"isn't TOML: {error}", "a TOML file in UTF-8")]) from error
    return case_of(data, str(path))


def case_of(data: Mapping[str, Any], file: str = "case") -> Case:
    """A case from the tables of its file; raises InputError with every fault."""
    r = _Reader(file)
    r.known("", data, _TOP)
    mu = r.number("friction", data["friction"], "", 0.0) if r.need("", data, "friction", "zero or more") else math.nan
    safety = r.number("safety", data["safety"], "", 0.0, above=True) if r.need("", data, "safety", "over 0") else 1.0
    mass = r.number("mass_kg", data.get("mass_kg", 0.0), "kg", 0.0)
    rows: list[tuple[str, Array, Array, float, float, float | None]] = []
    for key in ("locator", "clamp"):
        rows += [_contact(r, key, i, table, mu) for i, table in enumerate(r.tables(data, key))]
    locators = len(r.tables(data, "locator"))
    loads = [_load(r, i, table) for i, table in enumerate(r.tables(data, "load"))]
    if not rows and not r.faults:
        r.fault("locator", [], "there is no contact at all", "one or more [[locator]] or [[clamp]]")
    if not loads and not any(f.key.startswith("load") for f in r.faults):
        r.fault("load", [], "there is no load", "one or more [[load]] with at and force")
    centre = r.vector("centre", data["centre"], "mm") if "centre" in data else None
    if r.faults:
        raise InputError(list(dict.fromkeys(r.faults)))
    return _assemble(rows, locators, loads, mass, centre, safety)


def _contact(
    r: _Reader, kind: str, i: int, table: dict[str, Any], mu: float
) -> tuple[str, Array, Array, float, float, float | None]:
    where = f"{kind}[{i + 1}]."
    r.known(where, table, _CONTACT | ({"preload"} if kind == "clamp" else set()))
    at = r.vector(where + "at", table["at"], "mm") if r.need(where, table, "at", "[x, y, z] in mm") else [0.0] * 3
    normal = [0.0, 0.0, 1.0]
    if r.need(where, table, "normal", "[x, y, z] into the part, not of zero length"):
        normal = r.vector(where + "normal", table["normal"], "")
        if not any(map(math.isnan, normal)) and math.hypot(*normal) < 1e-9:
            r.fault(where + "normal", table["normal"], "has no length", "a vector into the part, not of zero length")
            normal = [0.0, 0.0, 1.0]
    own = r.number(where + "friction", table["friction"], "", 0.0) if "friction" in table else mu
    stiff = r.number(
        where + "stiffness",
        table.get("stiffness", CLAMP_STIFFNESS if kind == "clamp" else LOCATOR_STIFFNESS),
        "N/mm",
        0.0,
        above=True,
    )
    preload = r.number(where + "preload", table["preload"], "N", 0.0) if "preload" in table else None
    name = str(table.get("name", i + 1))
    return name, np.array(at), np.array(normal) / (math.hypot(*normal) or 1.0), own, stiff, preload


def _load(r: _Reader, i: int, table: dict[str, Any]) -> tuple[str, list[float], list[float], list[float]]:
    where = f"load[{i + 1}]."
    r.known(where, table, _LOAD)
    at = r.vector(where + "at", table["at"], "mm") if r.need(where, table, "at", "[x, y, z] in mm") else [0.0] * 3
    force = [0.0] * 3
    if r.need(where, table, "force", "[x, y, z] in N"):
        force = r.vector(where + "force", table["force"], "N")
    moment = r.vector(where + "moment", table["moment"], "N*mm") if "moment" in table else [0.0] * 3
    if not any(map(math.isnan, force + moment)) and not any(force + moment):
        r.fault(where + "force", table.get("force"), "is zero, and so is the moment", "a force or a moment")
    return str(table.get("name", i + 1)), at, force, moment


def _assemble(
    rows: list[tuple[str, Array, Array, float, float, float | None]],
    locators: int,
    loads: list[tuple[str, list[float], list[float], list[float]]],
    mass: float,
    centre: list[float] | None,
    safety: float,
) -> Case:
    at = np.array([row[1] for row in rows])
    clamps = rows[locators:]
    contacts = Contacts(
        tuple(row[0] for row in rows),
        locators,
        at,
        np.array([row[2] for row in rows]),
        np.array([row[3] for row in rows]),
        np.array([row[4] for row in rows]),
        np.array([0.0] * locators + [row[5] or 0.0 for row in clamps]),
    )
    # Without a centre of mass the weight acts at the middle of the contacts' box.
    middle = np.array(centre) if centre is not None else (at.min(axis=0) + at.max(axis=0)) / 2.0
    weight = np.array([0.0, 0.0, -mass * STANDARD_GRAVITY])
    names, points, forces, moments = zip(*loads, strict=True)
    return Case(
        contacts,
        np.array(points, dtype=float),
        np.array(forces, dtype=float),
        np.array(moments, dtype=float),
        tuple(names),
        wrench(middle, weight, np.zeros(3)),
        safety,
        all(row[5] is not None for row in clamps),
    )
