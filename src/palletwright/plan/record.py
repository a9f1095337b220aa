"""Plans to and from JSON: plain data, exactly the keys that design.md names."""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import asdict
from pathlib import Path
from typing import Any, get_args

import numpy as np

from palletwright.errors import Fault, InputError
from palletwright.plan.model import Design, Family, OperationChoice, Placing, Plan, StationAt

FORMAT = 1


def plain(value: Any) -> Any:
    """Data that JSON can carry: arrays to lists, numpy scalars to Python's, infinite or unknown numbers to null."""
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(v) for v in value]
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float):
        return round(value, 9) if math.isfinite(value) else None
    if isinstance(value, Path):
        return value.as_posix()
    return value


def to_dict(plan: Plan) -> dict[str, Any]:
    """The plan as plain data with its identity: a hash of everything but times and versions."""
    data: dict[str, Any] = plain(asdict(plan))
    data["format"] = FORMAT
    for way in (data["today"], *data["plans"]):
        for margin in way["margins"]:
            margin["passed"] = margin["have"] is not None and margin["have"] >= margin["need"]
    fixed = {k: v for k, v in data.items() if k not in ("seconds", "stages", "versions", "identity")}
    data["identity"] = hashlib.sha256(json.dumps(fixed, sort_keys=True).encode()).hexdigest()[:12]
    return data


def write(data: dict[str, Any], path: Path) -> None:
    """Write a plan's JSON whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(path.name + ".part")
    part.write_text(json.dumps(data, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    part.replace(path)


def read(path: Path) -> dict[str, Any]:
    """A saved plan's data.

    Raises InputError when the file is missing, not JSON, or not a plan.
    """
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise InputError(
            [Fault(str(path), "", "", "there is no such file", "the plan.json that `plan` wrote")]
        ) from error
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        raise InputError(
            [Fault(str(path), "", "", f"isn't JSON: {error}", "the plan.json that `plan` wrote")]
        ) from error
    if not isinstance(data, dict) or data.get("format") != FORMAT or "plans" not in data:
        raise InputError(
            [
                Fault(
                    str(path),
                    "format",
                    str(data.get("format")) if isinstance(data, dict) else type(data).__name__,
                    "isn't a plan of this version",
                    f"format = {FORMAT}",
                )
            ]
        )
    return data


def design_from(data: dict[str, Any], file: str, key: str) -> Design:
    """A design from its plain data.

    Raises InputError that names the key when something is missing or of the wrong kind.
    """
    try:
        if data["family"] not in get_args(Family):
            raise ValueError(f"family {data['family']!r}; allowed: {', '.join(get_args(Family))}")
        return Design(
            machine=str(data["machine"]),
            family=data["family"],
            sequence=int(data["sequence"]),
            operations=tuple(
                OperationChoice(
                    int(o["number"]),
                    int(o["clamping"]),
                    _vec(o["up"]),
                    o["carrier_kind"],
                    str(o["grip"]),
                    _vec(o["axis"]) if o["axis"] else None,
                )
                for o in data["operations"]
            ),
            placings=tuple(Placing(**{**p, "at": (float(p["at"][0]), float(p["at"][1]))}) for p in data["placings"]),
            stations=tuple(
                StationAt(**{**s, "parts": tuple(s["parts"]), "x": float(s["x"]), "y": float(s["y"])})
                for s in data["stations"]
            ),
            sets=int(data["sets"]),
        )
    except (KeyError, TypeError, ValueError, IndexError) as error:
        raise InputError([Fault(file, key, "", f"isn't a design: {type(error).__name__} {error}")]) from error


def _vec(v: Any) -> tuple[float, float, float]:
    return float(v[0]), float(v[1]), float(v[2])
